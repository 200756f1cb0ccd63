"""Maps, splines and fits against reference libraries: scipy, scikit-image, Pillow, shapely."""

import numpy as np
import pytest
from PIL import Image, ImageOps
from scipy.interpolate import RBFInterpolator, RectBivariateSpline
from scipy.ndimage import map_coordinates
from scipy.optimize import least_squares
from skimage.transform import ProjectiveTransform, SimilarityTransform

from imaging.compute.displacement import DisplacementGrid
from imaging.compute.frames import pixel_centres_px, sample_index_from_px
from imaging.compute.maps import FrameMap
from imaging.compute.projective import apply_projective
from imaging.compute.registration.control_points import fit_control_points
from imaging.compute.registration.smooth_fit import fit_smooth_displacement

MATRIX = np.array([[20.0, 1.3, 50.0], [-0.6, 19.0, -30.0], [5e-5, 1e-4, 1.0]])


@pytest.fixture
def generator():
    return np.random.default_rng(20)


def test_the_displacement_is_the_interpolating_spline_of_scipy(generator):
    dx_px, dy_px = generator.normal(size=(2, 9, 13))
    grid = DisplacementGrid(-5.0, 2.0, 10.0, dx_px=dx_px, dy_px=dy_px)
    x_mm, y_mm = generator.uniform([[-5.0], [2.0]], [[115.0], [82.0]], size=(2, 500))
    values = grid.displacement_px(np.stack([x_mm, y_mm], axis=1))
    for component, plane in enumerate((dx_px, dy_px)):
        spline = RectBivariateSpline(2.0 + 10.0 * np.arange(9), -5.0 + 10.0 * np.arange(13), plane, s=0)
        assert np.abs(values[:, component] - spline.ev(y_mm, x_mm)).max() < 1e-11


def test_the_slopes_are_those_of_the_spline_of_scipy(generator):
    plane = generator.normal(size=(6, 6))
    grid = DisplacementGrid(0.0, 0.0, 2.0, dx_px=plane, dy_px=plane)
    x_mm, y_mm = generator.uniform(0.0, 10.0, size=(2, 200))
    spline = RectBivariateSpline(2.0 * np.arange(6), 2.0 * np.arange(6), plane, s=0)
    slopes = grid.jacobian_px_per_mm(np.stack([x_mm, y_mm], axis=1))[:, 0]
    assert np.abs(slopes[:, 0] - spline.ev(y_mm, x_mm, dy=1)).max() < 1e-11
    assert np.abs(slopes[:, 1] - spline.ev(y_mm, x_mm, dx=1)).max() < 1e-11


def test_a_similarity_fit_agrees_with_scikit_image(generator):
    points_mm = generator.uniform(0.0, 500.0, size=(12, 2))
    points_px = 20.0 * points_mm + generator.normal(0.0, 1.0, size=(12, 2))
    fit = fit_control_points(points_mm, points_px, model="similarity")
    expected = SimilarityTransform.from_estimate(points_mm, points_px)
    assert np.abs(fit.frame_map.px_from_mm(points_mm) - expected(points_mm)).max() < 1e-6


def test_an_affine_fit_has_the_least_squares_of_scipy(generator):
    """Not scikit-image, whose affine estimate minimises an algebraic distance."""
    points_mm = generator.uniform(0.0, 500.0, size=(12, 2))
    affine = np.array([[20.0, 1.3, 50.0], [-0.6, 19.0, -30.0]])
    points_px = points_mm @ affine[:, :2].T + affine[:, 2] + generator.normal(0.0, 1.0, size=(12, 2))
    fit = fit_control_points(points_mm, points_px, model="affine")
    solved = least_squares(
        lambda p: (points_mm @ p.reshape(2, 3)[:, :2].T + p.reshape(2, 3)[:, 2] - points_px).ravel(), affine.ravel()
    )
    assert np.square(fit.residual_px).sum() == pytest.approx(2.0 * solved.cost, rel=1e-6)


def test_a_projective_fit_is_not_worse_than_that_of_scikit_image(generator):
    points_mm = generator.uniform(0.0, 500.0, size=(15, 2))
    points_px = apply_projective(MATRIX, points_mm) + generator.normal(0.0, 1.0, size=(15, 2))
    fit = fit_control_points(points_mm, points_px, model="projective")
    expected = ProjectiveTransform.from_estimate(points_mm, points_px)
    squares_px2 = np.square(points_px - expected(points_mm)).sum()
    assert np.square(fit.residual_px).sum() <= squares_px2 * (1 + 1e-12)
    assert np.abs(fit.frame_map.px_from_mm(points_mm) - expected(points_mm)).max() < 0.5


def test_exact_points_give_the_matrix_of_scikit_image(generator):
    points_mm = generator.uniform(0.0, 500.0, size=(10, 2))
    points_px = ProjectiveTransform(MATRIX)(points_mm)
    fit = fit_control_points(points_mm, points_px, model="projective")
    assert fit.frame_map.projective == pytest.approx(MATRIX, rel=1e-6)


def test_the_smooth_fit_lies_near_the_thin_plate_spline_of_scipy(generator):
    points_mm = generator.uniform([0.0, 0.0], [600.0, 400.0], size=(60, 2))
    rest_px = np.stack([8 * np.sin(points_mm[:, 0] / 200), 6 * np.cos(points_mm[:, 1] / 150)], axis=1)
    ours = fit_smooth_displacement(points_mm, rest_px, extent_mm=(0.0, 0.0, 600.0, 400.0)).displacement
    plate = RBFInterpolator(points_mm, rest_px, kernel="thin_plate_spline")
    places_mm = generator.uniform([60.0, 40.0], [540.0, 360.0], size=(300, 2))
    assert np.sqrt(np.square(ours.displacement_px(places_mm) - plate(places_mm)).mean()) < 0.3


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientations_show_what_pillow_shows_upright(generator, orientation):
    """Pillow turns by the tag 274 that the Exif standard defines; the map must read the same pixels."""
    stored = generator.integers(0, 256, size=(5, 7), dtype=np.uint8)
    image = Image.fromarray(stored)
    image.getexif()[0x0112] = orientation
    upright = np.asarray(ImageOps.exif_transpose(image))
    frame_map = FrameMap.from_stated_scale(1.0, image_size_px=(7, 5), orientation=orientation)
    rows, columns = upright.shape
    places_px = frame_map.px_on_lattice(pixel_centres_px(columns), pixel_centres_px(rows))
    column, row = np.round(sample_index_from_px(places_px)).astype(int).transpose(2, 0, 1)
    assert np.array_equal(stored[row, column], upright)


def test_sample_indices_read_pixel_centres_in_scipy(generator):
    picture = generator.uniform(size=(6, 8))
    centres_px = np.stack(np.meshgrid(pixel_centres_px(8), pixel_centres_px(6)), axis=-1)
    index = sample_index_from_px(centres_px)
    assert np.array_equal(map_coordinates(picture, [index[..., 1], index[..., 0]], order=1), picture)
