"""Smooth displacement on a regular grid: interpolating bicubic spline with not-a-knot ends.

The spline passes through the node values and repeats any bicubic polynomial exactly; it is the
one that ``scipy.interpolate.RectBivariateSpline(kx=3, ky=3, s=0)`` draws. Written as uniform
cubic B-splines (de Boor, A Practical Guide to Splines, chapter IV, from memory) it needs one
border of coefficients more than there are nodes, so evaluation is 4 x 4 taps everywhere.
"""

from dataclasses import dataclass, field
from typing import Any, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import solve_banded

from imaging.compute.map_fields import finite_array, finite_number, known_fields, positive_number, whole_number
from imaging.map_errors import MapFormatError

__all__ = ["MINIMUM_NODES", "DisplacementGrid", "spline_coefficients"]

# A not-a-knot cubic needs four nodes on each axis.
MINIMUM_NODES = 4
# Points are evaluated in slices of this many, so that the taps stay in the processor's cache.
_SLICE_POINTS = 16384


def spline_coefficients(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return cubic B-spline coefficients that interpolate values along the first axis.

    Parameters
    ----------
    values : (n, ...) float array, n at least 4
        Values at unit spacing.

    Returns
    -------
    coefficients : (n + 2, ...) float64 array
        Uniform B-spline coefficients from place -1 to place n.

    Notes
    -----
    The not-a-knot condition makes the fourth difference of the coefficients vanish at the second
    node, which gives that coefficient in closed form; the inner ones are a (1, 4, 1) band system.

    Examples
    --------
    >>> spline_coefficients(np.array([0.0, 1.0, 2.0, 3.0])).round(12).tolist()
    [-1.0, 0.0, 1.0, 2.0, 3.0, 4.0]
    """
    count = len(values)
    coefficients = np.zeros((count + 2, *values.shape[1:]))
    coefficients[2] = (8.0 * values[1] - values[0] - values[2]) / 6.0
    coefficients[count - 1] = (8.0 * values[-2] - values[-1] - values[-3]) / 6.0
    inner = count - 4
    if inner > 0:
        right_side = 6.0 * values[2:-2]
        right_side[0] -= coefficients[2]
        right_side[-1] -= coefficients[count - 1]
        bands = np.ones((3, inner))
        bands[1] = 4.0
        coefficients[3 : count - 1] = solve_banded((1, 1), bands, right_side)
    coefficients[1] = 6.0 * values[1] - 4.0 * coefficients[2] - coefficients[3]
    coefficients[0] = 6.0 * values[0] - 4.0 * coefficients[1] - coefficients[2]
    coefficients[count] = 6.0 * values[-2] - 4.0 * coefficients[count - 1] - coefficients[count - 2]
    coefficients[count + 1] = 6.0 * values[-1] - 4.0 * coefficients[count] - coefficients[count - 1]
    return coefficients


def _value_weights(part: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the four B-spline weights at a part (0 to 1) of a cell, shape (4, N)."""
    rest = 1.0 - part
    square, rest_square = part * part, rest * rest
    return np.stack(
        [
            rest_square * rest / 6.0,
            2.0 / 3.0 - square + 0.5 * square * part,
            2.0 / 3.0 - rest_square + 0.5 * rest_square * rest,
            square * part / 6.0,
        ]
    )


def _slope_weights(part: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the derivatives of the four weights per cell, shape (4, N)."""
    rest = 1.0 - part
    return np.stack(
        [
            -0.5 * rest * rest,
            1.5 * part * part - 2.0 * part,
            2.0 * rest - 1.5 * rest * rest,
            0.5 * part * part,
        ]
    )


def _axis_taps(
    position: NDArray[np.float64], node_count: int, *, slope: bool
) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]:
    """Return first coefficient index, value weights and slope weights for places in steps.

    Outside the nodes the edge value goes on with the edge slope, which fades: a place d steps
    outside counts as d / (1 + d) steps. The value and the first derivative stay continuous and
    the displacement stays bounded. ``slope`` asks for slope weights; else they are empty.
    """
    inside = np.clip(position, 0.0, node_count - 1.0)
    # NaN gets some cell, and its weights keep it NaN.
    cell = np.minimum(np.nan_to_num(inside, nan=0.0).astype(np.int64), node_count - 2)
    part = inside - cell
    values = _value_weights(part)
    beyond = position - inside
    is_beyond = beyond.any()
    if not is_beyond and not slope:
        return cell, values, np.empty((0, 0))
    slopes = _slope_weights(part)
    if is_beyond:
        fade = 1.0 / (1.0 + np.abs(beyond))
        values = values + beyond * fade * slopes
        slopes = slopes * fade * fade
    return cell, values, slopes


def _gathered(
    coefficients: NDArray[np.float64],
    column: tuple[NDArray[np.int64], NDArray[np.float64]],
    row: tuple[NDArray[np.int64], NDArray[np.float64]],
) -> NDArray[np.float64]:
    """Return sum of 4 x 4 taps for (cell, weights) along columns and rows, shape (2, N)."""
    (column_cell, column_weights), (row_cell, row_weights) = column, row
    width = coefficients.shape[2]
    first = row_cell * width + column_cell
    total = np.zeros((2, len(first)))
    for component, plane in enumerate(coefficients.reshape(2, -1)):
        for down in range(4):
            start = first + down * width
            line = column_weights[0] * plane.take(start)
            for right in range(1, 4):
                line += column_weights[right] * plane.take(start + right)
            total[component] += row_weights[down] * line
    return total


def _tap_matrix(
    taps: tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]], width: int
) -> NDArray[np.float64]:
    cell, weights, _ = taps
    matrix = np.zeros((len(cell), width))
    for tap, weight in enumerate(weights):
        matrix[np.arange(len(cell)), cell + tap] = weight
    return matrix


@dataclass(frozen=True, eq=False)
class DisplacementGrid:
    """A smooth displacement in image pixels over a regular grid of frame nodes.

    Parameters
    ----------
    x0_mm, y0_mm : float, mm
        Frame place of the first node.
    step_mm : float, mm
        Distance of nodes along both axes.
    dx_px, dy_px : (rows, columns) float arrays, px
        Displacement at the nodes, at least 4 x 4; added to what the projective part gives.

    Notes
    -----
    Outside the grid the displacement is extrapolated: the edge slope fades over about one step,
    so it stays smooth and bounded, and ``covers`` says no.

    Examples
    --------
    >>> zero = np.zeros((4, 5))
    >>> grid = DisplacementGrid(0.0, 0.0, 10.0, dx_px=zero + 2.0, dy_px=zero)
    >>> grid.displacement_px([[5.0, 5.0]]).round(12).tolist()
    [[2.0, 0.0]]
    """

    x0_mm: float
    y0_mm: float
    step_mm: float
    dx_px: NDArray[np.float64]
    dy_px: NDArray[np.float64]
    _coefficients: NDArray[np.float64] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        """Refuse unusable parts and prepare the spline."""
        finite_number(self.x0_mm, "displacement.x0_mm")
        finite_number(self.y0_mm, "displacement.y0_mm")
        positive_number(self.step_mm, "displacement.step_mm")
        dx_px = finite_array(self.dx_px, "displacement.dx_px", shape=(None, None))
        dy_px = finite_array(self.dy_px, "displacement.dy_px", shape=dx_px.shape)
        for name, count in (("rows", dx_px.shape[0]), ("columns", dx_px.shape[1])):
            whole_number(count, f"displacement.{name}", at_least=MINIMUM_NODES)
        planes = [spline_coefficients(spline_coefficients(plane).T).T for plane in (dx_px, dy_px)]
        for name, value in (("dx_px", dx_px), ("dy_px", dy_px), ("_coefficients", np.stack(planes))):
            value.flags.writeable = False
            object.__setattr__(self, name, value)

    def __eq__(self, other: object) -> bool:
        """Compare all numbers."""
        return isinstance(other, DisplacementGrid) and self.to_json() == other.to_json()

    __hash__ = None  # type: ignore[assignment]

    @property
    def columns(self) -> int:
        """Number of nodes along x."""
        return int(self.dx_px.shape[1])

    @property
    def rows(self) -> int:
        """Number of nodes along y."""
        return int(self.dx_px.shape[0])

    @property
    def extent_mm(self) -> tuple[float, float, float, float]:
        """The border of the nodes as ``(x_min, y_min, x_max, y_max)`` in mm."""
        return (
            self.x0_mm,
            self.y0_mm,
            self.x0_mm + (self.columns - 1) * self.step_mm,
            self.y0_mm + (self.rows - 1) * self.step_mm,
        )

    def covers(self, points_mm: ArrayLike) -> NDArray[np.bool_]:
        """Return for (N, 2) points in mm whether each lies within the nodes."""
        points_mm = np.asarray(points_mm, dtype=np.float64)
        x_min, y_min, x_max, y_max = self.extent_mm
        x_mm, y_mm = points_mm[:, 0], points_mm[:, 1]
        inside: NDArray[np.bool_] = (x_mm >= x_min) & (x_mm <= x_max) & (y_mm >= y_min) & (y_mm <= y_max)
        return inside

    def displacement_px(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """Return the displacement in px at (N, 2) points in mm.

        Notes
        -----
        O(N) time, in slices, so that beside the result little memory is held.
        """
        points_mm = np.asarray(points_mm, dtype=np.float64)
        result = np.empty(points_mm.shape)
        for start in range(0, len(points_mm), _SLICE_POINTS):
            part = slice(start, start + _SLICE_POINTS)
            column_cell, column_weights, _ = self._column_taps(points_mm[part, 0], slope=False)
            row_cell, row_weights, _ = self._row_taps(points_mm[part, 1], slope=False)
            result[part] = _gathered(self._coefficients, (column_cell, column_weights), (row_cell, row_weights)).T
        return result

    def jacobian_px_per_mm(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """Return the (N, 2, 2) derivatives: row x or y of the displacement, column along x or y."""
        points_mm = np.asarray(points_mm, dtype=np.float64)
        result = np.empty((len(points_mm), 2, 2))
        for start in range(0, len(points_mm), _SLICE_POINTS):
            part = slice(start, start + _SLICE_POINTS)
            column_cell, column_weights, column_slopes = self._column_taps(points_mm[part, 0], slope=True)
            row_cell, row_weights, row_slopes = self._row_taps(points_mm[part, 1], slope=True)
            along_x = _gathered(self._coefficients, (column_cell, column_slopes), (row_cell, row_weights))
            along_y = _gathered(self._coefficients, (column_cell, column_weights), (row_cell, row_slopes))
            result[part, :, 0] = along_x.T / self.step_mm
            result[part, :, 1] = along_y.T / self.step_mm
        return result

    def displacement_on_lattice_px(self, x_mm: ArrayLike, y_mm: ArrayLike) -> NDArray[np.float64]:
        """Return the displacement where columns ``x_mm`` and rows ``y_mm`` cross.

        Parameters
        ----------
        x_mm, y_mm : (columns,) and (rows,) float arrays, mm

        Returns
        -------
        displacement_px : (rows, columns, 2) float64 array, px
            The same values as ``displacement_px``, as two matrix products.
        """
        across, down = self.column_matrix(x_mm), self.row_matrix(y_mm)
        return np.stack([down @ plane @ across.T for plane in self._coefficients], axis=-1)

    def _column_taps(
        self, x_mm: NDArray[np.float64], *, slope: bool
    ) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]:
        return _axis_taps((x_mm - self.x0_mm) / self.step_mm, self.columns, slope=slope)

    def _row_taps(
        self, y_mm: NDArray[np.float64], *, slope: bool
    ) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]:
        return _axis_taps((y_mm - self.y0_mm) / self.step_mm, self.rows, slope=slope)

    def column_matrix(self, x_mm: ArrayLike) -> NDArray[np.float64]:
        """Return the (N, columns + 2) weights of the spline coefficients at places along x."""
        taps = self._column_taps(np.asarray(x_mm, dtype=np.float64), slope=False)
        return _tap_matrix(taps, self.columns + 2)

    def row_matrix(self, y_mm: ArrayLike) -> NDArray[np.float64]:
        """Return the (N, rows + 2) weights of the spline coefficients at places along y."""
        taps = self._row_taps(np.asarray(y_mm, dtype=np.float64), slope=False)
        return _tap_matrix(taps, self.rows + 2)

    def to_json(self) -> dict[str, Any]:
        """Return the grid as in the map document; the values run row by row."""
        return {
            "x0_mm": float(self.x0_mm),
            "y0_mm": float(self.y0_mm),
            "step_mm": float(self.step_mm),
            "columns": self.columns,
            "rows": self.rows,
            "dx_px": self.dx_px.ravel().tolist(),
            "dy_px": self.dy_px.ravel().tolist(),
        }

    @classmethod
    def from_json(cls, document: Any) -> Self:
        """Read what ``to_json`` wrote.

        Raises
        ------
        MapFormatError
            If a field is missing, unknown, not finite, or a list has the wrong length.
        """
        names = ["x0_mm", "y0_mm", "step_mm", "columns", "rows", "dx_px", "dy_px"]
        fields = known_fields(document, "displacement", required=names)
        columns = whole_number(fields["columns"], "displacement.columns", at_least=MINIMUM_NODES)
        rows = whole_number(fields["rows"], "displacement.rows", at_least=MINIMUM_NODES)
        planes = {}
        for name in ("dx_px", "dy_px"):
            values = finite_array(fields[name], f"displacement.{name}", shape=(None,))
            if len(values) != rows * columns:
                raise MapFormatError(
                    field=f"displacement.{name}",
                    got=f"{len(values)} numbers",
                    needed=f"{rows * columns} (rows x columns)",
                )
            planes[name] = values.reshape(rows, columns)
        return cls(
            finite_number(fields["x0_mm"], "displacement.x0_mm"),
            finite_number(fields["y0_mm"], "displacement.y0_mm"),
            positive_number(fields["step_mm"], "displacement.step_mm"),
            **planes,
        )
