"""What each modality and state shows of the finished painting, measured back (slow: needs a whole plan)."""

import cv2
import numpy as np
import pytest

from demo_fixtures.painter import motif
from demo_fixtures.painter.camera import Camera
from demo_fixtures.painter.compose import compose_infrared, compose_visible, compose_xray
from demo_fixtures.painter.glow import compose_luminescence
from demo_fixtures.painter.images import image_spec
from demo_fixtures.painter.photograph import Exposure, expose_block
from demo_fixtures.painter.pigments import lab_from_linear
from demo_fixtures.painter.raking import compose_raking
from demo_fixtures.painter.region import open_region
from demo_fixtures.painter.stack import HEIGHT
from demo_fixtures.painter.strokes import CHARCOAL

from .conftest import scene_of

pytestmark = pytest.mark.slow


def look(plan, window_mm, pitch_mm=0.1, hidden=None):
    """Return a function that opens a window of the painting in a state."""
    scene = scene_of(plan, pitch_mm=pitch_mm, window_mm=window_mm, hidden=hidden)

    def region(state):
        return open_region(scene, state, column=0, row=0, size=(scene.raster.columns, scene.raster.rows))

    return region


def tone(region):
    return lab_from_linear(np.clip(compose_visible(region) * 1.62, 0, 1))[..., 0]


def inside(region, polygon, grow_mm=0.0):
    """Return the mask of a polygon in a region."""
    grid = region.grid
    corners = (np.array(polygon) - (grid.x0_mm, grid.y0_mm)) / grid.pitch_mm - 0.5
    mask = np.zeros(region.crack.shape, np.uint8)
    cv2.fillPoly(mask, [np.rint(corners * 16).astype(np.int32)], 1, shift=4)
    size = round(abs(grow_mm) / grid.pitch_mm) * 2 + 1
    return (cv2.dilate if grow_mm >= 0 else cv2.erode)(mask, np.ones((size, size))) == 1


@pytest.mark.parametrize("number", range(3))
def test_losses_lie_where_they_should_and_measure_what_they_should(whole_plan, number):
    polygon = np.array(motif.LOSSES_MM[number])
    low, high = polygon.min(axis=0) - 4, polygon.max(axis=0) + 4
    region = look(whole_plan, (*low, *(high - low)), 0.05)("before")
    x, y = polygon.T
    area_mm2 = 0.5 * abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))
    assert region.loss.sum() * 0.05**2 == pytest.approx(area_mm2, rel=0.05)
    assert region.loss[inside(region, polygon, -0.5)].min() == 1.0
    assert region.loss[~inside(region, polygon, 0.6)].max() == 0.0
    shown = tone(region)
    assert shown[inside(region, polygon, -0.6)].mean() > shown[~inside(region, polygon, 0.8)].mean() + 15


def test_filled_losses_match_their_surroundings_after_treatment(whole_plan):
    polygon = motif.LOSSES_MM[2]
    region = look(whole_plan, (396, 452, 24, 22))
    before, after = (tone(region(state)) for state in ("before", "after"))
    mask = inside(region("after"), polygon, -0.6)
    ring = ~inside(region("after"), polygon, 1.0)
    assert before[mask].mean() - before[ring].mean() > 15
    assert abs(after[mask].mean() - after[ring].mean()) < 6


def test_overpaint_hides_the_nut_before_and_is_gone_after(whole_plan):
    region = look(whole_plan, (395, 183, 66, 60), 0.2)
    spread = {
        state: tone(region(state))[inside(region(state), motif.OVERPAINT_MM, -8)].std() for state in ("before", "after")
    }
    assert spread["after"] > 2.0 * spread["before"]


def test_the_cleaning_test_opens_its_window_and_nothing_else(whole_plan):
    region = look(whole_plan, (410, 192, 32, 28))
    during = region("during")
    (left, top), (right, bottom) = motif.TEST_WINDOW_MM
    window = ((left, top), (right, top), (right, bottom), (left, bottom))
    assert during.later[inside(during, window, -0.4)].max() == 0.0
    # Measured one brush mark away from the window's ragged edge.
    assert during.later[~inside(during, window, 0.6)].mean() > 0.8
    assert region("before").later[inside(during, window, -0.4)].mean() > 0.8


def test_overpaint_is_dark_under_ultraviolet_and_in_the_infrared(whole_plan):
    region = look(whole_plan, (392, 178, 72, 66), 0.2)("before")
    covered = inside(region, motif.OVERPAINT_MM, -4)
    around = ~inside(region, motif.OVERPAINT_MM, 3) & (region.crack < 0.1)
    glow = compose_luminescence(region)
    assert glow[covered][:, 1].mean() < 0.45 * glow[around][:, 1].mean()
    infrared = compose_infrared(region)[..., 0]
    assert infrared[covered].mean() < 0.75 * infrared[around].mean()


def test_the_drawn_handle_lies_seven_and_a_half_millimetres_left_of_the_painted_one(whole_plan):
    window = (208.0, 148.0, 20.0, 6.0)
    hidden = np.zeros(8, np.bool_)
    hidden[CHARCOAL] = True
    drawn = compose_infrared(look(whole_plan, window, 0.05)("after"))[..., 0]
    undrawn = compose_infrared(look(whole_plan, window, 0.05, hidden)("after"))[..., 0]
    rows = slice(50, 70)
    line = (undrawn - drawn)[rows].mean(axis=0)
    x = 208.0 + (np.arange(len(line)) + 0.5) * 0.05
    near = np.abs(x - motif.DRAWN_HANDLE_X_MM) < 1.2
    middle = np.average(x[near], weights=np.maximum(line[near], 0))
    blue = compose_visible(look(whole_plan, window, 0.05)("after"))[rows].mean(axis=0)
    ratio = cv2.GaussianBlur((blue[:, 2] / blue[:, 0])[None].astype(np.float32), (0, 0), 4)[0]
    edge = x[x > 218][np.gradient(ratio[x > 218]).argmax()]
    assert edge == pytest.approx(motif.PAINTED_HANDLE_X_MM, abs=0.3)
    assert edge - middle == pytest.approx(7.5, abs=0.35)


def test_underdrawing_shows_in_the_infrared_and_hides_in_the_visible(whole_plan):
    window = (120.0, 340.0, 60.0, 20.0)
    hidden = np.zeros(8, np.bool_)
    hidden[CHARCOAL] = True
    shown, without = look(whole_plan, window)("before"), look(whole_plan, window, hidden=hidden)("before")
    change = np.abs(compose_infrared(shown) - compose_infrared(without))[..., 0]
    drawn = change > 0.02
    assert drawn.sum() > 400
    assert change[drawn].mean() > 0.05
    assert np.abs(tone(shown) - tone(without))[drawn].mean() < 0.5


def test_the_candlestick_shows_in_the_radiograph_only(whole_plan):
    region = look(whole_plan, (465, 76, 68, 156), 0.25)("before")
    # The shaft of the candle against the wall beside it.
    middle = inside(region, ((495.5, 105), (502.5, 105), (502.5, 145), (495.5, 145)))
    beside = inside(region, ((470, 105), (482, 105), (482, 145), (470, 145)))
    dense = compose_xray(region)[..., 0]
    assert dense[middle].mean() > dense[beside].mean() + 0.15
    assert abs(tone(region)[middle].mean() - tone(region)[beside].mean()) < 4.0
    assert abs(compose_infrared(region)[middle].mean() - compose_infrared(region)[beside].mean()) < 0.08


def test_blanching_is_milky_before_and_gone_after(whole_plan):
    region = look(whole_plan, (40, 285, 150, 75), 0.25)
    before, after = region("before"), region("after")
    blue = compose_visible(before)[..., 2] / compose_visible(after)[..., 2]
    milky, around = inside(before, motif.BLANCHING_MM, -10), ~inside(before, motif.BLANCHING_MM, 8)
    assert blue[milky].mean() > 1.5 * blue[around].mean()


def test_varnish_and_blanching_leave_no_trace_in_the_radiograph(whole_plan):
    region = look(whole_plan, (55, 295, 110, 55), 0.25)
    before, after = region("before"), region("after")
    same = (before.loss == 0) & (before.later == 0)
    assert np.array_equal(compose_xray(before)[same], compose_xray(after)[same])


def test_cupping_throws_shadows_in_raking_light_only_where_it_is(whole_plan):
    region = look(whole_plan, (285, 236, 76, 50), 0.1)("before")
    relief = compose_raking(region, azimuth_deg=282.0, elevation_deg=8.0)[..., 1] / np.maximum(
        compose_visible(region)[..., 1], 1e-3
    )
    cupped = inside(region, motif.CUPPING_MM, -2)
    around = ~inside(region, motif.CUPPING_MM, 3)
    lifted = region.height_um - region.paint[..., HEIGHT]
    assert lifted[cupped].std() > 1.3 * lifted[around].std()
    assert relief[cupped].std() > 1.2 * relief[around].std()


def test_exit_holes_are_open_in_every_state(whole_plan):
    x, y, diameter = motif.exit_holes_mm()[3]
    region = look(whole_plan, (x - 4, y - 4, 8, 8), 0.05)
    for state in ("before", "during", "after"):
        opened = region(state)
        assert 2 * np.sqrt(opened.hole.sum() * 0.05**2 / np.pi) == pytest.approx(diameter, rel=0.05)
        hole = opened.hole > 0.9
        assert compose_visible(opened)[hole].mean() < 0.4 * compose_visible(opened)[opened.hole == 0].mean()


def test_varnish_yellows_the_state_before(whole_plan):
    region = look(whole_plan, (480, 300, 60, 40), 0.4)
    before, during, after = (
        compose_visible(region(state)).mean(axis=(0, 1)) for state in ("before", "during", "after")
    )
    assert before[2] / before[0] < 0.8 * after[2] / after[0]
    assert not np.allclose(during, after, rtol=0.01)


@pytest.mark.parametrize(
    "name", ["vis-bt-v2", "irr-bt", "xr-bt", "uvl-bt", "rak-bt-left", "vis-bt-v1", "vis-dt", "vis-at", "uvl-at"]
)
def test_a_registration_cross_is_where_the_truth_says(whole_plan, name):
    x, y = motif.REGISTRATION_CROSSES_MM[5]
    scene = scene_of(whole_plan, pitch_mm=0.08, window_mm=(x - 8, y - 8, 16, 16))
    camera = image_spec(name).camera("default")
    wanted = camera.px_from_mm(np.array([[x, y]]))[0]
    reach = 34
    left, top = (int(value) - reach for value in wanted)
    left, top = left - left % 8, top - top % 8
    pixels = expose_block(
        scene, Exposure(image_spec(name), camera, 1), left_px=left, top_px=top, size_px=(72, 72)
    ).astype(float)
    grey = pixels.mean(axis=2) if pixels.ndim == 3 else pixels
    assert np.hypot(*(cross_centre(grey, wanted - (left, top)) + (left, top) - wanted)) < 0.25


def cross_centre(grey, guess):
    """Return the centre of a light cross: where its halves mirror each other, over 4 mm."""
    radius = 22
    best = None
    for dy in np.arange(-2, 2.01, 0.1):
        for dx in np.arange(-2, 2.01, 0.1):
            centre = (float(guess[0] + dx - 0.5), float(guess[1] + dy - 0.5))
            patch = cv2.getRectSubPix(grey.astype(np.float32), (2 * radius + 1, 2 * radius + 1), centre)
            error = np.abs(patch - patch[::-1, ::-1]).mean()
            if best is None or error < best[0]:
                best = (error, dx, dy)
    return np.array([guess[0] + best[1], guess[1] + best[2]])


def test_a_crack_is_where_the_truth_of_the_macro_says(whole_plan):
    spec = image_spec("mac-bt")
    camera = spec.camera("default")
    scene = scene_of(whole_plan, pitch_mm=0.01, window_mm=(147.2, 259.7, 4.0, 4.0))
    wanted = camera.px_from_mm(np.array([motif.CRACK_A2_MM[2]]))[0]
    left, top = (int(value) - 60 - (int(value) - 60) % 8 for value in wanted)
    pixels = expose_block(scene, Exposure(spec, camera, 1), left_px=left, top_px=top, size_px=(120, 120)).mean(axis=2)
    column = pixels[:, int(wanted[0]) - left - 2 : int(wanted[0]) - left + 3].mean(axis=1)
    dark = np.flatnonzero(column < 0.5 * (column.min() + np.median(column)))
    assert dark.mean() + 0.5 + top == pytest.approx(wanted[1], abs=7.0)
    assert 0.05 < len(dark) * 0.01 < 0.13


def test_two_cameras_of_one_content_agree_through_their_maps(whole_plan):
    scene = scene_of(whole_plan, pitch_mm=0.25, window_mm=(80.0, 60.0, 120.0, 90.0))
    spec = image_spec("vis-bt-v2")
    straight = Camera((320, 240), 0.25, (140.0, 105.0))
    turned = Camera((320, 240), 0.25, (141.7, 104.1), turn_deg=2.0, lens=0.004, bend_mm=0.3, bend_seed=3)
    pictures = [
        expose_block(scene, Exposure(spec, camera, 1), left_px=0, top_px=0, size_px=(320, 240)).mean(axis=2)
        for camera in (straight, turned)
    ]
    places = np.stack(np.meshgrid(np.arange(60.5, 260), np.arange(60.5, 180)), axis=-1).reshape(-1, 2)
    mapped = turned.px_from_mm(straight.mm_from_px(places)).astype(np.float32) - 0.5
    moved = cv2.remap(
        pictures[1].astype(np.float32), mapped[:, 0].reshape(120, 200), mapped[:, 1].reshape(120, 200), cv2.INTER_CUBIC
    )
    reference = np.ascontiguousarray(pictures[0][60:180, 60:260].astype(np.float32))
    shift, response = cv2.phaseCorrelate(reference, moved)
    assert response > 0.5
    assert np.hypot(shift[0], shift[1]) < 0.05
