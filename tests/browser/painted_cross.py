"""Find a painted registration cross in a photograph of the page, to a fraction of a screen pixel."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from tests.browser.running_installation import SCENARIO
from tests.browser.wall import Placing

__all__ = ["CROSSES_MM", "CrossNotSeenError", "find_cross"]

CROSSES_MM: dict[str, tuple[float, float]] = {
    name: (float(x), float(y)) for name, (x, y) in SCENARIO["registration_crosses"]["points_mm"].items()
}
# Parts of an arm used: outside the crossing, inside its end; and how far beside it the ground is taken.
ARM_MM = (0.9, 2.2)
BESIDE_MM = 1.5
STEP_MM = 0.02
ROUNDS = 6
LEAST_CONTRAST = 8.0


class CrossNotSeenError(AssertionError):
    """No light cross on a dark card was found."""


def find_cross(grey: NDArray[np.float64], placing: Placing, near_mm: tuple[float, float]) -> tuple[float, float]:
    """Return where the centre of the cross lies, in mm by the page's own placing.

    The arms are followed separately: the upright one gives x, the level one y, each by the centroid of the light
    above the dark card beside it. The look-out moves along until it is centred on what it finds.
    """
    x_mm, y_mm = near_mm
    for _ in range(ROUNDS):
        x_mm += arm_offset_mm(grey, placing, (x_mm, y_mm), is_upright=True)
        y_mm += arm_offset_mm(grey, placing, (x_mm, y_mm), is_upright=False)
    return x_mm, y_mm


def arm_offset_mm(
    grey: NDArray[np.float64], placing: Placing, centre_mm: tuple[float, float], *, is_upright: bool
) -> float:
    """Return how far an arm lies beside the place assumed."""
    beside = np.arange(-BESIDE_MM, BESIDE_MM + STEP_MM / 2, STEP_MM)
    half = np.arange(*ARM_MM, STEP_MM)
    along = np.concatenate([-half[::-1], half])
    across, down = np.meshgrid(beside, along) if is_upright else np.meshgrid(along, beside)
    profile = sample(grey, placing, centre_mm[0] + across, centre_mm[1] + down).mean(axis=0 if is_upright else 1)
    ground = np.percentile(profile, 25)
    light = np.clip(profile - ground - 0.25 * (profile.max() - ground), 0, None)
    if profile.max() - ground < LEAST_CONTRAST:
        raise CrossNotSeenError(
            f"no cross near x {centre_mm[0]:.2f}, y {centre_mm[1]:.2f} mm: the light is only "
            f"{profile.max() - ground:.1f} levels above its ground"
        )
    return float((light * beside).sum() / light.sum())


def sample(
    grey: NDArray[np.float64], placing: Placing, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the levels at places on the work; a screen pixel's centre lies half a pixel inside."""
    turn = np.radians(placing.turn_deg)
    across = (x_mm - placing.centre_mm[0]) * (-1 if placing.is_mirrored else 1) / placing.mm_per_px
    down = (y_mm - placing.centre_mm[1]) / placing.mm_per_px
    x = placing.left + placing.width / 2 + across * np.cos(turn) - down * np.sin(turn)
    y = placing.top + placing.height / 2 + across * np.sin(turn) + down * np.cos(turn)
    levels: NDArray[np.float64] = ndimage.map_coordinates(grey, [y - 0.5, x - 0.5], order=1, mode="nearest")
    return levels
