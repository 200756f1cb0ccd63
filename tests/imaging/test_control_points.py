import json

import numpy as np
import pytest

from imaging.compute.projective import apply_projective
from imaging.compute.registration.control_points import MODELS, fit_control_points
from imaging.compute.registration.solutions import FitOptions
from imaging.compute.registration.uncertainty import UncertaintyGrid
from imaging.map_errors import (
    CollinearControlPointsError,
    DuplicateControlPointsError,
    MirroredControlPointsError,
    TooFewControlPointsError,
)

TRUTHS = {
    "similarity": np.array([[20.0, 1.0, 50.0], [-1.0, 20.0, -30.0], [0.0, 0.0, 1.0]]),
    "affine": np.array([[20.0, 1.3, 50.0], [-0.6, 19.0, -30.0], [0.0, 0.0, 1.0]]),
    "projective": np.array([[20.0, 1.3, 50.0], [-0.6, 19.0, -30.0], [5e-5, 1e-4, 1.0]]),
}
TRUTHS["smooth"] = TRUTHS["affine"]


def bend_px(points_mm):
    x, y = points_mm.T
    return np.stack([8.0 * np.sin(x / 200.0) * np.cos(y / 150.0), 6.0 * np.cos(x / 180.0 + 1.0)], axis=1)


def true_px(model, points_mm):
    points_px = apply_projective(TRUTHS[model], points_mm)
    return points_px + bend_px(points_mm) if model == "smooth" else points_px


def point_set(model, *, count, sigma_px=0.5, seed=1):
    generator = np.random.default_rng(seed)
    points_mm = generator.uniform([0.0, 0.0], [600.0, 400.0], size=(count, 2))
    return points_mm, true_px(model, points_mm) + generator.normal(0.0, sigma_px, size=(count, 2))


@pytest.mark.parametrize("model", MODELS)
def test_a_fit_comes_near_the_truth_between_its_points(model):
    fit = fit_control_points(*point_set(model, count=30), model=model)
    places_mm = np.random.default_rng(2).uniform([80.0, 60.0], [520.0, 340.0], size=(200, 2))
    miss_px = np.hypot(*(fit.frame_map.px_from_mm(places_mm) - true_px(model, places_mm)).T)
    assert np.sqrt(np.square(miss_px).mean()) < (1.0 if model == "smooth" else 0.5)
    assert fit.slips == ()


@pytest.mark.parametrize(("model", "count"), [("similarity", 5), ("affine", 7), ("projective", 8), ("smooth", 20)])
@pytest.mark.parametrize("index", [0, 3])
def test_a_gross_slip_is_found_and_named(model, count, index):
    points_mm, points_px = point_set(model, count=count)
    expected_px = points_px[index].copy()
    points_px[index] += [180.0, -90.0]
    options = FitOptions(labels=[f"nail {number}" for number in range(count)])
    (slip,) = fit_control_points(points_mm, points_px, model=model, options=options).slips
    assert (slip.index, slip.is_left_out) == (index, True)
    assert slip.distance_mm == pytest.approx(np.hypot(180.0, 90.0) * 0.05, rel=0.15)
    assert np.hypot(*(np.array(slip.expected_px) - expected_px)) < 20.0
    assert slip.message.startswith(f"Point nail {index} is off by ")
    assert "Set it again near x" in slip.message


def test_two_points_exchanged_are_named_together():
    points_mm, points_px = point_set("affine", count=12)
    points_px[[2, 7]] = points_px[[7, 2]]
    slips = fit_control_points(points_mm, points_px, model="affine").slips
    assert [(slip.label, slip.exchanged_with) for slip in slips] == [("P3", "P8"), ("P8", "P3")]
    assert "it seems exchanged with point P8. Exchange the two." in slips[0].message


def test_among_four_corners_a_similarity_names_the_slip():
    corners_mm = np.array([[0.0, 0.0], [600.0, 0.0], [600.0, 400.0], [0.0, 400.0]])
    corners_px = true_px("similarity", corners_mm)
    corners_px[2, 0] += 150.0
    fit = fit_control_points(corners_mm, corners_px, model="affine")
    assert [(slip.label, slip.is_left_out) for slip in fit.slips] == [("P3", False)]
    assert fit.is_used.all()
    assert fit.slips[0].distance_px == pytest.approx(150.0, rel=1e-6)


@pytest.mark.parametrize("model", ["similarity", "affine", "projective"])
def test_picks_of_usual_scatter_are_no_slips(model):
    counts = [len(fit_control_points(*point_set(model, count=9, sigma_px=1.0, seed=s), model=model).slips)
              for s in range(12)]  # fmt: skip
    assert sum(counts) == 0


def test_check_points_take_no_part_in_the_fit():
    points_mm, points_px = point_set("affine", count=12)
    check = np.arange(12) >= 9
    alone = fit_control_points(points_mm[:9], points_px[:9], model="affine")
    points_px[10] += [40.0, 0.0]
    fit = fit_control_points(points_mm, points_px, model="affine", check=check)
    assert np.array_equal(fit.frame_map.projective, alone.frame_map.projective)
    assert fit.check_error_mm.shape == (3,)
    assert fit.check_error_mm[1] == pytest.approx(2.0, rel=0.1)
    assert "no_check_points" not in [note.code for note in fit.notes]


@pytest.mark.parametrize("model", ["affine", "projective"])
def test_leaving_one_out_is_a_fit_without_the_point(model):
    points_mm, points_px = point_set(model, count=8)
    whole = fit_control_points(points_mm, points_px, model=model)
    without = fit_control_points(points_mm, points_px, model=model, check=np.arange(8) == 4)
    assert whole.leave_one_out_mm[4] == pytest.approx(without.residual_mm[4], rel=1e-3)
    assert whole.rms_leave_one_out_mm > whole.rms_mm


def test_with_nothing_spare_no_error_is_claimed():
    fit = fit_control_points(*point_set("projective", count=4), model="projective")
    assert fit.rms_leave_one_out_mm is None
    assert "fix a projective map exactly" in next(n for n in fit.notes if n.code == "nothing_spare").message


def test_the_stated_radius_holds_most_places():
    inside = []
    for seed in range(40):
        points = point_set("affine", count=8, sigma_px=1.0, seed=seed)
        fit = fit_control_points(*points, model="affine")
        places_mm = np.random.default_rng(seed).uniform([50.0, 50.0], [550.0, 350.0], size=(40, 2))
        miss_mm = np.hypot(*(fit.frame_map.mm_from_px(true_px("affine", places_mm)) - places_mm).T)
        inside.append((miss_mm <= fit.uncertainty.at(places_mm)).mean())
    assert 0.9 <= np.mean(inside) <= 0.995


def test_the_radius_grows_where_the_map_is_extrapolated():
    points_mm, points_px = point_set("smooth", count=25)
    options = FitOptions(extent_mm=(-200.0, -200.0, 800.0, 600.0))
    grid = fit_control_points(points_mm, points_px, model="smooth", options=options).uncertainty
    assert grid.radius95_mm[grid.is_extrapolated].mean() > 2.0 * grid.radius95_mm[~grid.is_extrapolated].mean()
    again = UncertaintyGrid.from_json(json.loads(json.dumps(grid.to_json())))
    assert again.at([[300.0, 200.0]]) == pytest.approx(grid.at([[300.0, 200.0]]))


def test_beyond_the_horizon_nothing_is_known_of_a_place():
    points_mm, points_px = point_set("projective", count=9)
    options = FitOptions(extent_mm=(-60_000.0, 0.0, 600.0, 400.0))
    grid = fit_control_points(points_mm, points_px, model="projective", options=options).uncertainty
    assert grid.radius95_mm[0, 0] == 1e6
    assert grid.is_extrapolated[0, 0]
    assert grid.radius95_mm[0, -1] < 10.0


@pytest.mark.parametrize(("model", "needed"), [("similarity", 2), ("affine", 3), ("projective", 4), ("smooth", 6)])
def test_too_few_points_say_how_many_are_needed(model, needed):
    points = point_set(model, count=needed - 1)
    with pytest.raises(TooFewControlPointsError, match=f"{model} transform needs at least {needed} control points"):
        fit_control_points(*points, model=model)


@pytest.mark.parametrize("model", ["affine", "projective", "smooth"])
def test_points_on_one_line_are_refused(model):
    along_mm = np.linspace(0.0, 500.0, 9)
    points_mm = np.stack([along_mm, 0.3 * along_mm + np.sin(along_mm)], axis=1)
    with pytest.raises(CollinearControlPointsError, match="Points must spread in both directions"):
        fit_control_points(points_mm, true_px(model, points_mm), model=model)


def test_a_projective_fit_needs_more_than_one_point_off_a_line():
    points_mm = np.array([[0.0, 0.0], [100.0, 0.0], [200.0, 0.0], [300.0, 0.0], [100.0, 200.0]])
    with pytest.raises(CollinearControlPointsError, match="projective transform"):
        fit_control_points(points_mm, true_px("projective", points_mm), model="projective")


def test_two_points_on_one_place_are_named():
    points_mm, points_px = point_set("affine", count=6)
    points_px[4] = points_px[1] + 0.2
    with pytest.raises(DuplicateControlPointsError, match="P2 and P5 stand on the same place in the image"):
        fit_control_points(points_mm, points_px, model="affine")


@pytest.mark.parametrize("model", MODELS)
def test_a_mirrored_set_is_refused_unless_allowed(model):
    points_mm, points_px = point_set(model, count=10)
    points_px[:, 0] = 12_000.0 - points_px[:, 0]
    with pytest.raises(MirroredControlPointsError, match="Allow mirroring when the image is seen from behind"):
        fit_control_points(points_mm, points_px, model=model)
    fit = fit_control_points(points_mm, points_px, model=model, options=FitOptions(may_be_mirrored=True))
    assert fit.frame_map.is_mirrored()
    assert fit.rms_px < 2.0


def test_points_in_one_corner_raise_a_doubt():
    points_mm, points_px = point_set("affine", count=8)
    options = FitOptions(extent_mm=(0.0, 0.0, 2400.0, 1600.0))
    notes = fit_control_points(points_mm, points_px, model="affine", options=options).notes
    assert "Add points near the edges left out." in next(n for n in notes if n.code == "one_sided").message


def test_what_is_stored_of_a_fit_is_plain_json():
    fit = fit_control_points(*point_set("affine", count=8), model="affine", check=np.arange(8) == 2)
    stored = json.loads(json.dumps(fit.to_json(), allow_nan=False))
    assert stored["leave_one_out_mm"][2] is None
    assert stored["rms_check_mm"] == pytest.approx(fit.rms_check_mm)
