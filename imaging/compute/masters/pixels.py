"""The full check of a master: every pixel decoded once, and what the values are like."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pillow_heif
import pyvips
from numpy.typing import NDArray

from imaging.errors import DamagedFileError, NotANumberError

from .deflate_check import refuse_damaged_deflate
from .guard import GuardLimits, Progress, run_guarded
from .header import read_header
from .limits import DEFAULT_LIMITS, MasterLimits
from .loaders import allow_only_needed_loaders
from .master_header import MasterHeader
from .statistics import (
    BandStatistics,
    FloatHistogram,
    PixelStatistics,
    statistics_of_counts,
)
from .tiff_view import open_tiff

__all__ = ["CheckedMaster", "check_master", "read_every_pixel", "read_every_pixel_json"]

_VIPS_FORMATS = {"u8": "uchar", "u16": "ushort", "f32": "float"}
# Pieces that stay in the cache of a processor.
_PIECE_BYTES = 4 * 2**20
_FINE_BANDS = 16
# A slow disk gives 50 MB/s and deflate about as much per core.
_LEAST_TIME_S = 120.0
_SLOWEST_BYTES_PER_S = 20e6


@dataclass(frozen=True)
class CheckedMaster:
    """A master whose every pixel has been decoded."""

    header: MasterHeader
    statistics: PixelStatistics


def check_master(
    path: Path,
    *,
    name: str | None = None,
    guard: GuardLimits | None = None,
    progress: Progress | None = None,
    is_cancelled: Callable[[], bool] | None = None,
) -> CheckedMaster:
    """Return header and statistics of a master after decoding it in a guarded child process.

    Parameters
    ----------
    path : Path
        Where the file lies.
    name : str, optional
        What the sender called it, for messages.
    guard : GuardLimits, optional
        Otherwise 3 GiB, and time by the size of the picture: 120 s and 1 s per 20 MB.
    progress : callable, optional
        Called with (rows done, rows in all).
    is_cancelled : callable, optional
        When it says yes the child is killed.

    Returns
    -------
    checked : CheckedMaster
        Every pixel is finite and was decoded without a warning.

    Raises
    ------
    MasterFileError, GuardError, WorkCancelledError
        With what was got, what is needed and the remedy.
    """
    header = read_header(path, name=name)
    limits = guard or GuardLimits(
        time_s=_LEAST_TIME_S + max(header.decoded_bytes, header.file_bytes) / _SLOWEST_BYTES_PER_S
    )
    answer = run_guarded(
        "imaging.compute.masters.pixels:read_every_pixel_json",
        {"path": str(path.resolve()), "file_name": header.file_name},
        limits=limits,
        progress=progress,
        is_cancelled=is_cancelled,
    )
    return CheckedMaster(header=header, statistics=PixelStatistics.from_json(answer))


def read_every_pixel_json(path: str, *, file_name: str, progress: Progress | None = None) -> dict[str, Any]:
    """Return `read_every_pixel` as JSON values: the form that runs in a guarded child.

    Parameters
    ----------
    path, file_name : str
        Where the file lies, and what it is called in messages.
    progress : callable, optional
        As in `read_every_pixel`.
    """
    allow_only_needed_loaders()
    found = read_every_pixel(Path(path), name=file_name, progress=progress)
    refuse_damaged_deflate(Path(path), read_header(Path(path), name=file_name))
    return found.to_json()


def read_every_pixel(
    path: Path,
    *,
    name: str | None = None,
    limits: MasterLimits = DEFAULT_LIMITS,
    progress: Progress | None = None,
) -> PixelStatistics:
    """Return the statistics of a master from one pass over all its pixels.

    Parameters
    ----------
    path : Path
        Where the file lies.
    name : str, optional
        What the sender called it, for messages.
    limits : MasterLimits, optional
        Bounds of the header.
    progress : callable, optional
        Called with (rows done, rows in all).

    Returns
    -------
    statistics : PixelStatistics
        Exact for whole numbers.

    Raises
    ------
    DamagedFileError
        If the decoder warns even once, or sees another picture than the header describes.
    NotANumberError
        If a float is not finite.

    Notes
    -----
    Streams from top to bottom; holds a strip and the histograms (65,536 counts per band and
    thread). Untrusted files: call `check_master` instead. ``fail_on="warning"`` because libvips
    passes damaged TIFF tiles in silence at every other setting.
    """
    header = read_header(path, name=name, limits=limits)
    try:
        images = _opened(path, header)
        _compare(images, header)
        report = _RowReport(progress, rows=header.height_px * len(images))
        if header.sample_format == "f32":
            bands = [band for image in images for band in _float_bands(image, report)]
        else:
            bands = [band for image in images for band in _whole_number_bands(image, report)]
    except pyvips.Error as err:
        raise DamagedFileError(
            file_name=header.file_name,
            what=f"its pixels cannot all be decoded ({_reason(err)})",
        ) from err
    for number, band in enumerate(bands, start=1):
        if band.not_a_number or band.infinite:
            raise NotANumberError(
                file_name=header.file_name,
                not_a_number=band.not_a_number,
                infinite=band.infinite,
                band=number,
            )
    return PixelStatistics(width_px=header.width_px, height_px=header.height_px, bands=tuple(bands))


class _RowReport:
    """Turns the progress of one image after another into rows of all of them."""

    def __init__(self, progress: Progress | None, *, rows: int) -> None:
        self._progress, self._rows = progress, rows
        self._before = self._last = 0

    def rows_done(self, rows: int) -> None:
        # Not a message per strip: a hundred in all are enough.
        done = self._before + rows
        is_worth_it = done - self._last >= max(1, self._rows // 100) or done == self._rows
        if self._progress is not None and is_worth_it and done > self._last:
            self._last = done
            self._progress(done, self._rows)

    def image_done(self, rows: int) -> None:
        self.rows_done(rows)
        self._before += rows


def _opened(path: Path, header: MasterHeader) -> list[pyvips.Image]:
    """Return images whose bands, one after the other, are the bands of the master."""
    if header.format == "heic":
        return [_decoded_heic(path, header)]
    if header.format not in ("tiff", "bigtiff"):
        return [pyvips.Image.new_from_file(str(path), access="sequential", fail_on="warning")]
    pages = range(header.bands) if header.storage == "pages" else range(1)
    images = [open_tiff(path, file_name=header.file_name, page=page) for page in pages]
    return [image for image in images if image is not None]


def _decoded_heic(path: Path, header: MasterHeader) -> pyvips.Image:
    try:
        picture = pillow_heif.open_heif(path, convert_hdr_to_8bit=False)
        samples = np.ascontiguousarray(np.asarray(picture))
    except (ValueError, SyntaxError, EOFError, LookupError, RuntimeError, OSError) as err:
        raise DamagedFileError(file_name=header.file_name, what=f"its pixels cannot all be decoded ({err})") from err
    return pyvips.Image.new_from_array(samples)


def _compare(images: list[pyvips.Image], header: MasterHeader) -> None:
    """Refuse a file of which the decoder sees another picture than the header describes."""
    bands = sum(image.bands for image in images)
    for image in images:
        seen = (image.width, image.height, image.format)
        stated = (header.width_px, header.height_px, _VIPS_FORMATS[header.sample_format])
        if seen != stated or bands != header.bands:
            raise DamagedFileError(
                file_name=header.file_name,
                what=f"its header says {stated[0]} × {stated[1]} px of {header.sample_format} in "
                f"{header.bands} bands, its pixels are {seen[0]} × {seen[1]} px of {seen[2]} in "
                f"{bands}",
            )


def _whole_number_bands(image: pyvips.Image, report: _RowReport) -> list[BandStatistics]:
    image.set_progress(True)
    image.signal_connect("eval", lambda _, state: report.rows_done(int(state.percent) * image.height // 100))
    counts = image.hist_find().numpy().astype(np.float64)
    report.image_done(image.height)
    per_band = counts.reshape(-1, image.bands)
    return [statistics_of_counts(per_band[:, band]) for band in range(image.bands)]


def _float_bands(image: pyvips.Image, report: _RowReport) -> list[BandStatistics]:
    histograms = [FloatHistogram(is_coarse=image.bands > _FINE_BANDS) for _ in range(image.bands)]
    region = pyvips.Region.new(image)
    rows = max(1, _PIECE_BYTES // (4 * image.width * image.bands))
    for top in range(0, image.height, rows):
        height = min(rows, image.height - top)
        data = region.fetch(0, top, image.width, height)
        samples: NDArray[np.float32] = np.frombuffer(data, np.float32).reshape(-1, image.bands)
        for band, histogram in enumerate(histograms):
            histogram.add(samples[:, band])
        report.rows_done(top + height)
    report.image_done(image.height)
    return [histogram.statistics() for histogram in histograms]


def _reason(err: pyvips.Error) -> str:
    # libvips refuses some files without a word.
    lines = [line.strip() for line in str(err).splitlines()[1:] if line.strip()]
    return "; ".join(dict.fromkeys(lines))[:200] or "the decoder gives no reason"
