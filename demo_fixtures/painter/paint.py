"""Paint images of the demonstration into a folder: masters, truth and control points."""

import shutil
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import NamedTuple

import cv2

from demo_fixtures.painter.images import IMAGE_NAMES, ImageSpec, image_spec, pitch_um
from demo_fixtures.painter.masters import MasterForm, write_in_blocks
from demo_fixtures.painter.photograph import Exposure, block_size_px, expose_block
from demo_fixtures.painter.plan import Plan, build_plan, load_plan, save_plan
from demo_fixtures.painter.raster import RASTER_ORIGIN_MM, RASTER_SIZE_MM, Raster
from demo_fixtures.painter.region import build_scene
from demo_fixtures.painter.truth import control_points, write_control_points, write_truth

__all__ = ["PaintedImage", "Progress", "forget_stack", "paint_images", "prepare_plan"]

Progress = Callable[[str, float], None]


class PaintedImage(NamedTuple):
    """One finished image."""

    name: str
    path: Path
    width_px: int
    height_px: int
    um_per_px: float
    truth_rows: int
    seconds: float


def _quiet(label: str, share: float) -> None:
    """Take progress and say nothing."""


def prepare_plan(folder: Path, seed: int, *, progress: Callable[[float], None] = lambda share: None) -> Plan:
    """Return the plan of a seed, from the folder when it was made before."""
    path = folder / f"plan_{seed}.npz"
    plan = load_plan(path, seed)
    if plan is None:
        plan = build_plan(seed, progress=progress)
        save_plan(plan, path)
    return plan


def _raster_for(spec: ImageSpec, plan: Plan, size: str, scratch: Path) -> Raster:
    """Return the stack an image is gathered from: the whole painting's, or a macro's own."""
    pitch_mm = pitch_um(spec.name, size) / 1000.0
    if spec.window_mm is None:
        window = (*RASTER_ORIGIN_MM, *RASTER_SIZE_MM)
        return Raster(plan, pitch_mm=pitch_um("vis-bt-v2", size) / 1000.0, folder=scratch, window_mm=window)
    left, top, width, height = spec.window_mm
    room = 1.5
    return Raster(
        plan, pitch_mm=pitch_mm, folder=None, window_mm=(left - room, top - room, width + 2 * room, height + 2 * room)
    )


def _paint_one(folder: Path, spec: ImageSpec, plan: Plan, size: str, progress: Progress) -> PaintedImage:
    """Paint one master with its tables."""
    started = time.monotonic()
    camera = spec.camera(size)
    raster = _raster_for(spec, plan, size, folder / ".stack")
    raster.paint(lambda share: progress(f"{spec.name}: paint", share))
    scene = build_scene(plan, raster)
    exposure = Exposure(spec, camera, plan.seed)
    path = folder / f"{spec.name}.tif"
    channels = 1 if spec.content in ("infrared", "xray") else 3
    pitch = pitch_um(spec.name, size)
    form = MasterForm(*camera.size_px, channels, spec.bits, pitch, block_size_px(camera, raster.pitch_mm))
    write_in_blocks(
        path,
        form,
        render=lambda left, top, block: expose_block(scene, exposure, left_px=left, top_px=top, size_px=block),
        progress=lambda share: progress(f"{spec.name}: photograph", share),
    )
    rows = write_truth(folder / f"truth_{spec.name}.csv", camera)
    write_control_points(folder / f"control_points_{spec.name}.csv", control_points(plan, camera, name=spec.name))
    return PaintedImage(spec.name, path, *camera.size_px, pitch_um(spec.name, size), rows, time.monotonic() - started)


def paint_images(
    folder: Path, *, seed: int, size: str, images: Iterable[str] | None = None, progress: Progress = _quiet
) -> list[PaintedImage]:
    """Paint images in the order given (all ten, visible and infrared first, by default).

    The stack of paint is kept in ``folder/.stack`` so that later calls reuse it; a call that was
    killed goes on where it stopped. ``forget_stack`` removes it.
    """
    cv2.setNumThreads(1)
    specs = [image_spec(name) for name in (IMAGE_NAMES if images is None else images)]
    scratch = folder / ".stack"
    scratch.mkdir(parents=True, exist_ok=True)
    progress("plan", 0.0)
    plan = prepare_plan(scratch, seed, progress=lambda share: progress("plan", share))
    progress("plan", 1.0)
    return [_paint_one(folder, spec, plan, size, progress) for spec in specs]


def forget_stack(folder: Path) -> None:
    """Remove the painted stack of a folder; the masters stay."""
    shutil.rmtree(folder / ".stack", ignore_errors=True)
