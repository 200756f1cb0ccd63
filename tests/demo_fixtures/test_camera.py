"""The geometry every image is rendered through."""

import numpy as np
import pytest

from demo_fixtures.painter.camera import Camera
from demo_fixtures.painter.images import IMAGE_NAMES, image_spec, pitch_um


def grid_mm(camera):
    """Return frame points well inside an image."""
    width, height = camera.size_px
    share = np.stack(np.meshgrid(np.linspace(0.05, 0.95, 7), np.linspace(0.05, 0.95, 6)), axis=-1).reshape(-1, 2)
    return camera.mm_from_px(share * (width, height))


@pytest.mark.parametrize("name", IMAGE_NAMES)
def test_a_point_survives_the_way_into_an_image_and_back(name):
    camera = image_spec(name).camera("default")
    points_mm = grid_mm(camera)
    there = camera.px_from_mm(points_mm)
    assert np.abs(camera.mm_from_px(there) - points_mm).max() < 1e-3 * camera.pitch_mm


def test_the_reference_image_is_only_scaled_and_shifted():
    camera = image_spec("vis-bt-v2").camera("default")
    points_mm = np.array([[0.0, 0.0], [640.0, 480.0], [118.0, 260.4]])
    assert np.allclose(camera.px_from_mm(points_mm), (points_mm + 12.0) / 0.08, atol=1e-9)
    assert camera.size_px == (8300, 6300)


def test_the_radiograph_enlarges_the_paint_as_its_depth_demands():
    # Enlargement D / (D - t): plain projection; distance 1000 mm, paint 21 mm above the film.
    camera = image_spec("xr-bt").camera("full")
    a, b = camera.px_from_mm(np.array([[300.0, 240.0], [340.0, 240.0]]))
    stated_mm = np.hypot(*(b - a)) * pitch_um("xr-bt", "full") / 1000
    assert stated_mm / 40.0 == pytest.approx(1000 / 979, rel=3e-3)


def test_a_quarter_turn_makes_the_radiograph_upright_on_its_side():
    width, height = image_spec("xr-bt").camera("small").size_px
    assert height > width


def test_the_bent_panel_has_a_kink_at_the_join():
    camera = Camera((1000, 800), 0.8, bend_mm=0.3, bend_seed=5)
    y = np.linspace(255.0, 270.0, 301)
    moved = camera.bent_mm(np.stack([np.full_like(y, 320.0), y], axis=1))[:, 1] - y
    slope = np.gradient(moved, y)
    join = 262.0 + 0.6
    before, after = slope[y < join - 0.2][-1], slope[y > join + 0.2][0]
    assert np.abs(np.diff(moved)).max() < 1e-3
    assert after - before > 5e-4


def test_an_unknown_image_or_size_is_named():
    with pytest.raises(ValueError, match="no image named 'vis'"):
        image_spec("vis")
    with pytest.raises(ValueError, match="no size named 'huge'"):
        pitch_um("vis-at", "huge")
