"""Where a point of the painting lies in an image: the truth that the renderer itself uses.

Frame millimetres -> panel bending since the first campaign -> camera -> lens -> image pixels. Pixel
(0, 0) covers [0, 1) x [0, 1); its centre is (0.5, 0.5).
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Camera"]


@dataclass(frozen=True)
class Camera:
    """One image's geometry.

    ``bend_mm`` is the size of the in-plane movement of the panel since the first campaign; boards
    curve apart, so the true map has a kink at the join. ``enlargement`` is D / (D - t) of a radiograph.
    """

    size_px: tuple[int, int]
    pitch_mm: float
    centre_mm: tuple[float, float] = (320.0, 240.0)
    turn_deg: float = 0.0
    quarter_turns: int = 0
    enlargement: float = 1.0
    tilt: tuple[float, float] = (0.0, 0.0)
    lens: float = 0.0
    bend_mm: float = 0.0
    bend_seed: int = 0

    def bent_mm(self, points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return where the panel's movement has carried frame points."""
        if self.bend_mm == 0.0:
            return points_mm
        random = np.random.default_rng([self.bend_seed, 77])
        moved = points_mm.copy()
        for _ in range(5):
            centre = random.uniform((0, 0), (640, 480))
            sigma = random.uniform(70.0, 150.0)
            push = random.uniform(-1, 1, 2) * self.bend_mm
            weight = np.exp(-((points_mm - centre) ** 2).sum(axis=1) / (2 * sigma**2))
            moved += weight[:, None] * push
        join = 262.0 + 1.2 * points_mm[:, 0] / 640.0
        away = (points_mm[:, 1] - join) / 240.0
        curve = np.where(away < 0, random.uniform(0.4, 0.8), -random.uniform(0.4, 0.8)) * away**2
        # Both boards move with the join, each curves for itself: continuous, with a kink.
        moved[:, 1] += self.bend_mm * (curve + np.abs(away) * 0.5)
        return moved

    def px_from_mm(self, points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return continuous image pixels of frame points, shape (N, 2)."""
        points = self.bent_mm(np.asarray(points_mm, dtype=np.float64).reshape(-1, 2))
        offset = (points - np.array(self.centre_mm)) * self.enlargement
        cos, sin = math.cos(math.radians(self.turn_deg)), math.sin(math.radians(self.turn_deg))
        turned = np.stack([cos * offset[:, 0] - sin * offset[:, 1], sin * offset[:, 0] + cos * offset[:, 1]], axis=1)
        turned = turned / (1.0 + turned @ np.array(self.tilt))[:, None]
        plain = turned / self.pitch_mm
        radius = np.hypot(plain[:, 0], plain[:, 1]) / self._half_diagonal_px()
        plain = plain * (1.0 + self.lens * radius**2)[:, None]
        return _quarter(plain, self.quarter_turns) + np.array(self.size_px) / 2.0

    def mm_from_px(self, points_px: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return frame points of image pixels, inverted to better than 0.001 px."""
        wanted = _quarter(
            np.asarray(points_px, dtype=np.float64).reshape(-1, 2) - np.array(self.size_px) / 2.0, -self.quarter_turns
        )
        plain = wanted.copy()
        for _ in range(6):
            radius = np.hypot(plain[:, 0], plain[:, 1]) / self._half_diagonal_px()
            plain = wanted / (1.0 + self.lens * radius**2)[:, None]
        turned = plain * self.pitch_mm
        turned = turned / (1.0 - turned @ np.array(self.tilt))[:, None]
        cos, sin = math.cos(math.radians(self.turn_deg)), math.sin(math.radians(self.turn_deg))
        offset = np.stack([cos * turned[:, 0] + sin * turned[:, 1], -sin * turned[:, 0] + cos * turned[:, 1]], axis=1)
        bent = offset / self.enlargement + np.array(self.centre_mm)
        points = bent.copy()
        if self.bend_mm:
            for _ in range(6):
                points = points + bent - self.bent_mm(points)
        return np.asarray(points, np.float64)

    def _half_diagonal_px(self) -> float:
        return 0.5 * math.hypot(*self.size_px)


def _quarter(offset_px: NDArray[np.float64], turns: int) -> NDArray[np.float64]:
    """Turn offsets from the centre clockwise (y down) by quarters."""
    x, y = offset_px[:, 0], offset_px[:, 1]
    turned = ((x, y), (-y, x), (-x, -y), (y, -x))[turns % 4]
    return np.stack(turned, axis=1)
