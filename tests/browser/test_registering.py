"""A picture is laid in the browser: control points on two images side by side, judged, accepted, published."""

import json
import re

import pytest
from playwright.sync_api import expect

from tests.browser.fresh_image import paint_fresh_image

__all__: list[str] = []

CONTROL = ["cross-1", "cross-3", "cross-8", "cross-10", "cross-4", "cross-6"]
NEAR = 0.25
MOST_STEPS = 60


@pytest.fixture(scope="session")
def fresh_image(demo, tmp_path_factory):
    """Bring in a picture that is not laid yet; return it with its id."""
    fresh = paint_fresh_image(demo.data / "painted" / "small", tmp_path_factory.mktemp("fresh"))
    said = demo.manage(
        *("ingest", str(fresh.file), "--artwork", "OH 0417", "--modality", "NIR", "--state", "before"),
        *("--um-per-px", str(fresh.um_per_px), "--wait", "--json"),
    )
    return fresh, json.loads(said.splitlines()[0])["image"]


def press_at(page, view, place):
    """Go near a place by arrows and wheel, as one does, and press it."""
    host = page.locator(view)
    box = host.bounding_box()
    middle = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    for _ in range(MOST_STEPS):
        stand = host.get_attribute("data-view")
        x, y, scale = (float(part) for part in stand.split())
        right, low = (place[0] - x) / scale, (place[1] - y) / scale
        if abs(right) > box["width"] or abs(low) > box["height"]:
            host.press("-")
        elif abs(right) > 0.3 * box["width"]:
            host.press("ArrowRight" if right > 0 else "ArrowLeft")
        elif abs(low) > 0.3 * box["height"]:
            host.press("ArrowDown" if low > 0 else "ArrowUp")
        elif scale > NEAR:
            page.mouse.move(middle[0] + right, middle[1] + low)
            page.mouse.wheel(0, -300)
        else:
            page.mouse.click(middle[0] + right, middle[1] + low)
            return
        page.wait_for_function(
            "([view, stand]) => document.querySelector(view).dataset.view !== stand", arg=[view, stand]
        )
    raise AssertionError(f"{place} could not be reached in {view}")


def set_point(page, place):
    """Set one point on both sides."""
    press_at(page, "#view-work", place[0])
    expect(page.get_by_text("Now the same place in the image.")).to_be_visible()
    press_at(page, "#view-image", place[1])
    expect(page.get_by_text("Press a place on either side.")).to_be_visible()


def test_control_points_set_in_the_browser_lay_an_image(visit, fresh_image, demo):
    fresh, image_id = fresh_image
    page = visit("korvander")
    page.goto(f"/images/{image_id}/points/")
    page.wait_for_function("() => document.querySelector('#view-image').dataset.view")
    checks = [name for name in fresh.places if name.startswith(("hole", "junction"))][:8]
    for name in CONTROL:
        set_point(page, fresh.places[name])
    page.get_by_role("button", name="check", exact=True).first.click()
    for name in checks:
        set_point(page, fresh.places[name])
    expect(page.get_by_text(f"{len(CONTROL)} control points make the map, 8 check points judge it.")).to_be_visible()

    page.get_by_role("button", name="Smooth").click()
    page.get_by_role("button", name="Fit", exact=True).click()
    page.get_by_role("link", name="Judge it").click()
    sentence = page.get_by_text("of 8 held-out points")
    expect(sentence).to_be_visible()
    within_mm = float(re.search(r"within ([\d.]+)", sentence.text_content())[1])
    assert within_mm < 4 * fresh.um_per_px / 1000, f"95 % of the held-out points lie within {within_mm} mm"
    page.get_by_label("Reason").fill("The crosses and the holes fit.")
    page.get_by_role("button", name="Accept and publish").click()
    expect(page.get_by_text("Accepted. The tiles are being laid anew.")).to_be_visible()

    demo.manage("jobs", "--wait")
    assert page.request.get(f"/api/v1/images/{image_id}").json()["status"] == "published"
