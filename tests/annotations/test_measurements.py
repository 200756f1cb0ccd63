import math

import numpy as np
import pytest
import shapely

from annotations.compute.measurements import (
    axial_mean_deg,
    measure_angle,
    measure_area,
    measure_density,
    measure_distance,
    measure_length,
    measure_spacing,
    share_of_surface,
    threads_per_cm,
)
from annotations.compute.uncertainty import ErrorBudget, Pick, rounded_pair
from annotations.errors import MeasurementError

FINE = Pick(0.02)
NONE = ErrorBudget()


def test_below_three_pixels_of_the_coarser_image_nothing_is_claimed():
    coarse = Pick(0.08)
    short = measure_distance([0, 0], [0.23, 0], picks=(FINE, coarse), budget=NONE)
    assert (short.is_resolved, short.sentence) == (False, "not_resolved")
    assert short.resolvable_mm == pytest.approx(0.24)
    assert measure_distance([0, 0], [0.24, 0], picks=(FINE, coarse), budget=NONE).is_resolved


def test_a_distance_within_one_image_is_no_cross_modal_one():
    within = measure_distance([0, 0], [5, 0], picks=(FINE, FINE), budget=NONE)
    between = measure_distance([0, 0], [5, 0], picks=(FINE, FINE), budget=ErrorBudget(registration_mm=0.04))
    assert (within.sentence, between.sentence) == ("value", "cross_modal")
    assert [part.source for part in between.parts] == ["first end", "second end", "registration"]


def test_the_parts_make_the_uncertainty():
    budget = ErrorBudget(registration_mm=0.04, relative_scale=0.001)
    result = measure_length(shapely.LineString([(0, 0), (40, 0), (40, 30)]), pick=FINE, budget=budget)
    assert result.uncertainty == pytest.approx(2 * math.hypot(*(part.standard for part in result.parts)))


def test_a_straight_vertex_adds_no_uncertainty_of_length():
    two = measure_length(shapely.LineString([(0, 0), (40, 0)]), pick=FINE, budget=NONE)
    three = measure_length(shapely.LineString([(0, 0), (20, 0), (40, 0)]), pick=FINE, budget=NONE)
    assert three.uncertainty == pytest.approx(two.uncertainty)


@pytest.mark.parametrize("kind", ["length", "area"])
def test_the_stated_uncertainty_is_the_scatter_of_repeated_picks(kind):
    generator = np.random.default_rng(11)
    places_mm = np.array([[0.0, 0.0], [12.0, 1.0], [15.0, 9.0], [6.0, 14.0], [-3.0, 8.0]])
    shape = shapely.LineString if kind == "length" else shapely.Polygon
    noise_mm = generator.normal(0.0, FINE.sigma_mm, size=(4000, *places_mm.shape))
    values = [getattr(shape(places), kind) for places in places_mm + noise_mm]
    if kind == "length":
        result = measure_length(shape(places_mm), pick=FINE, budget=NONE)
    else:
        result = measure_area([shape(places_mm)], pick=FINE, budget=NONE)
    assert result.uncertainty / 2 == pytest.approx(np.std(values), rel=0.05)


def test_a_hole_and_an_overlap_are_not_counted():
    ring = shapely.Polygon([(0, 0), (10, 0), (10, 10), (0, 10)], [[(2, 2), (4, 2), (4, 4), (2, 4)]])
    assert measure_area([ring, shapely.box(8, 0, 12, 10)], pick=FINE, budget=NONE).value == pytest.approx(116.0)


def test_only_cracks_inside_the_region_count():
    lines = [shapely.LineString([(-5, 5), (15, 5)]), shapely.LineString([(50, 0), (50, 10)])]
    density = measure_density(lines, shapely.box(0, 0, 10, 10), pick=FINE, budget=NONE)
    assert density.value == pytest.approx(0.1)
    assert density.unit == "mm/mm2"


def test_a_region_without_cracks_has_density_zero():
    density = measure_density([], shapely.box(0, 0, 10, 10), pick=FINE, budget=NONE)
    assert (density.value, density.uncertainty) == (0.0, 0.0)


def test_spacing_is_the_track_by_its_crossings():
    track = shapely.LineString([(0, 0), (48, 0)])
    cracks = [shapely.LineString([(x, -5), (x, 5)]) for x in range(2, 48, 5)]
    assert measure_spacing(track, cracks, pick=FINE, budget=NONE).value == pytest.approx(4.8)


@pytest.mark.parametrize(
    ("measure", "message"),
    [
        (lambda: measure_area([shapely.Point(0, 0)], pick=FINE, budget=NONE), "The area cannot .* got Point"),
        (lambda: measure_area([], pick=FINE, budget=NONE), "got no shape, needed is areas"),
        (lambda: measure_length(shapely.Point(0, 0), pick=FINE, budget=NONE), "The length cannot .* got Point"),
        (lambda: measure_angle([1, 1], [1, 1], picks=(FINE, FINE), budget=NONE), "two ends on one place"),
        (lambda: axial_mean_deg([0, 90]), "directions that cancel"),
        (lambda: axial_mean_deg([]), "got no line"),
        (lambda: threads_per_cm(0, length_mm=50.0), "got 0 threads on 50.0 mm"),
        (lambda: share_of_surface(1.0, surface_mm2=0.0), "a painted surface of 0.0 mm2"),
        (lambda: measure_density([shapely.Point(0, 0)], shapely.box(0, 0, 1, 1), pick=FINE, budget=NONE), "no line"),
    ],
)
def test_what_cannot_be_measured_says_so(measure, message):
    with pytest.raises(MeasurementError, match=message):
        measure()


def test_value_and_uncertainty_share_their_last_place():
    assert vars(rounded_pair(12.3391, 0.0589)) == {"value_digits": "12.34", "uncertainty_digits": "0.06"}
    assert vars(rounded_pair(0.99999, 0.0096)) == {"value_digits": "1.000", "uncertainty_digits": "0.010"}
    assert vars(rounded_pair(1234.5, 37.0)) == {"value_digits": "1230", "uncertainty_digits": "40"}
