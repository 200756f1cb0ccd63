"""Masters that need a decoder: compressed or tiled TIFF, JPEG, PNG, all through libvips."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyvips
from numpy.typing import NDArray

from imaging.compute.masters.tiff_view import open_tiff
from imaging.errors import DamagedFileError, NoRandomAccessError, UnsupportedSampleError

__all__ = ["DecodedSource", "open_with_vips"]

_SAMPLE_TYPES = {"uchar": np.uint8, "ushort": np.uint16, "float": np.float32}
# Pieces of this height pass through libvips without large new buffers.
_PIECE_ROWS = 64


def open_with_vips(path: Path, *, page: int = 0, is_random: bool = False) -> pyvips.Image:
    """Return a lazy libvips image that refuses damaged data.

    Parameters
    ----------
    path : Path
        The file.
    page : int
        TIFF page.
    is_random : bool
        For tiles: read where wanted. Otherwise from top to bottom, once.

    Raises
    ------
    DamagedFileError
        If the header is not accepted.
    """
    # Without revalidation libvips hands out an earlier file of the same name.
    options: dict[str, Any] = {"fail_on": "warning", "revalidate": True}
    if page:
        options["page"] = page
    access = "random" if is_random else "sequential"
    try:
        # A TIFF is shown to libvips through a clean directory of its own.
        view = open_tiff(path, page=page, access=access)
        if view is not None:
            return view
        return pyvips.Image.new_from_file(str(path), access=access, **options)
    except pyvips.Error as err:
        raise DamagedFileError(file_name=path.name, what=_reason(err)) from err


class DecodedSource:
    """A master that libvips decodes.

    Parameters
    ----------
    path : Path
        The file; it is opened anew for every pass from top to bottom.
    pages : sequence of int
        TIFF pages; their bands, in this order, are the bands of the master.
    is_random : bool
        Whether windows can be read: true of tiled files.
    """

    def __init__(self, path: Path, *, pages: Sequence[int] = (0,), is_random: bool = False) -> None:
        self._path, self._pages, self._is_random = path, tuple(pages), is_random
        self._image = image = self._opened()
        if image.format not in _SAMPLE_TYPES:
            raise UnsupportedSampleError(file_name=path.name, got=image.format)
        self.name = path.name
        self.width_px, self.height_px, self.bands = image.width, image.height, image.bands
        self.dtype = np.dtype(_SAMPLE_TYPES[image.format])
        self.scale_factors: tuple[int, ...] = (1,) if is_random else ()
        has_profile = image.get_typeof("icc-profile-data") != 0
        self.icc_profile: bytes | None = image.get("icc-profile-data") if has_profile else None

    def strips(self, height_px: int) -> Iterator[tuple[int, NDArray[Any]]]:
        """Yield ``(top row, strip)`` downwards; one buffer serves all strips.

        Parameters
        ----------
        height_px : int, px
            Rows of every strip but the last.

        Raises
        ------
        DamagedFileError
            When the decoder meets damaged or missing data.
        """
        # A region alone does not keep the image alive, nor what the image reads from.
        image = self._image if self._is_random else self._opened()
        region = pyvips.Region.new(image)
        buffer = np.empty((height_px, self.width_px, self.bands), self.dtype)
        for y_px in range(0, self.height_px, height_px):
            rows = min(height_px, self.height_px - y_px)
            for row in range(0, rows, _PIECE_ROWS):
                piece = buffer[row : min(row + _PIECE_ROWS, rows)]
                self._fetch(region, 0, y_px + row, piece)
            yield y_px, buffer[:rows]

    def read_window(
        self, x_px: int, y_px: int, width_px: int, height_px: int, *, scale_factor: int = 1
    ) -> NDArray[Any]:
        """Return a window of the full picture, for tiled files only.

        Parameters
        ----------
        x_px, y_px, width_px, height_px : int, px
            Place and size, inside the picture.
        scale_factor : int
            Only 1.

        Raises
        ------
        NoRandomAccessError
            If the file can only be read from top to bottom.
        """
        if not self._is_random:
            raise NoRandomAccessError(file_name=self.name)
        if scale_factor != 1:
            raise ValueError(f"a decoded file has no scale factor {scale_factor}")
        window = np.empty((height_px, width_px, self.bands), self.dtype)
        self._fetch(pyvips.Region.new(self._image), x_px, y_px, window)
        return window

    def _opened(self) -> pyvips.Image:
        first, *others = (open_with_vips(self._path, page=page, is_random=self._is_random) for page in self._pages)
        return first.bandjoin(others) if others else first

    def _fetch(self, region: Any, x_px: int, y_px: int, out: NDArray[Any]) -> None:
        rows, columns = out.shape[:2]
        try:
            data = region.fetch(x_px, y_px, columns, rows)
        except pyvips.Error as err:
            raise DamagedFileError(file_name=self.name, what=_reason(err)) from err
        out[...] = np.frombuffer(data, self.dtype).reshape(out.shape)


def _reason(err: pyvips.Error) -> str:
    # libvips sometimes refuses without a word.
    lines = [line.strip() for line in str(err).splitlines() if line.strip()]
    return "; ".join(lines[:3]) or "the decoder refuses it without a reason"
