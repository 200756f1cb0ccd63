"""Camera and sensor: gather a composed region through the true map, blur, add noise, encode."""

import math
from collections.abc import Callable
from typing import Any, NamedTuple

import cv2
import numpy as np
from numba import njit
from numpy.typing import NDArray

from demo_fixtures.painter.camera import Camera
from demo_fixtures.painter.compose import compose_infrared, compose_visible, compose_xray
from demo_fixtures.painter.glow import compose_luminescence
from demo_fixtures.painter.icc import PROFILE_GAMMA, profile_from_linear_srgb
from demo_fixtures.painter.images import ImageSpec
from demo_fixtures.painter.noise import bell_noise, smoothstep, value_noise
from demo_fixtures.painter.raking import compose_raking
from demo_fixtures.painter.region import HALO_PX, Region, Scene, open_region
from demo_fixtures.painter.support import back_absorption, wood_absorption

__all__ = ["Exposure", "block_size_px", "expose_block", "expose_linear", "film_tone", "gather", "lattice_mm"]

_LATTICE_PX = 8
_VISIBLE_GAIN = 1.62


class Exposure(NamedTuple):
    """One image being taken: its specification, geometry and random stream.

    ``feet_mm`` holds the tube's foot points left, top, right, bottom of a mosaic of four radiographs.
    """

    spec: ImageSpec
    camera: Camera
    seed: int
    feet_mm: tuple[float, float, float, float] = (158.0, 118.0, 482.0, 362.0)


def block_size_px(camera: Camera, raster_pitch_mm: float) -> int:
    """Return a block side whose region of the stack stays near 1200 px."""
    ratio = camera.pitch_mm / camera.enlargement / raster_pitch_mm
    return max(128, min(1024, int(1024 / ratio) // 8 * 8))


def lattice_mm(camera: Camera, left_px: int, top_px: int, *, size_px: tuple[int, int]) -> NDArray[np.float64]:
    """Return frame points of every eighth pixel corner of a block, shape (rows, columns, 2)."""
    columns = np.arange(left_px, left_px + size_px[0] + 2 * _LATTICE_PX, _LATTICE_PX)
    rows = np.arange(top_px, top_px + size_px[1] + 2 * _LATTICE_PX, _LATTICE_PX)
    grid = np.stack(np.meshgrid(columns, rows), axis=-1).astype(np.float64)
    return camera.mm_from_px(grid.reshape(-1, 2)).reshape(*grid.shape)


@njit(cache=True, nogil=True)
def _cubic(share):  # type: ignore[no-untyped-def]
    """Return the four Catmull-Rom weights."""
    square = share * share
    cube = square * share
    return (
        -0.5 * cube + square - 0.5 * share,
        1.5 * cube - 2.5 * square + 1.0,
        -1.5 * cube + 2.0 * square + 0.5 * share,
        0.5 * cube - 0.5 * square,
    )


@njit(cache=True, nogil=True)
def _place(lattice, row, column):  # type: ignore[no-untyped-def]
    """Return the frame point of a pixel centre from the block's lattice."""
    u = (column + 0.5) / _LATTICE_PX
    v = (row + 0.5) / _LATTICE_PX
    i, j = int(u), int(v)
    u -= i
    v -= j
    top = 1.0 - v
    left = 1.0 - u
    x = (lattice[j, i, 0] * left + lattice[j, i + 1, 0] * u) * top
    x += (lattice[j + 1, i, 0] * left + lattice[j + 1, i + 1, 0] * u) * v
    y = (lattice[j, i, 1] * left + lattice[j, i + 1, 1] * u) * top
    y += (lattice[j + 1, i, 1] * left + lattice[j + 1, i + 1, 1] * u) * v
    return x, y


@njit(cache=True, nogil=True)
def gather(source, grid, lattice, out):  # type: ignore[no-untyped-def]
    """Sample a composed region at the frame points of a block (cubic)."""
    rows, columns, bands = source.shape
    for row in range(out.shape[0]):
        for column in range(out.shape[1]):
            x, y = _place(lattice, row, column)
            across = (x - grid.x0_mm) / grid.pitch_mm - grid.column - 0.5
            down = (y - grid.y0_mm) / grid.pitch_mm - grid.row - 0.5
            i = min(max(int(math.floor(across + 1e-7)), 1), columns - 3)
            j = min(max(int(math.floor(down + 1e-7)), 1), rows - 3)
            wx = _cubic(min(max(across - i, 0.0), 1.0))
            wy = _cubic(min(max(down - j, 0.0), 1.0))
            for band in range(bands):
                total = 0.0
                for k in range(4):
                    line = source[j - 1 + k]
                    total += wy[k] * (
                        wx[0] * line[i - 1, band]
                        + wx[1] * line[i, band]
                        + wx[2] * line[i + 1, band]
                        + wx[3] * line[i + 2, band]
                    )
                out[row, column, band] = total


def _compose(spec: ImageSpec, region: Region) -> NDArray[np.float32]:
    """Return what the image's modality shows of a region."""
    if spec.content == "raking":
        return compose_raking(region, azimuth_deg=282.0, elevation_deg=8.0)
    makers: dict[str, Callable[[Region], NDArray[np.float32]]] = {
        "visible": compose_visible,
        "infrared": compose_infrared,
        "luminescence": compose_luminescence,
        "xray": compose_xray,
    }
    return makers[spec.content](region)


def expose_block(
    scene: Scene, exposure: Exposure, *, left_px: int, top_px: int, size_px: tuple[int, int]
) -> NDArray[Any]:
    """Return the encoded pixels of one block of an image."""
    linear = expose_linear(scene, exposure, left_px=left_px, top_px=top_px, size_px=size_px)
    return _encode(linear, exposure, left_px, top_px)


def expose_linear(
    scene: Scene, exposure: Exposure, *, left_px: int, top_px: int, size_px: tuple[int, int]
) -> NDArray[np.float32]:
    """Return what falls on the sensor in one block: linear light, or absorption in a radiograph."""
    spec, camera = exposure.spec, exposure.camera
    lattice = lattice_mm(camera, left_px, top_px, size_px=size_px)
    raster = scene.raster
    low = np.floor((lattice.reshape(-1, 2).min(axis=0) - raster.origin_mm) / raster.pitch_mm).astype(int) - HALO_PX
    high = np.ceil((lattice.reshape(-1, 2).max(axis=0) - raster.origin_mm) / raster.pitch_mm).astype(int) + HALO_PX
    size = (int(high[0] - low[0]), int(high[1] - low[1]))
    region = open_region(scene, spec.state, column=int(low[0]), row=int(low[1]), size=size)
    source = _compose(spec, region)
    ratio = camera.pitch_mm / camera.enlargement / raster.pitch_mm
    sigma = ratio * math.hypot(spec.blur_px, 0.40 if ratio > 1.2 else 0.0)
    if sigma > 0.25:
        source = np.asarray(cv2.GaussianBlur(source, (0, 0), sigma), np.float32).reshape(source.shape)
    out = np.empty((size_px[1], size_px[0], source.shape[2]), np.float32)
    gather(source, region.grid, lattice, out)
    if spec.content == "xray":
        _add_panel(out, lattice, camera.pitch_mm, scene.support, exposure.feet_mm)
    return out


@njit(cache=True, nogil=True)
def _add_panel(out, lattice, pitch, support, feet):  # type: ignore[no-untyped-def]
    """Add wood, battens and nails, each in its own plane, to the absorption of the paint.

    The mosaic of the four plates fits together for the paint plane (depth 21 mm of 1000); deeper
    planes were enlarged less, from each plate's own foot point, and so break at the plates' edges.
    """
    paint = 1000.0 / 979.0
    wood = 1000.0 / 984.0
    back = 1000.0 / 994.0
    for row in range(out.shape[0]):
        for column in range(out.shape[1]):
            x, y = _place(lattice, row, column)
            foot_x = feet[0] if x < 321.0 else feet[2]
            foot_y = feet[1] if y < 239.0 else feet[3]
            wood_x = (paint * x - (paint - wood) * foot_x) / wood
            wood_y = (paint * y - (paint - wood) * foot_y) / wood
            back_x = (paint * x - (paint - back) * foot_x) / back
            back_y = (paint * y - (paint - back) * foot_y) / back
            out[row, column, 0] += wood_absorption(wood_x, wood_y, pitch, support) + back_absorption(
                back_x, back_y, pitch, support
            )
            # The beam weakens towards each plate's corners; plates differ a little in exposure.
            away = ((x - foot_x) ** 2 + (y - foot_y) ** 2) / 40000.0
            plate = (0.015 if foot_x < 300.0 else -0.02) + (0.01 if foot_y < 200.0 else -0.012)
            out[row, column, 0] += 0.05 * away + plate
            seam = min(abs(x - 321.0), abs(y - 239.0)) if feet[0] != feet[2] else 1.0
            if seam < 0.28:
                out[row, column, 0] -= 0.10 * (1.0 - seam / 0.28)


@njit(cache=True, nogil=True)
def _expose(out, origin, tone):  # type: ignore[no-untyped-def]
    """Apply light, shot and read noise and the encoding curve in place; values end in 0..top."""
    gain, noise, seed, gamma, top = tone
    for row in range(out.shape[0]):
        for column in range(out.shape[1]):
            for band in range(out.shape[2]):
                value = max(out[row, column, band], 0.0) * gain[band]
                noisy = bell_noise(origin[0] + column, origin[1] + row, seed + band)
                value += noise * noisy * math.sqrt(0.08 + value)
                out[row, column, band] = top * min(max(value, 0.0), 1.0) ** gamma


@njit(cache=True, nogil=True)
def film_tone(out, origin, noise, seed):  # type: ignore[no-untyped-def]
    """Turn absorption into the scanned tone of a film: white is dense, with grain and scratches."""
    for row in range(out.shape[0]):
        y = origin[1] + row
        for column in range(out.shape[1]):
            x = origin[0] + column
            tone = 1.0 - math.exp(-2.6 * max(out[row, column, 0] - 0.52, 0.0) / 2.0)
            grain = 0.65 * bell_noise(x, y, seed) + 0.6 * value_noise(x / 2.3, y / 2.3, seed + 1)
            tone += noise * grain * (1.2 - 0.6 * tone)
            scratch = value_noise(x / 900.0, y / 1.4, seed + 2)
            if scratch > 0.93:
                tone -= 0.03 * smoothstep(0.93, 0.99, scratch)
            out[row, column, 0] = min(max(0.02 + 0.95 * tone, 0.0), 1.0)


def _encode(out: NDArray[np.float32], exposure: Exposure, left_px: int, top_px: int) -> NDArray[Any]:
    """Return integers as the master stores them."""
    spec = exposure.spec
    seed = (exposure.seed * 31 + sum(spec.name.encode()) * 7) % 100003
    origin = (left_px, top_px)
    top = 65535.0 if spec.bits == 16 else 255.0
    if spec.content == "xray":
        film_tone(out, origin, spec.noise * 3.0, seed)
        film: NDArray[Any] = np.rint(out[..., 0] * top).astype(np.uint16)
        return film
    if spec.content == "infrared":
        _expose(out, origin, (np.array([1.02]), spec.noise, seed, 1.0, top))
        return np.rint(out[..., 0]).astype(np.uint16)
    gain = np.array(spec.tint) * spec.gain * (2.6 if spec.content == "luminescence" else _VISIBLE_GAIN)
    wide = out.reshape(-1, 3) @ profile_from_linear_srgb().T.astype(np.float32)
    shaped = np.ascontiguousarray(wide.reshape(out.shape), dtype=np.float32)
    _expose(shaped, origin, (gain, spec.noise, seed, 1.0 / PROFILE_GAMMA, top))
    return np.rint(shaped).astype(np.uint16 if spec.bits == 16 else np.uint8)
