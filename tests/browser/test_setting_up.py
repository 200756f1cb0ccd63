"""A new work from nothing: entered, a first picture, the frame pressed on it, laid, accepted, examined."""

import re
import time

from playwright.sync_api import expect

from tests.browser.fresh_image import paint_fresh_image
from tests.browser.running_installation import SCENARIO
from tests.browser.test_registering import press_at

__all__: list[str] = []


def test_a_work_is_entered_framed_and_examined(visit, demo, tmp_path):
    page = visit("marchwood")
    page.goto("/")
    page.get_by_role("link", name=SCENARIO["study"]["name"]).first.click()
    page.get_by_role("link", name="Enter a work").click()
    number = f"OH {time.time_ns() // 1_000_000_000}"
    page.get_by_label("Title").fill("Two Pears on a Ledge")
    page.get_by_label(re.compile("Inventory number", re.IGNORECASE)).fill(number)
    page.get_by_label(re.compile("Height", re.IGNORECASE)).fill("480")
    page.get_by_label(re.compile("Width", re.IGNORECASE)).fill("640")
    page.get_by_role("main").locator("form button").last.click()
    expect(page.get_by_role("heading", name="Two Pears on a Ledge")).to_be_visible()

    fresh = paint_fresh_image(demo.data / "painted" / "small", tmp_path)
    scale = ("--um-per-px", str(fresh.um_per_px))
    demo.manage(
        *("ingest", str(fresh.file), "--artwork", number, "--modality", "IRR", "--state", "before", *scale, "--wait")
    )
    page.reload()
    page.get_by_role("link", name=re.compile("frame", re.IGNORECASE)).first.click()
    page.wait_for_function("() => document.querySelector('#view-image')?.dataset.view")

    corner, edge_end = fresh.places["cross-1"][1], fresh.places["cross-3"][1]
    press_at(page, "#view-image", corner)
    expect(page.get_by_text("Pressed at")).to_have_count(1)
    press_at(page, "#view-image", edge_end)
    expect(page.get_by_text("Pressed at")).to_have_count(2)
    page.get_by_label("Measured length from zero to its other end, mm").fill("560")
    page.keyboard.press("Tab")
    page.get_by_role("button", name="Keep the frame").click()
    expect(page.get_by_role("heading", name="Frame F1 is kept")).to_be_visible()

    page.get_by_role("link", name="Judge it").click()
    page.get_by_role("button", name="Accept and publish").click()
    demo.manage("jobs", "--wait")
    page.get_by_role("link", name="Two Pears on a Ledge").first.click()
    page.get_by_role("link", name=re.compile("Examine", re.IGNORECASE)).first.click()
    page.wait_for_function("() => performance.getEntriesByName('first-full-view').length > 0")
