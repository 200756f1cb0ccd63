import numpy as np
import pytest

from imaging.compute.frame_versions import FrameChange
from imaging.compute.maps import FrameMap
from imaging.compute.registration.uncertainty import UncertaintyGrid
from imaging.map_errors import MapFormatError, SingularMapError
from tests.imaging.test_maps import PERSPECTIVE, bent_map

TURNED = FrameChange([[1.002, -0.03, 12.0], [0.031, 0.999, -5.0]])


@pytest.mark.parametrize("change", [FrameChange([[1.01, 0.0, 12.0], [0.0, 1.01, -5.0]]), TURNED])
def test_a_carried_map_shows_the_same_pixel_at_the_same_place(change):
    frame_map = bent_map(amplitude_px=3.0)
    old_mm = np.random.default_rng(3).uniform([0.0, 0.0], [380.0, 300.0], size=(400, 2))
    carried = change.carried_map(frame_map)
    assert np.abs(carried.px_from_mm(change.new_from_old_mm(old_mm)) - frame_map.px_from_mm(old_mm)).max() < 0.01


def test_what_was_extrapolated_stays_so_in_a_new_frame_version():
    frame_map = bent_map()
    old_mm = np.array([[10.0, 10.0], [370.0, 290.0], [-5.0, 100.0], [200.0, 310.0], [385.0, 305.0]])
    carried = TURNED.carried_map(frame_map)
    assert carried.is_extrapolated(TURNED.new_from_old_mm(old_mm)).tolist() == [False, False, True, True, True]


def test_a_support_is_carried_with_its_points():
    frame_map = FrameMap(PERSPECTIVE, support_mm=[[0, 0], [100, 0], [100, 50]])
    carried = TURNED.carried_map(frame_map)
    places_mm = TURNED.new_from_old_mm([[90.0, 10.0], [10.0, 40.0]])
    assert carried.is_extrapolated(places_mm).tolist() == [False, True]


@pytest.mark.parametrize("change", [FrameChange([[1.02, 0.0, 12.0], [0.0, 1.02, -5.0]]), TURNED])
def test_an_uncertainty_is_carried_with_its_places(change):
    radius_mm = np.random.default_rng(5).uniform(0.05, 0.06, size=(6, 9)) + np.arange(9) / 100.0
    is_extrapolated = np.arange(9) + np.zeros((6, 1)) >= 7
    grid = UncertaintyGrid(0.0, 0.0, 50.0, radius_mm, is_extrapolated)
    places_mm = np.array([[110.0, 90.0], [260.0, 210.0], [390.0, 150.0]])
    carried = change.carried_uncertainty(grid)
    assert carried.at(change.new_from_old_mm(places_mm)) == pytest.approx(grid.at(places_mm), rel=0.1)
    assert carried.is_extrapolated_at(change.new_from_old_mm(places_mm)).tolist() == [False, False, True]
    assert UncertaintyGrid.from_json(carried.to_json()).to_json() == carried.to_json()


def test_two_changes_are_one_after_the_other():
    later = FrameChange([[2.0, 0.0, 1.0], [0.0, 2.0, 1.0]])
    step_by_step = later.new_from_old_mm(TURNED.new_from_old_mm([[3.0, 4.0]]))
    assert TURNED.then(later).new_from_old_mm([[3.0, 4.0]]) == pytest.approx(step_by_step)


def test_a_change_document_reads_back():
    assert np.array_equal(FrameChange.from_json(TURNED.to_json()).new_from_old, TURNED.new_from_old)
    with pytest.raises(MapFormatError, match=r"'change\.version' is 2, needed is 1"):
        FrameChange.from_json(TURNED.to_json() | {"version": 2})


def test_a_change_that_cannot_be_undone_is_refused():
    with pytest.raises(SingularMapError, match="'affine' has no inverse"):
        FrameChange([[1.0, 2.0, 0.0], [2.0, 4.0, 0.0]])
