"""Small generated pictures and maps for the tests of pixels."""

import cv2
import numpy as np

from imaging.compute.maps import FrameMap

__all__ = ["painted", "turned_map"]


def painted(shape, dtype="uint8", *, seed=1, noise=0.0):
    """Return a smooth picture over the whole range of its type, with noise as a share of it."""
    rng = np.random.default_rng(seed)
    rows, columns, bands = (*shape, 1)[:3]
    coarse = rng.random((max(rows // 24, 2), max(columns // 24, 2), bands))
    picture = np.stack(
        [cv2.resize(coarse[..., band], (columns, rows), interpolation=cv2.INTER_CUBIC) for band in range(bands)],
        axis=-1,
    )
    picture += rng.normal(0.0, noise, picture.shape) if noise else 0.0
    full = 1000.0 if dtype == "float32" else np.iinfo(dtype).max
    return (np.clip(picture, 0.0, 1.0) * full).astype(dtype).reshape(shape)


def turned_map(size_px, *, pitch_mm=0.05, angle_deg=0.0, shift_mm=(0.0, 0.0)):
    """Return the map of an image turned about the corner of the face."""
    angle = np.radians(angle_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]])
    shift = np.array([[1, 0, -shift_mm[0]], [0, 1, -shift_mm[1]], [0, 0, 1]], float)
    return FrameMap(np.diag([1 / pitch_mm, 1 / pitch_mm, 1.0]) @ turn @ shift, image_size_px=size_px)
