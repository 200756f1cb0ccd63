"""Small masters for tests, painted from a seed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import tifffile


def painted(width_px=640, height_px=480, *, seed=7, bands=3):
    """Return a 16-bit picture with forms and noise."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:height_px, 0:width_px]
    base = 20_000 + 12_000 * np.sin(x / 37.0) * np.cos(y / 23.0) + 9_000 * ((x // 80 + y // 60) % 2)
    planes = [base * share + rng.normal(0, 250, base.shape) for share in np.linspace(0.7, 1.0, bands)]
    return np.clip(np.stack(planes, axis=-1), 0, 65_535).astype(np.uint16)


def write_master(path: Path, pixels=None, *, um_per_px=None, **options):
    """Write pixels as a TIFF in strips and return its path."""
    pixels = painted() if pixels is None else pixels
    if um_per_px is not None:
        options |= {"resolution": (1e4 / um_per_px,) * 2, "resolutionunit": "CENTIMETER"}
    photometric = "rgb" if pixels.ndim == 3 and pixels.shape[2] in (3, 4) else "minisblack"
    options = {"rowsperstrip": 64, "photometric": photometric, **options}
    if "tile" in options:
        del options["rowsperstrip"]
    tifffile.imwrite(path, pixels, metadata=None, **options)
    return path
