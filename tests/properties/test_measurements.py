"""Geometry and measures: what must hold for any shape."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import assume, given
from hypothesis import strategies as st

from annotations.compute.geometries import geometry_from_json, geometry_from_wkb, geometry_to_json, geometry_to_wkb
from annotations.compute.measurements import axial_difference_deg, axial_mean_deg, measure_area, measure_length
from annotations.compute.uncertainty import ErrorBudget, Pick, rounded_pair

BUDGET = ErrorBudget(relative_scale=0.001)
PICK = Pick(0.02)
angles_deg = st.floats(-720.0, 720.0)


@st.composite
def star_outlines(draw):
    """Return an outline that never crosses itself: one corner per direction around a middle."""
    count = draw(st.integers(3, 12))
    radii_mm = np.array(draw(st.lists(st.floats(1.0, 300.0), min_size=count, max_size=count)))
    middle_mm = np.array([draw(st.floats(-2000.0, 2000.0)), draw(st.floats(-2000.0, 2000.0))])
    turns = 2.0 * np.pi * np.arange(count) / count
    return (middle_mm + radii_mm[:, np.newaxis] * np.stack([np.cos(turns), np.sin(turns)], axis=1)).tolist()


@given(star_outlines(), st.integers(0, 11), st.booleans())
def test_area_and_length_ignore_the_start_vertex_and_the_sense(outline, start, is_reversed):
    turned = outline[start % len(outline) :] + outline[: start % len(outline)]
    turned = turned[::-1] if is_reversed else turned
    for measure in (
        lambda ring: measure_area([shapely.Polygon(ring)], pick=PICK, budget=BUDGET),
        lambda ring: measure_length(shapely.Polygon(ring), pick=PICK, budget=BUDGET),
    ):
        one, other = measure(outline), measure(turned)
        assert other.value == pytest.approx(one.value, rel=1e-9)
        assert other.uncertainty == pytest.approx(one.uncertainty, rel=1e-9)


@given(star_outlines())
def test_a_shape_survives_storing_and_sending(outline):
    geometry = geometry_from_json({"type": "Polygon", "coordinates": [outline]})
    again = geometry_from_json(geometry_to_json(geometry_from_wkb(geometry_to_wkb(geometry))))
    assert again.equals_exact(geometry, 0.0)


@given(st.lists(star_outlines(), min_size=1, max_size=4))
def test_a_union_is_never_more_than_the_sum_nor_less_than_the_largest(outlines):
    areas = [shapely.Polygon(outline) for outline in outlines]
    union = measure_area(areas, pick=PICK, budget=BUDGET).value
    assert max(area.area for area in areas) * (1 - 1e-9) <= union <= sum(area.area for area in areas) * (1 + 1e-9)


@given(st.lists(angles_deg, min_size=1, max_size=6), st.integers(-3, 3))
def test_half_turns_do_not_change_an_axial_mean(angles, half_turns):
    resultant = np.abs(np.exp(2j * np.radians(angles)).mean())
    assume(resultant > 1e-3)
    turned = [angles[0] + 180.0 * half_turns, *angles[1:]]
    assert axial_difference_deg(axial_mean_deg(turned), axial_mean_deg(angles)) == pytest.approx(0.0, abs=1e-6)


@given(st.floats(-1e5, 1e5), st.floats(1e-6, 1e4))
def test_rounding_never_loses_more_than_half_a_last_place(value, uncertainty):
    pair = rounded_pair(value, uncertainty)
    exponent = math.floor(math.log10(uncertainty))
    assert abs(float(pair.value_digits) - value) <= 0.5001 * 10.0 ** (exponent + 1)
    assert float(pair.uncertainty_digits) == pytest.approx(uncertainty, rel=0.15)
    assert ("." in pair.value_digits) == ("." in pair.uncertainty_digits)
