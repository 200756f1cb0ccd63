"""Large generated masters for the benchmarks: strokes, cracks, weave and camera noise."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import tifffile

from imaging.compute.displacement import DisplacementGrid
from imaging.compute.maps import FrameMap

__all__ = ["PITCH_MM", "smooth_map", "write_master"]

PITCH_MM = 0.02
PATCH_PX = 2048
NOISE_SD = 0.004


def write_master(path: Path, size_px: tuple[int, int], dtype: str) -> None:
    """Write an RGB master of a width and a height in uncompressed strips; memory: one patch and one band of rows."""
    patch = _patch(np.random.default_rng(7))
    full = np.iinfo(dtype).max
    width_px, height_px = size_px
    pixels = tifffile.memmap(path, shape=(height_px, width_px, 3), dtype=dtype, photometric="rgb")
    rng = np.random.default_rng(11)
    for top in range(0, height_px, PATCH_PX):
        rows = min(PATCH_PX, height_px - top)
        for left in range(0, width_px, PATCH_PX):
            columns = min(PATCH_PX, width_px - left)
            turned = np.rot90(patch, int(rng.integers(4)))
            light = rng.uniform(0.7, 1.0)
            part = turned * np.float32(light * full)
            pixels[top : top + rows, left : left + columns] = part[:rows, :columns].astype(dtype)
    pixels.flush()


def smooth_map(side_px: int, height_px: int | None = None) -> FrameMap:
    """0.3 degrees, 1 % and a smooth displacement of about 10 px on a 37 x 37 grid."""
    angle = np.radians(0.3)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    projective = np.eye(3)
    projective[:2, :2] = turn * 1.01 / PITCH_MM
    projective[:2, 2] = [0.004 * side_px, -0.001 * side_px]
    side_mm = side_px * PITCH_MM
    rng = np.random.default_rng(3)
    coarse = rng.normal(0.0, 6.0, (2, 7, 7))
    dx_px, dy_px = (cv2.resize(part, (37, 37), interpolation=cv2.INTER_CUBIC) for part in coarse)
    step_mm = side_mm / 34
    displacement = DisplacementGrid(-step_mm, -step_mm, step_mm, dx_px, dy_px)
    return FrameMap(projective, displacement, image_size_px=(side_px, height_px or side_px))


def _patch(rng: np.random.Generator) -> np.ndarray:
    size = PATCH_PX
    coarse = rng.uniform(0.15, 0.8, (12, 12, 3))
    paint = np.asarray(cv2.resize(coarse, (size, size), interpolation=cv2.INTER_CUBIC))
    strokes = cv2.GaussianBlur(rng.normal(0.0, 1.0, (size, size)), (0, 0), 1.5, sigmaY=9.0)
    paint += 0.25 * strokes[..., np.newaxis] / strokes.std() * 0.15
    rows, columns = np.mgrid[0:size, 0:size]
    weave = np.sin(rows * 2 * np.pi / 16) * np.sin(columns * 2 * np.pi / 16)
    paint += 0.015 * weave[..., np.newaxis]
    for _ in range(60):
        steps = rng.normal(0.0, 14.0, (40, 2)).cumsum(axis=0) + rng.uniform(0, size, 2)
        cv2.polylines(paint, [steps.astype(np.int32)], False, (0.12, 0.1, 0.08), 1, cv2.LINE_AA)
    noisy = paint + rng.normal(0.0, NOISE_SD, paint.shape)
    return np.clip(noisy, 0.0, 1.0).astype(np.float32)
