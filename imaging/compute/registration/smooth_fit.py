"""A thin bending bicubic displacement fitted to what a plane transform leaves over.

Node values of a ``DisplacementGrid`` minimise the squared distances plus a penalty on the bending
energy of the thin plate (Duchon 1977; Wahba, Spline Models for Observational Data, 1990, chapter
2, both from memory). The weight of the penalty is the one with the least leave-one-out error,
which for a linear smoother needs no refit: residual / (1 - leverage).
"""

import functools
import operator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import eigh

from imaging.compute.displacement import MINIMUM_NODES, DisplacementGrid, spline_coefficients

__all__ = ["SmoothFit", "fit_smooth_displacement"]

# Nodes per control point along the mean; more would only be filled by the penalty.
_NODES_PER_POINT = 4.0
_FEWEST_NODES = 6
_MOST_NODES = 22
_PENALTY_EXPONENTS = np.arange(-6.0, 6.01, 0.5)
# Share of the penalty that keeps the normal matrix regular against rounding.
_RIDGE = 1e-10


@dataclass(frozen=True, eq=False)
class SmoothFit:
    """A fitted displacement and what is known about its certainty.

    Parameters
    ----------
    displacement : DisplacementGrid
    leverage : (N,) float array
        Share of each point in its own prediction, 0 to 1.
    penalty : float
        Chosen weight of the bending energy.
    spread_unit : (K, K) float array
        Square root of the covariance of the node values, for points with a standard deviation of 1 px.
    """

    displacement: DisplacementGrid
    leverage: NDArray[np.float64]
    penalty: float
    spread_unit: NDArray[np.float64]

    def variance_unit(self, points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the variance at (N, 2) places for points with a standard deviation of 1 px.

        Wahba's Bayesian interval (DOI 10.1111/j.2517-6161.1983.tb01239.x, from memory): it grows
        away from the points, as far as the bending energy lets the plate move.
        """
        rows = _node_weights(self.displacement, points_mm)
        variance: NDArray[np.float64] = np.square(rows @ self.spread_unit).sum(axis=1)
        return variance


def fit_smooth_displacement(
    points_mm: NDArray[np.float64],
    rest_px: NDArray[np.float64],
    *,
    extent_mm: tuple[float, float, float, float],
) -> SmoothFit:
    """Return the smooth displacement that explains the rests of a plane fit.

    Parameters
    ----------
    points_mm : (N, 2) float64 array, mm
    rest_px : (N, 2) float64 array, px
        What to add to the plane transform at each point.
    extent_mm : 4 floats, mm
        Area that the nodes must cover.

    Notes
    -----
    A plane (affine) change costs no bending and is fitted freely. Dense: (nodes)^3 time once, with
    at most 22 nodes on the long side; 0.02 to 0.1 s on one core.
    """
    blank = _blank_grid(points_mm, extent_mm)
    weights = _node_weights(blank, points_mm)
    energy = _bending_energy(blank.rows, blank.columns)
    normal = weights.T @ weights
    unit = float(np.trace(normal) / np.trace(energy))
    # One decomposition serves all penalties: in these modes both forms are diagonal.
    bending, modes = eigh(energy, normal + unit * (energy + _RIDGE * np.eye(len(energy))))
    at_points = weights @ modes
    loads_px = at_points.T @ rest_px
    choices = []
    for exponent in _PENALTY_EXPONENTS:
        penalty = unit * 10.0 ** float(exponent)
        softness = 1.0 / (1.0 + (penalty - unit) * bending)
        leverage = np.clip(np.square(at_points) @ softness, 0.0, 1.0 - 1e-9)
        residual_px = rest_px - at_points @ (softness[:, np.newaxis] * loads_px)
        left_out_px = residual_px / (1.0 - leverage)[:, np.newaxis]
        choices.append((float(np.square(left_out_px).sum()), penalty, leverage, softness))
    _, penalty, leverage, softness = min(choices, key=operator.itemgetter(0))
    nodes_px = (modes @ (softness[:, np.newaxis] * loads_px)).reshape(blank.rows, blank.columns, 2)
    displacement = DisplacementGrid(
        blank.x0_mm, blank.y0_mm, blank.step_mm, dx_px=nodes_px[..., 0], dy_px=nodes_px[..., 1]
    )
    return SmoothFit(displacement, leverage, penalty, modes * np.sqrt(softness))


def _blank_grid(points_mm: NDArray[np.float64], extent_mm: tuple[float, float, float, float]) -> DisplacementGrid:
    """Return a zero displacement over the extent, with nodes as dense as the points ask for."""
    low_mm = np.minimum(extent_mm[:2], points_mm.min(axis=0))
    high_mm = np.maximum(extent_mm[2:], points_mm.max(axis=0))
    size_mm = np.maximum(high_mm - low_mm, 1e-6 * float((high_mm - low_mm).max()))
    step_mm = float(np.sqrt(size_mm.prod() / (_NODES_PER_POINT * len(points_mm))))
    step_mm = min(step_mm, float(size_mm.max()) / (_FEWEST_NODES - 1))
    step_mm = max(step_mm, float(size_mm.max()) / (_MOST_NODES - 1))
    # The small allowance keeps the far corner inside in spite of rounding.
    columns, rows = np.maximum(np.ceil(size_mm / step_mm - 1e-9).astype(int) + 1, MINIMUM_NODES)
    start_mm = 0.5 * (low_mm + high_mm) - 0.5 * step_mm * np.array([columns - 1, rows - 1])
    zeros = np.zeros((rows, columns))
    x0_mm, y0_mm = start_mm.tolist()
    return DisplacementGrid(x0_mm, y0_mm, step_mm, dx_px=zeros, dy_px=zeros)


@functools.cache
def _axis_matrices(count: int) -> tuple[NDArray[np.float64], ...]:
    """Return inner products of the node splines: values, slopes, curvatures, and the splines.

    Gauss-Legendre with four nodes a cell is exact for products of cubics.
    """
    coefficients = spline_coefficients(np.eye(count))
    places, place_weights = np.polynomial.legendre.leggauss(4)
    part, weight = 0.5 * (places + 1.0), 0.5 * place_weights
    rest = 1.0 - part
    values = [rest**3 / 6, 2 / 3 - part**2 + part**3 / 2, 2 / 3 - rest**2 + rest**3 / 2, part**3 / 6]
    slopes = [-(rest**2) / 2, 1.5 * part**2 - 2 * part, 2 * rest - 1.5 * rest**2, part**2 / 2]
    curvatures = [rest, 3 * part - 2, 3 * rest - 2, part]
    products = []
    for taps in (values, slopes, curvatures):
        basis = np.stack(taps)
        cell = (basis * weight) @ basis.T
        total = np.zeros((count + 2, count + 2))
        for start in range(count - 1):
            total[start : start + 4, start : start + 4] += cell
        products.append(coefficients.T @ total @ coefficients)
    return (*products, coefficients)


def _bending_energy(rows: int, columns: int) -> NDArray[np.float64]:
    """Return the quadratic form of f_xx^2 + 2 f_xy^2 + f_yy^2 in the node values, unit step."""
    y_values, y_slopes, y_curvatures, _ = _axis_matrices(rows)
    x_values, x_slopes, x_curvatures, _ = _axis_matrices(columns)
    energy: NDArray[np.float64] = (
        np.kron(y_values, x_curvatures) + 2.0 * np.kron(y_slopes, x_slopes) + np.kron(y_curvatures, x_values)
    )
    return energy


def _node_weights(grid: DisplacementGrid, points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the (N, rows * columns) matrix that turns node values into values at points."""
    across = grid.column_matrix(points_mm[:, 0]) @ _axis_matrices(grid.columns)[3]
    down = grid.row_matrix(points_mm[:, 1]) @ _axis_matrices(grid.rows)[3]
    weights: NDArray[np.float64] = np.einsum("nr,nc->nrc", down, across).reshape(len(points_mm), -1)
    return weights
