"""The painted crosses lie in the browser where their known millimetres say, in every modality.

The truth: `registration_crosses` of demo_fixtures/scenario.json, the places at which the painter puts the crosses.
What counts in: the registration of the image, made from control points picked with a standard deviation of 0.3 image
pixels (`_PICK_SD_PX` of the painter), resampling, encoding, and the page. Each proof is held at the scale of
the image itself, one screen pixel to one of its pixels, because half a screen pixel at a finer scale would be a claim
about the picking and not about the page. What the page alone adds is held to a tenth of a pixel: the same
cross, found in the window that the server cuts from the master through the same map.
"""

import io

import numpy as np
import pytest
from PIL import Image

from tests.browser.painted_cross import CROSSES_MM, find_cross
from tests.browser.wall import Placing, examination_of, image_named, open_view, picture, placing

__all__ = ["test_a_cross_lies_where_its_millimetres_say", "test_the_page_adds_nothing_to_the_window_of_the_server"]

SHOWN = [
    ("VIS", "before"),
    ("RAK", "before"),
    ("UVL", "before"),
    ("IRR", "before"),
    ("XR", "before"),
    ("VIS", "during"),
    ("VIS", "after"),
    ("UVL", "after"),
]
# Opposite corners and the middle of an edge; the work is turned and mirrored for one of them.
PLACES = [("cross-1", {}), ("cross-9", {"turn": 37}), ("cross-7", {"mirrored": 1, "turn": 90})]
UM_PER_MM = 1000.0


@pytest.mark.parametrize("screen", ["desktop", "phone"])
@pytest.mark.parametrize(("modality", "state"), SHOWN)
def test_a_cross_lies_where_its_millimetres_say(visit, screen, modality, state):
    page = visit("marchwood", screen=screen)
    image = image_named(examination_of(page), modality, state)
    mm_per_px = image["um_per_px"] / UM_PER_MM
    off = {}
    for cross, turning in PLACES:
        x_mm, y_mm = CROSSES_MM[cross]
        open_view(page, x=x_mm, y=y_mm, **{"mm-per-px": mm_per_px}, a=image["id"], b="", **turning)
        now = placing(page)
        found_mm = find_cross(picture(page), now, (x_mm, y_mm))
        off[cross] = float(np.hypot(found_mm[0] - x_mm, found_mm[1] - y_mm) / now.mm_per_px)
    print(f"{modality} {state} {screen}, off by screen px: {off}")
    assert max(off.values()) <= 0.5, f"screen pixels between a cross and its place: {off}"


@pytest.mark.parametrize("screen", ["desktop", "phone"])
@pytest.mark.parametrize("modality", ["VIS", "IRR", "XR"])
def test_the_page_adds_nothing_to_the_window_of_the_server(visit, screen, modality):
    page = visit("marchwood", screen=screen)
    image = image_named(examination_of(page), modality)
    x_mm, y_mm = CROSSES_MM["cross-4"]
    open_view(page, x=x_mm, y=y_mm, **{"mm-per-px": 0.05}, a=image["id"], b="")
    now = placing(page)
    on_page = find_cross(picture(page), now, (x_mm, y_mm))
    grey, stands = window_round(page, image, (x_mm, y_mm))
    in_window = find_cross(grey, stands, (x_mm, y_mm))
    off_px = np.hypot(on_page[0] - in_window[0], on_page[1] - in_window[1]) / (image["um_per_px"] / UM_PER_MM)
    print(f"{modality} {screen}, page and window differ by {off_px:.3f} image px")
    assert off_px <= 0.1, f"the page shows the cross {off_px:.3f} image pixels beside the window of the server"


def window_round(page, image, centre_mm, side_mm=10.0, width_px=200):
    """Return the levels of a window of the server and where they lie."""
    x_mm, y_mm = (value - side_mm / 2 for value in centre_mm)
    answer = page.request.get(
        f"/api/v1/images/{image['id']}/window?x_mm={x_mm}&y_mm={y_mm}&width_mm={side_mm}&height_mm={side_mm}"
        f"&width_px={width_px}&format=png"
    )
    assert answer.ok, answer.text()
    grey = np.asarray(Image.open(io.BytesIO(answer.body())).convert("RGB")).astype(float).mean(axis=2)
    return grey, Placing(centre_mm, side_mm / width_px, 0.0, False, 0.0, 0.0, float(width_px), float(width_px))
