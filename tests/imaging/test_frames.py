import numpy as np
import pytest

from imaging.compute.frames import CanvasGrid, canvas_grid_over, sample_matrix_from_px_matrix
from imaging.map_errors import MapFormatError


def test_the_first_pixel_covers_the_corner_of_the_grid():
    grid = CanvasGrid(10.0, 20.0, 0.5, 4, 2)
    assert grid.mm_from_px([[0.0, 0.0], [0.5, 0.5], [4.0, 2.0]]).tolist() == [[10, 20], [10.25, 20.25], [12, 21]]
    assert grid.extent_mm == (10.0, 20.0, 12.0, 21.0)


def test_a_halved_grid_covers_what_the_full_one_covers():
    grid = CanvasGrid(-1.0, 3.0, 0.02, 100_001, 77)
    for halvings in range(1, 8):
        full, half = grid.extent_mm, grid.zoomed(halvings).extent_mm
        assert half[:2] == full[:2]
        assert half[2] >= full[2] > half[2] - grid.zoomed(halvings).pitch_mm


def test_a_matrix_for_sample_indices_moves_pixel_centres_alike():
    matrix_px = np.array([[2.0, 0.1, 5.0], [-0.2, 3.0, 7.0], [1e-4, 2e-4, 1.0]])
    centre = np.array([10.5, 20.5, 1.0])
    by_px = matrix_px @ centre
    by_index = sample_matrix_from_px_matrix(matrix_px) @ (centre - [0.5, 0.5, 0.0])
    assert by_index[:2] / by_index[2] + 0.5 == pytest.approx(by_px[:2] / by_px[2], abs=1e-12)


@pytest.mark.parametrize(("own", "pitch"), [(0.02, 0.02), (0.039, 0.02), (0.04, 0.04), (0.1, 0.08), (0.012, 0.01)])
def test_a_published_pitch_is_never_coarser_than_the_image(own, pitch):
    grid = canvas_grid_over((0.0, 0.0, 10.0, 10.0), canvas_pitch_mm=0.02, own_pitch_mm=own)
    assert grid.pitch_mm == pytest.approx(pitch)


def test_published_grids_of_one_face_nest_on_one_lattice():
    extent_mm = (-3.217, 12.008, 640.71, 480.33)
    grid = canvas_grid_over(extent_mm, canvas_pitch_mm=0.02, own_pitch_mm=0.05)
    assert np.allclose(np.array([grid.x0_mm, grid.y0_mm]) / 0.04 % 1.0, 0.0)
    assert (np.array(grid.extent_mm[:2]) <= extent_mm[:2]).all()
    assert (np.array(grid.extent_mm[2:]) >= extent_mm[2:]).all()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"pitch_mm": 0.0}, "'pitch_mm' is 0.0, needed is a number above zero"),
        ({"x0_mm": float("nan")}, "'x0_mm' is nan, needed is a finite number"),
        ({"width_px": 2.5}, "'width_px' is 2.5, needed is a whole number from 1 up"),
        ({"zoom": 3}, r"'grid\.zoom' is unknown"),
    ],
)
def test_a_grid_document_is_refused_by_field(change, message):
    good = CanvasGrid(0.0, 0.0, 0.1, 10, 10).to_json()
    with pytest.raises(MapFormatError, match=message):
        CanvasGrid.from_json(good | change)
