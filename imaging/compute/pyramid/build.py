"""Publish a master: resampled once if need be, toned, cut into tiles of every zoom."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from imaging.compute.colour.profiles import srgb_profile
from imaging.compute.frames import CanvasGrid, canvas_grid_over
from imaging.compute.maps import FrameMap
from imaging.compute.masters.source import MasterSource
from imaging.compute.pyramid.aside_file import written_aside
from imaging.compute.pyramid.tile_encoding import JpegEncoder, TileEncoder
from imaging.compute.pyramid.tile_grid import TileGrid
from imaging.compute.pyramid.writer import PyramidWriter, TileForm
from imaging.compute.render.display_tone import DisplayTone
from imaging.compute.render.pixel_field import PixelField
from imaging.compute.render.resampling import BlockResampler
from imaging.compute.render.shown_pixels import FILL_GREY, ShownPixels
from imaging.errors import NoRandomAccessError, WorkCancelledError

__all__ = ["PyramidPlan", "build_pyramid", "footprint_mm", "grid_to_publish"]

# Wide enough to hide the start of a block, small enough to stay in the cache.
_BLOCK_WIDTH_PX = 2048
_THREADS = 2
# Samples per side at which the finest pitch of a map is sought.
_PITCH_SAMPLES = 9


@dataclass(frozen=True)
class PyramidPlan:
    """What a pyramid is to show, and where.

    Parameters
    ----------
    grid : CanvasGrid
        Its pixels on the face, from `grid_to_publish`.
    frame_map : FrameMap or None
        From the face to the master. When None, or when `grid` is the map's own grid, the
        master's pixels are taken as they are.
    tone : DisplayTone
        What is shown.
    encoder : TileEncoder
        JPEG quality 85 by default.
    untagged : {"srgb", "refuse"}
        Colours without profile: take them as sRGB, or refuse.
    """

    grid: CanvasGrid
    frame_map: FrameMap | None
    tone: DisplayTone
    encoder: TileEncoder = field(default_factory=JpegEncoder)
    untagged: Literal["srgb", "refuse"] = "srgb"

    @property
    def is_resampled(self) -> bool:
        """Whether the master's pixels do not lie on the grid already."""
        return self.frame_map is not None and self.frame_map.own_grid() != self.grid


def grid_to_publish(frame_map: FrameMap, *, canvas_pitch_mm: float) -> CanvasGrid:
    """Return the grid on which an image is published.

    Parameters
    ----------
    frame_map : FrameMap
        With the size of the image.
    canvas_pitch_mm : float, mm per px
        Canvas pitch of the frame version.

    Returns
    -------
    grid : CanvasGrid
        The master's own when the map is only scale and translation; otherwise on the canvas
        lattice and at least as fine as the image anywhere.
    """
    own_grid = frame_map.own_grid()
    if own_grid is not None:
        return own_grid
    extent_mm = frame_map.extent_mm()
    assert frame_map.image_size_px is not None
    x_px, y_px = (np.linspace(0, side, _PITCH_SAMPLES) for side in frame_map.image_size_px)
    places_px = np.stack(np.meshgrid(x_px, y_px), axis=-1).reshape(-1, 2)
    own_pitch_mm = float(frame_map.pitch_mm_at(frame_map.mm_from_px(places_px)).min())
    return canvas_grid_over(extent_mm, canvas_pitch_mm=canvas_pitch_mm, own_pitch_mm=own_pitch_mm)


def footprint_mm(grid: CanvasGrid, frame_map: FrameMap | None) -> list[list[float]]:
    """Return the outline of the image on the face, closed; beyond it tiles hold only fill.

    Parameters
    ----------
    grid : CanvasGrid
        Grid of the pyramid, whose border is the outline when there is no map.
    frame_map : FrameMap or None
        With the size of the image.

    Examples
    --------
    >>> footprint_mm(CanvasGrid(0.0, 0.0, 0.5, 4, 2), None)
    [[0.0, 0.0], [2.0, 0.0], [2.0, 1.0], [0.0, 1.0], [0.0, 0.0]]
    """
    if frame_map is not None:
        outline: list[list[float]] = frame_map.outline_mm().tolist()
        return outline
    left, top, right, bottom = grid.extent_mm
    return [[left, top], [right, top], [right, bottom], [left, bottom], [left, top]]


def build_pyramid(
    source: MasterSource,
    path: Path,
    *,
    plan: PyramidPlan,
    progress: Callable[[int, int], None] | None = None,
    is_cancelled: Callable[[], bool] | None = None,
) -> None:
    """Write the pyramid of a master as one tiled BigTIFF.

    Parameters
    ----------
    source : MasterSource
        The master; with reading levels if it is to be resampled and can only be streamed.
    path : Path
        The file to write; replaced when complete and on the disk.
    plan : PyramidPlan
        Grid, map, tone, encoding.
    progress : callable, optional
        Called with ``(done, total)`` rows of tiles.
    is_cancelled : callable, optional
        Asked for each row of tiles.

    Raises
    ------
    WorkCancelledError
        If it was cancelled; nothing stays behind.
    NoRandomAccessError
        If the master must be resampled and serves no windows.
    ValueError
        If the grid of an image that is not resampled has another size.

    Notes
    -----
    Streams; memory grows with the width of the picture only. The same arguments give the same
    bytes. A killed build leaves a hidden part file that the next build overwrites.
    """
    shown = ShownPixels(source, plan.tone, untagged=plan.untagged)
    tiles = TileGrid(plan.grid.width_px, plan.grid.height_px)
    form = TileForm(plan.encoder, shown.channels, np.dtype(np.uint8))
    fill = _resampled_rows if plan.is_resampled else _own_rows
    with written_aside(path) as file, PyramidWriter(file, tiles, form=form) as writer:
        total = tiles.zooms[-1].rows
        for done, _ in enumerate(fill(source, plan, shown=shown, writer=writer), 1):
            writer.commit_rows()
            if progress is not None:
                progress(done, total)
            if is_cancelled is not None and is_cancelled():
                raise WorkCancelledError(file_name=source.name)
        description = json.dumps(_description(plan, tiles), sort_keys=True)
        writer.finish(description=description, icc_profile=srgb_profile())


def _own_rows(source: MasterSource, plan: PyramidPlan, *, shown: ShownPixels, writer: PyramidWriter) -> Iterator[None]:
    """Fill the writer's rows with the master's own pixels, strip by strip."""
    got, needed = (plan.grid.width_px, plan.grid.height_px), (source.width_px, source.height_px)
    if got != needed:
        raise ValueError(f"the grid is {got} px, the master {needed} px and not resampled")
    for _, strip in source.strips(len(writer.rows)):
        shown.show(shown.select(strip), writer.rows)
        yield


def _resampled_rows(
    source: MasterSource, plan: PyramidPlan, *, shown: ShownPixels, writer: PyramidWriter
) -> Iterator[None]:
    """Fill the writer's rows through the map, blocks side by side in threads."""
    if not source.scale_factors:
        raise NoRandomAccessError(file_name=source.name)
    filler = _BlockFiller(source, plan, shown)
    width_px = plan.grid.width_px
    with ThreadPoolExecutor(_THREADS, thread_name_prefix="resampling") as pool:
        for y_px in range(0, plan.grid.height_px, len(writer.rows)):
            rows = writer.rows
            blocks = [
                pool.submit(filler.fill, rows[:, x_px : x_px + _BLOCK_WIDTH_PX], x_px, y_px)
                for x_px in range(0, width_px, _BLOCK_WIDTH_PX)
            ]
            for block in blocks:
                block.result()
            yield


class _BlockFiller:
    """Resamples and tones blocks, with one set of buffers for each thread."""

    def __init__(self, source: MasterSource, plan: PyramidPlan, shown: ShownPixels) -> None:
        assert plan.frame_map is not None
        self._source, self._shown = source, shown
        factor = _scale_factor_for(plan, source.scale_factors)
        self._places = PixelField(plan.grid, plan.frame_map, scale_factor=factor)
        self._of_thread = threading.local()

    def fill(self, out: NDArray[np.uint8], x_px: int, y_px: int) -> None:
        """Write the pixels of a block whose top left pixel in the grid is given."""
        resampler = getattr(self._of_thread, "resampler", None)
        if resampler is None:
            resampler = BlockResampler(self._source, self._places, select=self._shown.select)
            self._of_thread.resampler = resampler
        for block in resampler.blocks(x_px, y_px, out.shape[1], out.shape[0]):
            top, left = block.y_px - y_px, block.x_px - x_px
            part = out[top : top + block.height_px, left : left + block.width_px]
            if block.pixels is None:
                part[...] = FILL_GREY
                continue
            self._shown.show(block.pixels, part)
            if block.is_inside is not None:
                part[~block.is_inside] = FILL_GREY


def _scale_factor_for(plan: PyramidPlan, scale_factors: tuple[int, ...]) -> int:
    """Return the reduction whose pixels are no coarser than those of the grid."""
    assert plan.frame_map is not None
    left, top, right, bottom = plan.grid.extent_mm
    middle_mm = np.array([(left + right) / 2, (top + bottom) / 2])
    ratio = plan.grid.pitch_mm / float(plan.frame_map.pitch_mm_at(middle_mm).max())
    fitting = [factor for factor in scale_factors if factor <= ratio * (1 + 1e-6)]
    return max(fitting, default=min(scale_factors))


def _description(plan: PyramidPlan, tiles: TileGrid) -> dict[str, Any]:
    return {
        "type": "mahlstick-pyramid",
        "version": 1,
        "grid": plan.grid.to_json(),
        "tile_size_px": tiles.tile_size_px,
        "zooms": len(tiles.zooms),
        "media_type": plan.encoder.media_type,
        "encoder": asdict(plan.encoder),  # type: ignore[call-overload]
        "is_resampled": plan.is_resampled,
        "map": None if plan.frame_map is None else plan.frame_map.to_json(),
        "tone": plan.tone.to_json(),
        "untagged": plan.untagged,
        "fill_grey": FILL_GREY,
        "footprint_mm": footprint_mm(plan.grid, plan.frame_map),
    }
