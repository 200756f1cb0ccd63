"""How well a fitted map is known, place by place, as a radius in mm at 95 %."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fdtri

from imaging.compute.map_fields import finite_array, finite_number, known_fields, positive_number, whole_number
from imaging.compute.maps import FrameMap
from imaging.compute.registration.slips import PRIOR_FREEDOM

__all__ = ["UncertaintyGrid", "coverage_factor", "radius95_mm", "uncertainty_grid"]

_NODES_ON_LONG_SIDE = 24
_UNKNOWN_MM = 1e6


def coverage_factor(freedom: float) -> float:
    """Return the radius, in standard deviations along one axis, that holds 95 % of places.

    Two-dimensional (Hotelling): the square root of twice the F quantile; 2.448 when the standard
    deviation is well known.

    Examples
    --------
    >>> round(coverage_factor(1e9), 3)
    2.448
    """
    return float(np.sqrt(2.0 * fdtri(2, PRIOR_FREEDOM + freedom, 0.95)))


def radius95_mm(
    frame_map: FrameMap, points_mm: NDArray[np.float64], *, covariance_px2: NDArray[np.float64], factor: float
) -> NDArray[np.float64]:
    """Return the 95 % radius in mm from (N, 2, 2) covariances in px2 at (N, 2) places.

    A million mm, as good as unknown, where a perspective map has its horizon.
    """
    jacobian = frame_map.jacobian_px_per_mm(points_mm)
    is_known = np.isfinite(jacobian).all(axis=(1, 2)) & np.isfinite(covariance_px2).all(axis=(1, 2))
    mm_per_px = np.linalg.inv(jacobian[is_known])
    covariance_mm2 = mm_per_px @ covariance_px2[is_known] @ mm_per_px.transpose(0, 2, 1)
    largest = np.linalg.eigvalsh(covariance_mm2)[:, -1]
    radius = np.full(len(points_mm), _UNKNOWN_MM)
    radius[is_known] = np.minimum(factor * np.sqrt(np.maximum(largest, 0.0)), _UNKNOWN_MM)
    return radius


@dataclass(frozen=True, eq=False)
class UncertaintyGrid:
    """The 95 % radius of a registration on a regular grid of frame nodes.

    Parameters
    ----------
    x0_mm, y0_mm, step_mm : float, mm
        First node and node distance.
    radius95_mm : (rows, columns) float array, mm
    is_extrapolated : (rows, columns) bool array
        Where nothing measured holds the map.
    """

    x0_mm: float
    y0_mm: float
    step_mm: float
    radius95_mm: NDArray[np.float64]
    is_extrapolated: NDArray[np.bool_]

    def at(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """Return the radius in mm at (N, 2) places, linear between nodes, edge values outside."""
        points = np.asarray(points_mm, dtype=np.float64)
        rows, columns = self.radius95_mm.shape
        steps = (points - [self.x0_mm, self.y0_mm]) / self.step_mm
        steps = np.clip(steps, 0.0, [columns - 1, rows - 1])
        column, row = np.minimum(steps.astype(int), [columns - 2, rows - 2]).T
        across, down = steps[:, 0] - column, steps[:, 1] - row
        values = self.radius95_mm
        above = values[row, column] * (1 - across) + values[row, column + 1] * across
        below = values[row + 1, column] * (1 - across) + values[row + 1, column + 1] * across
        radius: NDArray[np.float64] = above * (1 - down) + below * down
        return radius

    def is_extrapolated_at(self, points_mm: ArrayLike) -> NDArray[np.bool_]:
        """Return for (N, 2) places whether the nearest node is extrapolated, or none is near."""
        points = np.asarray(points_mm, dtype=np.float64)
        rows, columns = self.radius95_mm.shape
        column, row = np.round((points - [self.x0_mm, self.y0_mm]) / self.step_mm).astype(np.int64).T
        is_outside = (column < 0) | (row < 0) | (column >= columns) | (row >= rows)
        nearest = self.is_extrapolated[np.clip(row, 0, rows - 1), np.clip(column, 0, columns - 1)]
        marked: NDArray[np.bool_] = is_outside | nearest
        return marked

    def to_json(self) -> dict[str, Any]:
        """Return the grid as a dictionary; values run row by row."""
        rows, columns = self.radius95_mm.shape
        return {
            "x0_mm": self.x0_mm,
            "y0_mm": self.y0_mm,
            "step_mm": self.step_mm,
            "columns": columns,
            "rows": rows,
            "u95_mm": self.radius95_mm.ravel().tolist(),
            "is_extrapolated": self.is_extrapolated.ravel().astype(int).tolist(),
        }

    @classmethod
    def from_json(cls, document: Any) -> Self:
        """Read what ``to_json`` wrote; a MapFormatError names a wrong field."""
        names = ["x0_mm", "y0_mm", "step_mm", "columns", "rows", "u95_mm", "is_extrapolated"]
        fields = known_fields(document, "uncertainty", required=names)
        rows, columns = (whole_number(fields[name], f"uncertainty.{name}", at_least=2) for name in ("rows", "columns"))
        planes = [
            finite_array(fields[name], f"uncertainty.{name}", shape=(rows * columns,)).reshape(rows, columns)
            for name in ("u95_mm", "is_extrapolated")
        ]
        return cls(
            finite_number(fields["x0_mm"], "uncertainty.x0_mm"),
            finite_number(fields["y0_mm"], "uncertainty.y0_mm"),
            positive_number(fields["step_mm"], "uncertainty.step_mm"),
            planes[0],
            planes[1].astype(np.bool_),
        )


def uncertainty_grid(
    frame_map: FrameMap,
    extent_mm: tuple[float, float, float, float],
    *,
    covariance_px2: Callable[[NDArray[np.float64]], NDArray[np.float64]],
    factor: float,
) -> UncertaintyGrid:
    """Return the 95 % radius over an extent.

    Parameters
    ----------
    frame_map : FrameMap
    extent_mm : 4 floats, mm
    covariance_px2 : function of (N, 2) mm to (N, 2, 2) px2
        Covariance of the predicted pixel.
    factor : float
        From ``coverage_factor``.
    """
    x_min, y_min, x_max, y_max = extent_mm
    step_mm = max(x_max - x_min, y_max - y_min) / (_NODES_ON_LONG_SIDE - 1)
    columns, rows = (max(round(side / step_mm) + 1, 2) for side in (x_max - x_min, y_max - y_min))
    x_mm, y_mm = x_min + np.arange(columns) * step_mm, y_min + np.arange(rows) * step_mm
    nodes_mm = np.stack(np.meshgrid(x_mm, y_mm), axis=-1).reshape(-1, 2)
    radius = radius95_mm(frame_map, nodes_mm, covariance_px2=covariance_px2(nodes_mm), factor=factor)
    outside = frame_map.is_extrapolated(nodes_mm)
    return UncertaintyGrid(x_min, y_min, step_mm, radius.reshape(rows, columns), outside.reshape(rows, columns))
