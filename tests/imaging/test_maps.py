import json

import numpy as np
import pytest

from imaging.compute.displacement import DisplacementGrid
from imaging.compute.frames import CanvasGrid
from imaging.compute.maps import FrameMap
from imaging.map_errors import FoldedMapError, MapFormatError, MapInversionError, SingularMapError

PERSPECTIVE = np.array([[20.0, 0.7, 50.0], [-0.4, 19.5, -30.0], [4e-5, 7e-5, 1.0]])


def bent_map(*, amplitude_px=8.0, rows=16, columns=20, step_mm=20.0):
    row, column = np.mgrid[:rows, :columns]
    displacement = DisplacementGrid(
        0.0,
        0.0,
        step_mm,
        dx_px=amplitude_px * np.sin(0.9 * column + 0.3 * row),
        dy_px=amplitude_px * np.cos(0.4 * column - 0.8 * row),
    )
    return FrameMap(PERSPECTIVE, displacement, image_size_px=(7600, 5800))


@pytest.fixture
def places_mm():
    return np.random.default_rng(7).uniform([0.0, 0.0], [380.0, 300.0], size=(500, 2))


def test_the_inverse_reaches_the_pixel_within_a_hundredth(places_mm):
    frame_map = bent_map()
    points_px = frame_map.px_from_mm(places_mm)
    assert np.abs(frame_map.px_from_mm(frame_map.mm_from_px(points_px)) - points_px).max() < 0.01
    assert np.abs(frame_map.mm_from_px(points_px) - places_mm).max() < 0.01 / 19.0


def test_a_lattice_gives_what_single_points_give():
    frame_map = bent_map()
    x_mm, y_mm = np.linspace(-40.0, 430.0, 31), np.linspace(-40.0, 350.0, 17)
    places_mm = np.stack(np.meshgrid(x_mm, y_mm), axis=-1).reshape(-1, 2)
    lattice_px = frame_map.px_on_lattice(x_mm, y_mm)
    assert lattice_px.shape == (17, 31, 2)
    assert np.abs(lattice_px.reshape(-1, 2) - frame_map.px_from_mm(places_mm)).max() < 1e-9


def test_derivatives_agree_with_differences(places_mm):
    frame_map, step_mm = bent_map(), 1e-4
    jacobian = frame_map.jacobian_px_per_mm(places_mm)
    for axis in (0, 1):
        shift_mm = step_mm * np.eye(2)[axis]
        ahead, behind = frame_map.px_from_mm(places_mm + shift_mm), frame_map.px_from_mm(places_mm - shift_mm)
        assert np.abs((ahead - behind) / (2 * step_mm) - jacobian[:, :, axis]).max() < 1e-5


def test_outside_the_nodes_the_map_goes_on_smoothly_bounded_and_marked():
    frame_map = bent_map()
    edge_mm, beyond_mm = np.array([[380.0, 100.0]]), np.array([[380.001, 100.0]])
    far_mm = np.array([[5000.0, 100.0]])
    displacement = frame_map.displacement
    assert np.abs(displacement.displacement_px(beyond_mm) - displacement.displacement_px(edge_mm)).max() < 0.01
    slopes = displacement.jacobian_px_per_mm(edge_mm), displacement.jacobian_px_per_mm(beyond_mm)
    assert np.abs(slopes[0] - slopes[1]).max() < 1e-3
    assert np.abs(displacement.displacement_px(far_mm)).max() < 60.0
    assert frame_map.is_extrapolated(np.concatenate([edge_mm, beyond_mm])).tolist() == [False, True]


def test_outside_the_support_the_map_is_extrapolated():
    frame_map = FrameMap(PERSPECTIVE, support_mm=[[0, 0], [100, 0], [100, 50]])
    assert frame_map.is_extrapolated([[90.0, 10.0], [10.0, 40.0], [0.0, 0.0]]).tolist() == [False, True, False]


def test_a_fold_is_refused_with_its_place():
    gentle = bent_map()
    gentle.refuse_folds((0.0, 0.0, 380.0, 300.0))
    dx_px = np.zeros((16, 20))
    # Neighbouring nodes 20 mm apart change sides by 900 px, where 400 px lie between them.
    dx_px[8, 10], dx_px[8, 11] = 450.0, -450.0
    folded = FrameMap(PERSPECTIVE, DisplacementGrid(0.0, 0.0, 20.0, dx_px=dx_px, dy_px=0.0 * dx_px))
    with pytest.raises(FoldedMapError, match=r"folds over itself near x 21.*, y 1[56].* mm") as caught:
        folded.refuse_folds((0.0, 0.0, 380.0, 300.0))
    assert caught.value.area_ratio < 0.02


def test_a_fold_beyond_the_extent_does_not_matter():
    dx_px = np.zeros((16, 20))
    dx_px[8, 10], dx_px[8, 11] = 450.0, -450.0
    folded = FrameMap(PERSPECTIVE, DisplacementGrid(0.0, 0.0, 20.0, dx_px=dx_px, dy_px=0.0 * dx_px))
    folded.refuse_folds((0.0, 0.0, 120.0, 300.0))
    with pytest.raises(FoldedMapError, match="local area"):
        folded.refuse_folds((0.0, 0.0, 210.0, 300.0))


def test_a_search_that_does_not_settle_is_refused():
    # A wave of 900 px on 40 mm takes the image back and forth, so that some pixels are never met.
    dx_px = np.tile(np.where(np.arange(12) % 2, 900.0, -900.0), (6, 1))
    frame_map = FrameMap(np.diag([20.0, 20.0, 1.0]), DisplacementGrid(0.0, 0.0, 20.0, dx_px=dx_px, dy_px=0.0 * dx_px))
    with pytest.raises(MapInversionError, match=r"the search stopped .* px away; [0-9]+ such points") as caught:
        frame_map.mm_from_px(np.random.default_rng(1).uniform([0.0, 0.0], [4400.0, 2000.0], size=(300, 2)))
    assert caught.value.residual_px > 0.01


def test_no_points_and_no_numbers_come_back_as_such():
    frame_map = bent_map()
    assert frame_map.px_from_mm(np.empty((0, 2))).shape == (0, 2)
    assert frame_map.mm_from_px(np.empty((0, 2))).shape == (0, 2)
    assert np.isnan(frame_map.px_from_mm([[np.nan, 1.0], [1.0, 1.0]])).tolist() == [[True, True], [False, False]]


def test_a_horizon_inside_the_face_is_refused_as_a_fold():
    steep = FrameMap(np.array([[20.0, 0.0, 0.0], [0.0, 20.0, 0.0], [-0.01, 0.0, 1.0]]))
    steep.refuse_folds((0.0, 0.0, 50.0, 50.0))
    with pytest.raises(FoldedMapError, match="near x"):
        steep.refuse_folds((0.0, 0.0, 200.0, 50.0))


def test_a_pixel_without_a_place_is_refused_by_name():
    with pytest.raises(
        MapInversionError, match=r"pixel x 1000000000\.00, y 1000000000\.00 \(it lies beyond the horizon"
    ):
        FrameMap(PERSPECTIVE, image_size_px=(7600, 5800)).mm_from_px([[1e9, 1e9]])


def test_beyond_the_horizon_there_is_no_pixel():
    assert np.isnan(FrameMap(PERSPECTIVE).px_from_mm([[-30_000.0, 0.0]])).all()


def test_the_json_form_survives_text():
    frame_map = bent_map()
    assert FrameMap.from_json(json.loads(json.dumps(frame_map.to_json(), allow_nan=False))) == frame_map


def test_the_sign_of_the_matrix_does_not_matter():
    assert FrameMap(-3.0 * PERSPECTIVE, image_size_px=(7600, 5800)).projective == pytest.approx(PERSPECTIVE)


@pytest.mark.parametrize("scale_px", [1.0, 1e-3, 1e5])
def test_a_matrix_that_squeezes_the_face_is_refused(scale_px):
    with pytest.raises(SingularMapError, match="'projective' has no inverse"):
        FrameMap([[scale_px, 2 * scale_px, 1e5], [2 * scale_px, 4 * scale_px, 7.0], [0.0, 0.0, 1.0]])


def test_a_number_that_is_none_is_refused_with_its_place():
    values = np.zeros((4, 4))
    values[2, 3] = np.inf
    with pytest.raises(MapFormatError, match=r"'displacement\.dx_px\[2, 3\]' is not finite"):
        DisplacementGrid(0.0, 0.0, 10.0, dx_px=values, dy_px=np.zeros((4, 4)))


def test_only_scale_and_translation_needs_no_resampling():
    plain = FrameMap.from_stated_scale(0.05, (-10.0, 3.0), image_size_px=(4000, 3000))
    assert plain.own_grid().to_json() == pytest.approx(CanvasGrid(-10.0, 3.0, 0.05, 4000, 3000).to_json())
    turned = np.array([[np.cos(1e-3), -np.sin(1e-3), 0], [np.sin(1e-3), np.cos(1e-3), 0], [0, 0, 1]])
    assert not FrameMap(turned @ plain.projective, image_size_px=(4000, 3000)).is_scale_and_translation()
    assert not FrameMap.from_stated_scale(0.05, image_size_px=(40, 30), orientation=2).is_scale_and_translation()
    assert not bent_map().is_scale_and_translation()


def test_a_tiny_tilt_within_the_tolerance_needs_no_resampling():
    tilted = np.array([[20.0, 1e-4, 0.0], [-1e-4, 20.0, 0.0], [0.0, 0.0, 1.0]])
    assert FrameMap(tilted, image_size_px=(2000, 2000)).is_scale_and_translation(0.05)
    assert not FrameMap(tilted, image_size_px=(200_000, 2000)).is_scale_and_translation(0.05)


def test_the_datum_lies_where_it_was_put():
    for orientation in range(1, 9):
        frame_map = FrameMap.from_stated_scale(
            0.1, (12.0, 7.0), image_size_px=(300, 200), orientation=orientation, datum_px=(50.0, 20.0)
        )
        assert frame_map.pitch_mm_at([0.0, 0.0]).tolist() == pytest.approx([0.1, 0.1])
        assert frame_map.is_mirrored() == (orientation in (2, 4, 5, 7))
        x_min, y_min, _, _ = frame_map.extent_mm()
        assert (x_min, y_min) == pytest.approx((7.0, 5.0))


def test_the_area_factor_is_the_share_of_pixels_per_square_millimetre():
    frame_map = FrameMap.from_stated_scale(0.05, image_size_px=(100, 100), orientation=2)
    assert frame_map.area_factor_px2_per_mm2([[1.0, 1.0]]).tolist() == pytest.approx([-400.0])
