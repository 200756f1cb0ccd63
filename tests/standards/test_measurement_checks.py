"""Measures against handbook arithmetic.

Sources: JCGM 100:2008 (GUM) 4.3.7 (rectangular distribution, variance a^2/3 for half-width a) and 5.1.2
(quadrature), 6.2 (expanded uncertainty), clause numbers from memory; JCGM 100:2008 7.2.6 (digits);
Particle Data Group, Review of Particle Physics, Introduction (rounding: 0.827 +/- 0.119 and
0.827 +/- 0.367 are its examples), from memory; 1 inch = 25.4 mm exactly (international yard and pound
agreement, 1959). The numbers of each case were calculated by hand for the trade's usual rules.
"""

import math

import pytest
import shapely

from annotations.compute.measurements import (
    axial_mean_deg,
    measure_angle,
    measure_area,
    measure_distance,
    measure_length,
    share_of_surface,
    threads_per_cm,
)
from annotations.compute.uncertainty import ErrorBudget, Pick, rounded_pair
from imaging.compute.maps import FrameMap

NONE = ErrorBudget()


@pytest.mark.parametrize(
    ("ppi", "um_per_px"),
    [(300, 84.667), (400, 63.5), (512, 49.6), (600, 42.333), (1200, 21.167), (1270, 20), (2540, 10)],
)
def test_pixels_per_inch_give_micrometres_per_pixel(ppi, um_per_px):
    frame_map = FrameMap.from_stated_scale(25.4 / ppi, image_size_px=(ppi, ppi))
    assert 1000 * frame_map.pitch_mm_at([1.0, 1.0]) == pytest.approx([um_per_px] * 2, abs=0.01)
    assert frame_map.mm_from_px([[ppi, ppi]]) == pytest.approx(25.4)


def test_a_pixel_known_only_to_itself_has_the_rectangular_deviation():
    assert Pick(0.02, repeatability_px=0.0).sigma_mm == pytest.approx(math.sqrt(0.01**2 / 3))


@pytest.mark.parametrize(
    ("length_mm", "repeatability_px", "budget", "expanded_mm"),
    [
        (12.34, 1.0, NONE, 0.0589),
        (12.34, 1.0, ErrorBudget(registration_mm=0.04, relative_scale=0.001), 0.1024),
        (12.34, 0.0, NONE, 0.0163),
    ],
)
def test_distance_within_one_image(length_mm, repeatability_px, budget, expanded_mm):
    pick = Pick(0.02, repeatability_px)
    result = measure_distance([0, 0], [length_mm, 0], picks=(pick, pick), budget=budget)
    assert result.uncertainty == pytest.approx(expanded_mm, abs=5e-5)


def test_distance_between_two_modalities():
    budget = ErrorBudget(registration_mm=0.04, relative_scale=0.001)
    result = measure_distance([0, 0], [7.5, 0], picks=(Pick(0.05), Pick(0.02)), budget=budget)
    assert result.uncertainty == pytest.approx(0.1385, abs=5e-5)
    assert result.rounded.uncertainty_digits == "0.14"
    assert result.sentence == "cross_modal"


def test_area_of_a_square_with_independent_corners():
    pick = Pick(0.02 / math.sqrt(1 / 12 + 1))
    assert pick.sigma_mm == pytest.approx(0.02)
    result = measure_area([shapely.box(0, 0, 10, 10)], pick=pick, budget=NONE)
    assert result.uncertainty / 2 == pytest.approx(0.283, abs=5e-4)


def test_angle_of_a_line_by_its_ends():
    pick = Pick(0.02 / math.sqrt(1 / 12 + 1))
    result = measure_angle([0, 0], [50, 0], picks=(pick, pick), budget=NONE)
    assert result.uncertainty / 2 == pytest.approx(0.0324, abs=5e-5)


def test_length_of_a_broken_line():
    line = shapely.LineString([(0, 0), (3, 4), (3, 10)])
    assert measure_length(line, pick=Pick(0.02), budget=NONE).value == 11.0


def test_union_of_overlapping_squares():
    squares = [shapely.box(0, 0, 10, 10), shapely.box(5, 0, 15, 10)]
    assert sum(square.area for square in squares) == 200.0
    assert measure_area(squares, pick=Pick(0.02), budget=NONE).value == 150.0


def test_axial_mean_across_the_half_turn():
    assert axial_mean_deg([170.0, 10.0]) == pytest.approx(0.0, abs=1e-9)


def test_threads_counted_over_five_centimetres():
    assert threads_per_cm(71, length_mm=50.0) == pytest.approx((14.2, 0.2))


def test_loss_as_share_of_the_painted_surface():
    share = share_of_surface(128.0, surface_mm2=640.0 * 480.0)
    assert 128.0 / 100.0 == 1.28
    assert 100 * share == pytest.approx(0.0417, abs=5e-5)


@pytest.mark.parametrize(
    ("value", "uncertainty", "digits"), [(0.827, 0.119, ("0.83", "0.12")), (0.827, 0.367, ("0.8", "0.4"))]
)
def test_published_rounding_examples(value, uncertainty, digits):
    pair = rounded_pair(value, uncertainty)
    assert (pair.value_digits, pair.uncertainty_digits) == digits
