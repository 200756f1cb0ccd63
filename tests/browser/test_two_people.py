"""Two people at two sites, one at a desk and one on a phone, speak of the same millimetre.

Each compares the visible image with the infrared and the radiograph and puts the hand on the same painted cross; the
millimetres that the page then tells are compared. Two readings through the same map agree within 0.05 mm; with the
truth they agree within what the map states at 95 %, what the image resolves (half of one of its pixels), and 0.05 mm.
"""

import re

import pytest

from tests.browser.painted_cross import CROSSES_MM, find_cross
from tests.browser.wall import examination_of, image_named, open_view, picture, placing

__all__ = ["test_two_people_read_the_same_millimetre"]

CROSS = "cross-2"
MM_PER_PX = 0.04
AGREE_MM = 0.05


def read_cross(page, screen, modality):
    """Return the millimetres that the page tells when the hand lies on the cross of an image, and that image."""
    near_mm = CROSSES_MM[CROSS]
    data = examination_of(page)
    image, visible = image_named(data, modality), image_named(data, "VIS")
    view = {"x": near_mm[0], "y": near_mm[1], "mm-per-px": MM_PER_PX, "a": visible["id"], "by": "fade", "fade": 1}
    open_view(page, **view, b=image["id"])
    now = placing(page)
    grey = picture(page)
    page.evaluate("() => document.querySelectorAll('.picture-over').forEach((e) => { e.style.visibility = ''; })")
    x, y = now.screen_px(find_cross(grey, now, near_mm))
    if screen == "phone":
        page.touchscreen.tap(x, y)
    else:
        page.mouse.move(x, y)
    told = page.locator(".readout-place").text_content()
    numbers = re.findall(r"[−-]?\d+(?:\.\d+)?", told)
    return tuple(float(number.replace("−", "-")) for number in numbers[:2]), image


@pytest.mark.parametrize("modality", ["VIS", "IRR", "XR"])
def test_two_people_read_the_same_millimetre(visit, modality):
    at_desk, image = read_cross(visit("korvander"), "desktop", modality)
    on_phone, _ = read_cross(visit("adeyo", screen="phone"), "phone", modality)
    apart = [abs(one - other) for one, other in zip(at_desk, on_phone, strict=True)]
    print(f"{modality}: desk {at_desk}, phone {on_phone}, truth {CROSSES_MM[CROSS]}")
    assert max(apart) <= AGREE_MM, f"desk reads {at_desk}, phone reads {on_phone}"

    stated_mm = stated_uncertainty_mm(image, CROSSES_MM[CROSS]) + image["um_per_px"] / 2000 + AGREE_MM
    for told in (at_desk, on_phone):
        off = max(abs(one - true) for one, true in zip(told, CROSSES_MM[CROSS], strict=True))
        assert off <= stated_mm, f"read {told} for {CROSSES_MM[CROSS]}, off by {off:.3f} of {stated_mm:.3f} mm"


def stated_uncertainty_mm(image, place_mm):
    """Return the 95 % radius that the registration states nearest to a place."""
    grid = image["registration"]["uncertainty"]
    cells = [
        (
            abs(grid["x0_mm"] + column * grid["step_mm"] - place_mm[0])
            + abs(grid["y0_mm"] + row * grid["step_mm"] - place_mm[1]),
            grid["u95_mm"][row * grid["columns"] + column],
        )
        for row in range(grid["rows"])
        for column in range(grid["columns"])
    ]
    measured = [cell for cell in cells if cell[1] is not None]
    assert measured, "the registration states no uncertainty anywhere"
    return min(measured)[1]
