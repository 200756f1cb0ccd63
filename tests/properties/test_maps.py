"""Maps and frames: what must hold for any numbers."""

import json

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from imaging.compute.displacement import DisplacementGrid
from imaging.compute.frame_versions import FrameChange
from imaging.compute.frames import CanvasGrid
from imaging.compute.maps import FrameMap
from imaging.compute.projective import apply_projective
from imaging.compute.registration.control_points import fit_control_points

# Sizes as they occur: works up to some metres, 5 to 500 um a pixel.
pitches_mm = st.floats(0.005, 0.5)
lengths_mm = st.floats(-2000.0, 2000.0)
positions_px = st.floats(-1e5, 1e5)
seeds = st.integers(0, 2**32 - 1)


@st.composite
def plane_matrices(draw, *, is_projective=False):
    turn, pitch_mm = draw(st.floats(-np.pi, np.pi)), draw(pitches_mm)
    cosine, sine = np.cos(turn) / pitch_mm, np.sin(turn) / pitch_mm
    stretch, shear = draw(st.floats(0.9, 1.1)), draw(st.floats(-0.1, 0.1))
    shifts_px = draw(positions_px), draw(positions_px)
    affine = np.array(
        [
            [cosine, shear * cosine - sine, shifts_px[0]],
            [sine, stretch * cosine + shear * sine, shifts_px[1]],
            [0.0, 0.0, 1.0],
        ]
    )
    # The perspective acts on the face first, so that a shift of the image cannot undo it.
    tilt = [draw(st.floats(-1e-4, 1e-4)) if is_projective else 0.0 for _ in range(2)]
    return affine @ np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [*tilt, 1.0]])


@st.composite
def bent_maps(draw):
    matrix, generator = draw(plane_matrices()), np.random.default_rng(draw(seeds))
    # Neighbouring nodes differ by at most a tenth of their distance, so nothing folds.
    step_mm = draw(st.floats(5.0, 60.0))
    amplitude_px = 0.025 * step_mm * np.sqrt(np.linalg.det(matrix[:2, :2]))
    dx_px, dy_px = generator.uniform(-amplitude_px, amplitude_px, size=(2, 7, 9))
    displacement = DisplacementGrid(draw(lengths_mm), draw(lengths_mm), step_mm, dx_px=dx_px, dy_px=dy_px)
    return FrameMap(matrix, displacement)


@given(lengths_mm, lengths_mm, pitches_mm, positions_px, positions_px)
def test_a_pixel_survives_the_round_trip_through_millimetres(x0_mm, y0_mm, pitch_mm, x_px, y_px):
    grid = CanvasGrid(x0_mm, y0_mm, pitch_mm, 100, 100)
    back_px = grid.px_from_mm(grid.mm_from_px([[x_px, y_px]]))
    assert np.abs(back_px - [[x_px, y_px]]).max() < 1e-6


@settings(max_examples=60, deadline=None)
@given(bent_maps(), seeds)
def test_a_place_survives_the_round_trip_through_a_bent_map(frame_map, seed):
    x_min, y_min, x_max, y_max = frame_map.displacement.extent_mm
    margin_mm = frame_map.displacement.step_mm
    places_mm = np.random.default_rng(seed).uniform(
        [x_min - margin_mm, y_min - margin_mm], [x_max + margin_mm, y_max + margin_mm], size=(50, 2)
    )
    points_px = frame_map.px_from_mm(places_mm)
    assert np.abs(frame_map.px_from_mm(frame_map.mm_from_px(points_px)) - points_px).max() <= 0.01


@settings(max_examples=60, deadline=None)
@given(bent_maps())
def test_a_map_document_gives_the_same_map(frame_map):
    assert FrameMap.from_json(json.loads(json.dumps(frame_map.to_json(), allow_nan=False))) == frame_map


@settings(max_examples=25, deadline=None)
@given(plane_matrices(is_projective=True), seeds)
def test_a_projective_fit_recovers_an_applied_transform(matrix, seed):
    generator = np.random.default_rng(seed)
    # A jittered 4 x 3 lattice: spread points, as the fit demands.
    lattice = np.stack(np.meshgrid(np.arange(4), np.arange(3)), axis=-1).reshape(-1, 2)
    points_mm = 100.0 * (lattice + generator.uniform(-0.3, 0.3, size=lattice.shape))
    points_px = apply_projective(matrix, points_mm)
    fit = fit_control_points(points_mm, points_px, model="projective")
    assert fit.slips == ()
    places_mm = generator.uniform([0.0, 0.0], [300.0, 200.0], size=(20, 2))
    assert np.abs(fit.frame_map.px_from_mm(places_mm) - apply_projective(matrix, places_mm)).max() < 1e-3


@st.composite
def changes(draw):
    turn, scale = draw(st.floats(-0.2, 0.2)), draw(st.floats(0.9, 1.1))
    cosine, sine = scale * np.cos(turn), scale * np.sin(turn)
    return FrameChange([[cosine, -sine, draw(lengths_mm)], [sine, cosine, draw(lengths_mm)]])


@given(plane_matrices(is_projective=True), changes(), changes(), lengths_mm, lengths_mm)
def test_frame_versions_carried_one_by_one_or_at_once_agree(matrix, first, second, x_mm, y_mm):
    frame_map, old_mm = FrameMap(matrix), np.array([[x_mm, y_mm]])
    stepwise = second.carried_map(first.carried_map(frame_map))
    at_once = first.then(second).carried_map(frame_map)
    new_mm = second.new_from_old_mm(first.new_from_old_mm(old_mm))
    expected_px = frame_map.px_from_mm(old_mm)
    assume(np.isfinite(expected_px).all() and np.abs(expected_px).max() < 1e7)
    # Without an image size the sign of the depth is taken at the datum, which moves with the version.
    for carried in (stepwise, at_once):
        got_px = carried.px_from_mm(new_mm)
        assume(np.isfinite(got_px).all())
        assert np.abs(got_px - expected_px).max() < 1e-4


@given(changes(), lengths_mm, lengths_mm)
def test_a_change_of_the_frame_can_be_undone(change, x_mm, y_mm):
    back_mm = change.old_from_new_mm(change.new_from_old_mm([[x_mm, y_mm]]))
    assert np.abs(back_mm - [[x_mm, y_mm]]).max() < 1e-8
