"""A file comes in through the browser: interrupted, resumed after a reload, laid, published."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from tests.browser.fresh_image import paint_fresh_image
from tests.browser.test_every_page import RULES
from tests.browser.wall import examination_of

__all__: list[str] = []

#: Slow enough that the file of some 6 MB is still under way when the page is left.
UPLOAD_BYTES_PER_S = 400_000


@pytest.fixture
def bring_in_page(visit):
    """Open the page where images are brought into the work of the scenario."""
    page = visit("korvander", tolerated="Failed to fetch|net::ERR|422")
    page.goto(f"/works/{examination_of(page)['artwork']['id']}/bring-in/")
    return page


def throttle(page, bytes_per_s):
    """Bound the way up; -1 frees it."""
    session = page.context.new_cdp_session(page)
    session.send("Network.enable")
    conditions = {"offline": False, "latency": 20, "downloadThroughput": -1, "uploadThroughput": bytes_per_s}
    session.send("Network.emulateNetworkConditions", conditions)


def test_an_interrupted_file_goes_on_after_a_reload(bring_in_page, demo, tmp_path):
    page, fresh = bring_in_page, paint_fresh_image(demo.data / "painted" / "small", tmp_path)
    file = fresh.file.rename(fresh.file.with_name(f"nir-bt_{fresh.file.stem}.tif"))
    page.set_input_files("#bring-files", file)
    expect(page.get_by_label("Kind of picture")).to_have_value("NIR")
    expect(page.get_by_label("State of treatment")).to_have_value("before")
    page.get_by_label("µm a pixel, if not in the file").fill("320")
    page.keyboard.press("Tab")
    throttle(page, UPLOAD_BYTES_PER_S)
    page.get_by_role("button", name="Bring in", exact=True).click()
    page.wait_for_function("() => document.querySelector('.bring-row progress')?.value > 0")

    page.reload()
    throttle(page, -1)
    expect(page.get_by_text("Interrupted earlier on this device")).to_be_visible()
    page.set_input_files("#bring-files", file)
    offsets = []
    page.on("request", lambda sent: offsets.append(int(sent.headers.get("upload-offset", -1))))
    page.get_by_role("button", name="Bring in", exact=True).click()
    page.get_by_role("link", name="Open its page").click()
    sent = [offset for offset in offsets if offset >= 0]
    assert sent, "nothing was sent after the reload"
    assert min(sent) > 0, f"it began anew instead of going on: offsets {sent}"

    demo.manage("jobs", "--wait")
    page.reload()
    expect(page.get_by_text(file.name).first).to_be_visible()
    page.get_by_role("row", name="stated scale").get_by_role("link").first.click()
    page.get_by_role("button", name="Accept and publish").click()
    demo.manage("jobs", "--wait")
    image = page.request.get(f"/api/v1/registrations/{page.url.rstrip('/').rsplit('/', 1)[1]}").json()["image"]
    assert page.request.get(f"/api/v1/images/{image}").json()["status"] == "published"


def test_what_is_not_answered_is_asked_beside_its_field(bring_in_page, demo, tmp_path):
    page, fresh = bring_in_page, paint_fresh_image(demo.data / "painted" / "small", tmp_path)
    page.set_input_files("#bring-files", fresh.file.rename(fresh.file.with_name("scan.tif")))
    page.get_by_role("button", name="Bring in", exact=True).click()
    expect(page.get_by_text("It is not known yet. One of these is needed. Choose it here.")).to_have_count(2)
    for summary in page.locator(".bring-row summary").all():
        summary.click()
    assert Axe().run(page, options=RULES).violations_count == 0


def test_a_broken_file_is_refused_in_its_row(bring_in_page, tmp_path):
    page = bring_in_page
    broken = tmp_path / "vis-bt.tif"
    broken.write_bytes(b"II*\0\x08\0\0\0 this is no picture")
    page.set_input_files("#bring-files", broken)
    page.get_by_role("button", name="Bring in", exact=True).click()
    expect(page.locator(".bring-row").get_by_role("alert")).to_contain_text("vis-bt.tif")
