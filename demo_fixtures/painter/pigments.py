"""Pigments and their mixtures: what one micrometre of paint does in every band.

Optical values are from memory, set by eye to the usual descriptions of these pigments; no source.
"""

from itertools import combinations
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

__all__ = ["FILM_CHANNELS", "PIGMENTS", "Palette", "Pigment", "film_of", "lab_from_linear", "palette_of"]

# Columns of a film: reflectance at infinity (R G B IR), extinction per um (R G B IR),
# luminescence (R G B), X-ray absorption per um.
FILM_CHANNELS = 12


class Pigment(NamedTuple):
    """One pigment in oil."""

    reflectance: tuple[float, float, float, float]
    extinction_per_um: tuple[float, float, float, float]
    xray_per_um: float
    luminescence: tuple[float, float, float]


PIGMENTS: dict[str, Pigment] = {
    "lead white": Pigment((0.92, 0.90, 0.84, 0.93), (0.075, 0.075, 0.08, 0.020), 0.0185, (0.10, 0.115, 0.15)),
    "lead-tin yellow": Pigment((0.80, 0.62, 0.16, 0.90), (0.08, 0.085, 0.11, 0.018), 0.0170, (0.03, 0.03, 0.01)),
    "yellow ochre": Pigment((0.46, 0.26, 0.075, 0.56), (0.07, 0.08, 0.10, 0.016), 0.0016, (0.012, 0.010, 0.006)),
    "red ochre": Pigment((0.30, 0.085, 0.045, 0.52), (0.10, 0.12, 0.13, 0.017), 0.0022, (0.004, 0.003, 0.003)),
    "raw umber": Pigment((0.085, 0.055, 0.030, 0.25), (0.10, 0.11, 0.12, 0.017), 0.0020, (0.003, 0.003, 0.003)),
    "burnt umber": Pigment((0.075, 0.034, 0.017, 0.32), (0.10, 0.12, 0.13, 0.016), 0.0020, (0.003, 0.003, 0.003)),
    "vermilion": Pigment((0.55, 0.065, 0.035, 0.88), (0.09, 0.14, 0.15, 0.013), 0.0210, (0.005, 0.003, 0.003)),
    "red lake": Pigment((0.20, 0.012, 0.020, 0.85), (0.015, 0.06, 0.05, 0.001), 0.0002, (0.13, 0.05, 0.03)),
    "bone black": Pigment((0.010, 0.010, 0.010, 0.055), (0.16, 0.16, 0.16, 0.036), 0.0005, (0.001, 0.001, 0.001)),
    "charcoal": Pigment((0.015, 0.015, 0.015, 0.022), (0.22, 0.22, 0.22, 0.21), 0.0001, (0.001, 0.001, 0.001)),
    "azurite": Pigment((0.022, 0.080, 0.33, 0.19), (0.055, 0.05, 0.032, 0.016), 0.0028, (0.003, 0.003, 0.004)),
    "smalt": Pigment((0.050, 0.085, 0.30, 0.27), (0.022, 0.02, 0.016, 0.006), 0.0009, (0.004, 0.005, 0.008)),
    "titanium white": Pigment((0.93, 0.93, 0.92, 0.93), (0.16, 0.16, 0.17, 0.039), 0.0007, (0.035, 0.026, 0.050)),
    "later earth": Pigment((0.060, 0.040, 0.026, 0.17), (0.15, 0.16, 0.17, 0.042), 0.0009, (0.030, 0.022, 0.040)),
}


class Palette(NamedTuple):
    """All mixtures of a few pigments, searchable by colour."""

    films: NDArray[np.float32]
    tree: cKDTree


def lab_from_linear(linear: NDArray[np.floating]) -> NDArray[np.float64]:
    """Return CIE L*a*b* (D65) of linear sRGB values; the last axis holds the channels."""
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    xyz = np.asarray(linear, dtype=np.float64) @ to_xyz.T / np.array([0.9505, 1.0, 1.089])
    cubic = np.where(xyz > 0.008856, np.cbrt(np.maximum(xyz, 1e-9)), 7.787 * xyz + 16.0 / 116.0)
    x, y, z = cubic[..., 0], cubic[..., 1], cubic[..., 2]
    return np.stack([116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)], axis=-1)


def _mixtures(names: list[str], fractions: NDArray[np.float64]) -> NDArray[np.float32]:
    """Return one film per row of fractions by Kubelka-Munk: K and S add up."""
    reflectance = np.array([PIGMENTS[name].reflectance for name in names])
    extinction = np.array([PIGMENTS[name].extinction_per_um for name in names])
    ratio = (1.0 - reflectance) ** 2 / (2.0 * reflectance)
    scattering = extinction / (2.0 * np.sqrt(ratio * (ratio + 2.0)))
    mixed_s = fractions @ scattering
    mixed_ratio = (fractions @ (ratio * scattering)) / mixed_s
    root = np.sqrt(mixed_ratio * (mixed_ratio + 2.0))
    luminescence = fractions @ np.array([PIGMENTS[name].luminescence for name in names])
    xray = fractions @ np.array([[PIGMENTS[name].xray_per_um] for name in names])
    parts = [1.0 + mixed_ratio - root, 2.0 * mixed_s * root, luminescence, xray]
    return np.concatenate(parts, axis=1).astype(np.float32)


def film_of(**parts: float) -> NDArray[np.float32]:
    """Return the film of one mixture; pigment names are written with underscores."""
    names = [name.replace("_", " ").replace("lead tin", "lead-tin") for name in parts]
    shares = np.array([list(parts.values())]) / sum(parts.values())
    film: NDArray[np.float32] = _mixtures(names, shares)[0]
    return film


def palette_of(names: list[str], steps: int = 20) -> Palette:
    """Return every mixture of up to three of the named pigments."""
    rows = set()
    for trio in combinations(range(len(names)), min(3, len(names))):
        for first in range(steps + 1):
            for second in range(steps + 1 - first):
                shares = (first, second, steps - first - second)
                row = [0.0] * len(names)
                for position, share in zip(trio, shares, strict=False):
                    row[position] = (share / steps) ** 2.2
                rows.add(tuple(row))
    fractions = np.array(sorted(rows))
    fractions = fractions[fractions.sum(axis=1) > 0]
    fractions /= fractions.sum(axis=1, keepdims=True)
    films = _mixtures(names, fractions)
    return Palette(films, cKDTree(lab_from_linear(films[:, :3])))
