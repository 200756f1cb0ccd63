"""The single shots of a mosaic: overlapping frames with lens, falling light, noise, dark and flat."""

import csv
import json
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import NamedTuple

import numpy as np
import tifffile
from numba import njit
from numpy.typing import NDArray

from demo_fixtures.painter.camera import Camera
from demo_fixtures.painter.images import ImageSpec, image_spec, pitch_um
from demo_fixtures.painter.noise import bell_noise
from demo_fixtures.painter.paint import Progress, prepare_plan
from demo_fixtures.painter.photograph import Exposure, expose_linear, film_tone
from demo_fixtures.painter.raster import RASTER_ORIGIN_MM, RASTER_SIZE_MM, Raster
from demo_fixtures.painter.region import Scene, build_scene
from demo_fixtures.painter.truth import write_truth

__all__ = ["LENS", "SHOT_MODALITIES", "Shot", "paint_shots", "plan_shots"]

# The image whose content and state the shots of a modality have.
SHOT_MODALITIES = {"VIS": "vis-bt-v2", "RAK": "rak-bt-left", "UVL": "uvl-bt", "IRR": "irr-bt", "XR": "xr-bt"}
LENS = 0.004
_OVERLAP = 0.26
_DARK = 0.012
_BLOCK_PX = 512


class Shot(NamedTuple):
    """One shot: where it was planned and where the camera really stood."""

    path: Path
    row: int
    column: int
    planned_x_mm: float
    planned_y_mm: float
    width_px: int
    height_px: int


class _Light(NamedTuple):
    """Light and sensor of one shot."""

    gain: float
    tilt_x: float
    tilt_y: float
    noise: float
    pattern: float


def _span(total_mm: float, count: int, overlap: float) -> float:
    """Return the side of one of ``count`` frames that cover a length with an overlap."""
    return total_mm / (1.0 + (count - 1) * (1.0 - overlap))


def plan_shots(spec: ImageSpec, size: str, *, grid: tuple[int, int], seed: int) -> list[tuple[Camera, float, float]]:
    """Return the true camera and the planned centre of each shot, row by row, in serpentine order."""
    random = np.random.default_rng([seed, 81, sum(spec.name.encode())])
    pitch_mm = pitch_um(spec.name, size) / 1000.0
    is_xray = spec.content == "xray"
    width, height = 664.0, 504.0
    overlap = 0.08 if is_xray else _OVERLAP
    across, down = _span(width, grid[1], overlap), _span(height, grid[0], overlap)
    enlargement = spec.camera(size).enlargement
    size_px = (2 * int(across * enlargement / pitch_mm / 2), 2 * int(down * enlargement / pitch_mm / 2))
    shots = []
    for row in range(grid[0]):
        columns = range(grid[1]) if row % 2 == 0 else range(grid[1] - 1, -1, -1)
        for column in columns:
            x = -12.0 + across / 2 + column * across * (1.0 - overlap)
            y = -12.0 + down / 2 + row * down * (1.0 - overlap)
            slip = random.normal(0.0, 0.012 * min(across, down), 2).clip(-0.03 * across, 0.03 * across)
            camera = Camera(
                size_px,
                pitch_mm * (1.0 + 0.0004 * random.standard_normal()),
                (x + slip[0], y + slip[1]),
                0.22 * random.standard_normal(),
                0,
                enlargement,
                (2e-6 * random.standard_normal(), 2e-6 * random.standard_normal()),
                0.0 if is_xray else LENS,
            )
            shots.append((camera, x, y))
    return shots


@njit(cache=True, nogil=True)
def _sensor(out, origin, size, light, seed):  # type: ignore[no-untyped-def]
    """Turn linear light into raw sensor values in place: falling light, noise, offset, fixed pattern."""
    half = 0.5 * np.sqrt(size[0] ** 2 + size[1] ** 2)
    for row in range(out.shape[0]):
        y = origin[1] + row
        v = (y + 0.5 - 0.5 * size[1]) / half
        for column in range(out.shape[1]):
            x = origin[0] + column
            u = (x + 0.5 - 0.5 * size[0]) / half
            r2 = u * u + v * v
            fall = (1.0 - 0.22 * r2 - 0.06 * r2 * r2) * (1.0 + light.tilt_x * u + light.tilt_y * v) * light.gain
            fixed = 1.0 + light.pattern * bell_noise(x, y, 4711)
            offset = _DARK * (1.0 + 0.08 * bell_noise(x, y, 4712) + 0.4 * light.pattern * bell_noise(x // 3, 1, 4713))
            for band in range(out.shape[2]):
                value = max(out[row, column, band], 0.0) * 0.62 * fall * fixed
                value += light.noise * np.sqrt(value + 0.002) * bell_noise(x, y, seed + 1 + band)
                value += 0.0006 * bell_noise(x, y, seed + 11 + band)
                # Fourteen bits in sixteen.
                steps = np.floor(min(max(value + offset, 0.0), 1.0) * 16383.0 + 0.5)
                out[row, column, band] = steps * 4.0


def _save(path: Path, pixels: NDArray[np.float32], pitch: float) -> None:
    """Write one shot as 16-bit TIFF, aside first."""
    aside = path.with_name(f".{path.name}.part")
    values = np.rint(pixels).astype(np.uint16)
    values = values[..., 0] if values.shape[2] == 1 else values
    resolution = round(25400.0 / pitch * 1000)
    tifffile.imwrite(
        aside,
        values,
        photometric="minisblack" if values.ndim == 2 else "rgb",
        metadata=None,
        software="Mahlstick procedural painter",
        rowsperstrip=64,
        resolution=((resolution, 1000), (resolution, 1000)),
        resolutionunit=2,
    )
    aside.replace(path)


def _expose(scene: Scene, spec: ImageSpec, camera: Camera, light: _Light, number: int) -> NDArray[np.float32]:
    """Return the raw pixels of one shot."""
    seed = (scene.plan.seed * 131 + number * 977 + sum(spec.name.encode())) % 1000003
    foot = (*camera.centre_mm, *camera.centre_mm)
    exposure = Exposure(spec, camera, seed, foot)
    width, height = camera.size_px
    channels = 1 if spec.content in ("infrared", "xray") else 3
    pixels = np.empty((height, width, channels), np.float32)
    for top in range(0, height, _BLOCK_PX):
        for left in range(0, width, _BLOCK_PX):
            block = (min(_BLOCK_PX, width - left), min(_BLOCK_PX, height - top))
            linear = expose_linear(scene, exposure, left_px=left, top_px=top, size_px=block)
            if spec.content == "xray":
                film_tone(linear, (left, top), spec.noise * 3.0, seed)
                linear *= 65535.0
            else:
                linear *= 2.6 if spec.content == "luminescence" else 1.3
                _sensor(linear, (left, top), camera.size_px, light, seed)
            pixels[top : top + block[1], left : left + block[0]] = linear
    return pixels


def _light_of(spec: ImageSpec, random: np.random.Generator) -> _Light:
    """Return the light of one shot."""
    angle = random.uniform(0, 2 * np.pi)
    tilt = 0.045 + 0.004 * random.standard_normal()
    is_infrared = spec.content == "infrared"
    gain = 1.0 + float(np.clip(0.02 * random.standard_normal(), -0.04, 0.04))
    return _Light(
        gain,
        tilt * np.cos(0.6 + 0.1 * angle),
        tilt * np.sin(0.6 + 0.1 * angle),
        0.010 if is_infrared else 0.006,
        0.012 if is_infrared else 0.003,
    )


def _calibrate(folder: Path, spec: ImageSpec, size_px: tuple[int, int], pitch: float) -> None:
    """Write dark and flat frames and the lens, as a careful studio would take them."""
    folder.mkdir(exist_ok=True)
    channels = 1 if spec.content == "infrared" else 3
    light = _Light(1.0, 0.045 * np.cos(0.9), 0.045 * np.sin(0.9), 0.0015, 0.012 if channels == 1 else 0.003)
    for name, level in (("dark", 0.0), ("flat", 1.0)):
        frame = np.full((size_px[1], size_px[0], channels), level, np.float32)
        _sensor(frame, (0, 0), size_px, light, 99)
        _save(folder / f"{name}.tif", frame, pitch)
    text = {
        "model": "r (1 + k r^2), r in half diagonals, undistorted to distorted",
        "k": LENS,
        "centre": "middle of the shot",
    }
    (folder / "lens_truth.json").write_text(json.dumps(text, indent=1) + "\n", encoding="utf-8")


def paint_shots(
    folder: Path, *, seed: int, size: str, shots: tuple[str, tuple[int, int]], progress: Progress | None = None
) -> list[Shot]:
    """Paint the shots of one modality into a folder, with ``plan.csv``, truth and calibration frames."""
    modality, grid = shots
    spec = image_spec(SHOT_MODALITIES[modality])
    tell = progress or (lambda _label, _share: None)
    scratch = folder / ".stack"
    scratch.mkdir(parents=True, exist_ok=True)
    plan = prepare_plan(scratch, seed)
    raster = Raster(
        plan,
        pitch_mm=pitch_um("vis-bt-v2", size) / 1000.0,
        folder=scratch,
        window_mm=(*RASTER_ORIGIN_MM, *RASTER_SIZE_MM),
    )
    raster.paint(lambda share: tell(f"{modality}: paint", share))
    scene = build_scene(plan, raster)
    placed = plan_shots(spec, size, grid=grid, seed=seed)
    random = np.random.default_rng([seed, 82, sum(spec.name.encode())])
    lights = [_light_of(spec, random) for _ in placed]
    blurs = random.uniform(0.5, 0.9, len(placed)) if spec.content != "infrared" else np.full(len(placed), 1.0)
    pitch = pitch_um(spec.name, size)

    def take(number: int) -> Shot:
        camera, x, y = placed[number]
        row, place = divmod(number, grid[1])
        column = place if row % 2 == 0 else grid[1] - 1 - place
        name = f"{modality.lower()}_{number + 1:03d}_r{row + 1:02d}_c{column + 1:02d}"
        path = folder / f"{name}.tif"
        _save(path, _expose(scene, _blurred(spec, float(blurs[number])), camera, lights[number], number), pitch)
        write_truth(folder / f"truth_{name}.csv", camera)
        return Shot(path, row, column, x, y, *camera.size_px)

    done = []
    with ThreadPoolExecutor(2) as pool:
        for count, shot in enumerate(pool.map(take, range(len(placed))), 1):
            done.append(shot)
            tell(f"{modality}: photograph", count / len(placed))
    if spec.content != "xray":
        _calibrate(folder / "calibration", spec, placed[0][0].size_px, pitch)
    _write_plan(folder / "plan.csv", done)
    return done


def _blurred(spec: ImageSpec, blur_px: float) -> ImageSpec:
    """Return the specification with the blur of one shot."""
    values = {**spec.__dict__, "blur_px": blur_px}
    return ImageSpec(**values)


def _write_plan(path: Path, shots: list[Shot]) -> None:
    """Write where each shot was planned."""
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["file", "x_mm", "y_mm", "rotation_deg"])
        for shot in shots:
            writer.writerow([shot.path.name, f"{shot.planned_x_mm:.3f}", f"{shot.planned_y_mm:.3f}", "0.0"])
