"""The claim “same grid as that image” is measured across modalities, or left open."""

import numpy as np
import pytest

from imaging.compute.masters.same_grid import GridLevel, measure_same_grid

from .painted_pairs import pair


def measured(reference, moving, *, valid=None, scale_factor=1.0):
    size_px = (reference.shape[1], reference.shape[0])
    return measure_same_grid(
        [GridLevel(reference, scale_factor, valid=valid)],
        [GridLevel(moving, scale_factor, valid=valid)],
        reference_size_px=size_px,
        moving_size_px=size_px,
    )


@pytest.mark.parametrize(
    ("seed", "shift_px", "verdict"),
    [
        (0, (0.0, 0.0), "agrees"),
        (1, (0.25, 0.0), "agrees"),
        (2, (0.75, -0.5), "doubtful"),
        (3, (-3.0, 1.25), "doubtful"),
        (4, (20.0, -9.0), "doubtful"),
    ],
)
def test_a_known_shift_between_unlike_modalities_is_measured(seed, shift_px, verdict):
    finding = measured(*pair(seed=seed, shift_px=shift_px))
    assert finding.verdict == verdict
    # A hundredth of the shift for the bias of the window, and a tenth of a pixel.
    tolerance = 0.1 + 0.01 * max(map(abs, shift_px))
    assert (finding.dx_px, finding.dy_px) == pytest.approx(shift_px, abs=tolerance)


def test_a_small_turn_is_a_doubt_although_the_middle_agrees():
    finding = measured(*pair(seed=5, turn_deg=0.3))
    assert finding.verdict == "doubtful"
    assert abs(finding.dx_px) < 0.3
    # 0.3 degrees at 180 to 255 px from the middle.
    assert 0.9 < finding.largest_px < 1.4
    assert "Set control points" in finding.reason


def test_reversed_contrast_and_noise_do_not_hide_agreement():
    reference, moving = pair(seed=6, noise=0.05)
    finding = measured(reference, 65_535 - moving)
    assert finding.verdict == "agrees"
    assert finding.resolves_px == 0.5
    assert finding.patches_used >= 18


def test_colour_is_taken_as_the_mean_of_its_bands():
    reference, moving = pair(seed=6)
    finding = measured(np.dstack([reference] * 3), moving)
    assert finding.verdict == "agrees"


@pytest.mark.parametrize("seed", range(2))
def test_unrelated_pictures_cannot_be_told(seed):
    reference, _ = pair(seed=seed)
    _, moving = pair(seed=100 + seed)
    finding = measured(reference, moving)
    assert (finding.verdict, finding.dx_px) == ("cannot_tell", None)
    assert "Compare the two at a few marks by eye" in finding.reason


def test_an_edge_of_the_picture_that_both_share_is_no_agreement():
    reference, _ = pair(seed=8)
    _, moving = pair(seed=108)
    valid = np.ones(reference.shape, bool)
    valid[:130] = valid[:, :40] = False
    finding = measured(np.where(valid, reference, 0), np.where(valid, moving, 0), valid=valid)
    assert finding.verdict == "cannot_tell"
    assert 0 < finding.patches_tried < 36


def test_a_blank_picture_cannot_be_told():
    reference, _ = pair(seed=9)
    assert measured(reference, np.full_like(reference, 7)).verdict == "cannot_tell"


def test_another_size_is_a_doubt_at_once():
    level = GridLevel(np.zeros((64, 64)))
    finding = measure_same_grid([level], [level], reference_size_px=(12_800, 9_600), moving_size_px=(12_801, 9_600))
    assert finding.verdict == "doubtful"
    assert "12800 × 9600 and 12801 × 9600 px" in finding.reason


def test_a_coarse_level_answers_in_pixels_of_the_master():
    finding = measured(*pair(seed=3, shift_px=(-3.0, 1.25)), scale_factor=8.0)
    assert (finding.dx_px, finding.dy_px) == pytest.approx((-24.0, 10.0), abs=1.0)
    assert finding.resolves_px == 4.0


def test_a_coarse_level_that_contradicts_outweighs_a_fine_one_that_cannot_tell():
    coarse = pair(seed=3, shift_px=(-3.0, 1.25))
    fine = (pair(seed=1)[0], pair(seed=101)[1])
    finding = measure_same_grid(
        [GridLevel(fine[0]), GridLevel(coarse[0], 8.0)],
        [GridLevel(fine[1]), GridLevel(coarse[1], 8.0)],
        reference_size_px=(4096, 4096),
        moving_size_px=(4096, 4096),
    )
    assert finding.verdict == "doubtful"
    assert finding.dx_px == pytest.approx(-24.0, abs=1.0)


def test_levels_that_do_not_pair_are_a_mistake_of_the_program():
    with pytest.raises(ValueError, match="same number of levels"):
        measure_same_grid([], [GridLevel(np.zeros((4, 4)))], reference_size_px=(4, 4),
                          moving_size_px=(4, 4))  # fmt: skip
    with pytest.raises(ValueError, match="levels of"):
        measured(np.zeros((128, 128)), np.zeros((128, 129)))
