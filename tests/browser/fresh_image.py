"""A picture that nobody has brought in before: the painted infrared one, cut, turned and with grain of its own."""

from __future__ import annotations

import csv
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import tifffile

__all__ = ["FreshImage", "paint_fresh_image"]

CUT_PX = 24
GRAIN = 60.0


@dataclass(frozen=True)
class FreshImage:
    """The file, and where known places of the work lie in it."""

    file: Path
    places: dict[str, tuple[tuple[float, float], tuple[float, float]]]
    um_per_px: float


def paint_fresh_image(painted: Path, folder: Path) -> FreshImage:
    """Write the picture; `places` gives frame mm and image px of the points that the painter knows by name."""
    master = tifffile.imread(painted / "irr-bt.tif").astype(np.float64)
    rng = np.random.default_rng(time.time_ns())
    # Half a turn, as scanners deliver them; cut at the left so that the two differ in size as well.
    turned = master[::-1, ::-1][:, CUT_PX:]
    levels = np.clip(turned + rng.normal(0.0, GRAIN, turned.shape), 0, 65535).astype(np.uint16)
    file = folder / f"nir_{time.time_ns()}.tif"
    tifffile.imwrite(file, levels, photometric="minisblack", resolution=(10_000 / 320, 10_000 / 320))
    height, width = master.shape
    with (painted / "control_points_irr-bt.csv").open(encoding="utf-8", newline="") as table:
        places = {
            row["label"]: (
                (float(row["frame_x_mm"]), float(row["frame_y_mm"])),
                (width - float(row["image_x_px"]) - CUT_PX, height - float(row["image_y_px"])),
            )
            for row in csv.DictReader(table)
        }
    return FreshImage(file, {name: place for name, place in places.items() if place[1][0] > 0}, 320.0)
