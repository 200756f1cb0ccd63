"""The pixels of a master as arrays: streamed from top to bottom, or any window of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import pillow_heif
import tifffile
from numpy.typing import NDArray

from imaging.compute.masters.decoded_source import DecodedSource
from imaging.compute.masters.mapped_source import MappedSource, mapped_planes
from imaging.errors import DamagedFileError, UnsupportedSampleError

__all__ = ["ArraySource", "MasterSource", "open_master"]

_SAMPLE_TYPES = (np.dtype(np.uint8), np.dtype(np.uint16), np.dtype(np.float32))


class MasterSource(Protocol):
    """Pixels of one master, ``[row, column, channel]`` in uint8, uint16 or float32.

    The orientation is the stored one: orientation tags belong to the map into the frame.
    """

    @property
    def name(self) -> str:
        """File name, for messages."""

    @property
    def width_px(self) -> int:
        """Columns of the master."""

    @property
    def height_px(self) -> int:
        """Rows of the master."""

    @property
    def bands(self) -> int:
        """Channels per pixel."""

    @property
    def dtype(self) -> np.dtype:
        """Type of every sample."""

    @property
    def icc_profile(self) -> bytes | None:
        """The embedded profile."""

    @property
    def scale_factors(self) -> tuple[int, ...]:
        """Scale factors that `read_window` serves, ascending; empty when it serves none."""

    def strips(self, height_px: int) -> Iterator[tuple[int, NDArray[Any]]]:
        """Yield ``(top row, strip)`` downwards; a strip is valid until the next one is asked."""

    def read_window(
        self, x_px: int, y_px: int, width_px: int, height_px: int, *, scale_factor: int = 1
    ) -> NDArray[Any]:
        """Return a window inside the picture reduced by `scale_factor`; do not write to it."""


class ArraySource:
    """A master held in memory.

    Parameters
    ----------
    pixels : (rows, columns) or (rows, columns, bands) array
        uint8, uint16 or float32.
    name : str
        For messages.
    icc_profile : bytes or None
        The embedded profile.

    Examples
    --------
    >>> source = ArraySource(np.arange(6, dtype=np.uint16).reshape(2, 3))
    >>> source.read_window(1, 0, 2, 1)[..., 0].tolist()
    [[1, 2]]
    """

    scale_factors: tuple[int, ...] = (1,)

    def __init__(self, pixels: NDArray[Any], *, name: str = "array", icc_profile: bytes | None = None) -> None:
        self.pixels = pixels[:, :, np.newaxis] if pixels.ndim == 2 else pixels
        self.name = name
        self.icc_profile = icc_profile
        self.height_px, self.width_px, self.bands = self.pixels.shape
        self.dtype = np.dtype(pixels.dtype)
        if self.dtype not in _SAMPLE_TYPES:
            raise UnsupportedSampleError(file_name=name, got=str(self.dtype))

    def strips(self, height_px: int) -> Iterator[tuple[int, NDArray[Any]]]:
        """Yield ``(top row, strip)`` downwards.

        Parameters
        ----------
        height_px : int, px
            Rows of every strip but the last.
        """
        for y_px in range(0, self.height_px, height_px):
            yield y_px, self.pixels[y_px : y_px + height_px]

    def read_window(
        self, x_px: int, y_px: int, width_px: int, height_px: int, *, scale_factor: int = 1
    ) -> NDArray[Any]:
        """Return a window of the full picture.

        Parameters
        ----------
        x_px, y_px, width_px, height_px : int, px
            Place and size, inside the picture.
        scale_factor : int
            Only 1.
        """
        if scale_factor != 1:
            raise ValueError(f"an array has no scale factor {scale_factor}")
        return self.pixels[y_px : y_px + height_px, x_px : x_px + width_px]


def open_master(path: Path, *, pages: Sequence[int] = (0,)) -> MasterSource:
    """Return the pixels of a master file.

    Parameters
    ----------
    path : Path
        TIFF, BigTIFF, JPEG, PNG or HEIC whose header was found safe before.
    pages : sequence of int
        TIFF pages; several pages of one size become the bands, in that order.

    Returns
    -------
    source : MasterSource
        Uncompressed strips are mapped into memory, tiles are read where wanted, everything else
        streams from top to bottom. HEIC is decoded whole.

    Raises
    ------
    DamagedFileError
        If the decoder refuses the file.
    UnsupportedSampleError
        If its samples are none of uint8, uint16, float32.
    """
    with path.open("rb") as file:
        start = file.read(12)
    if start[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return _open_tiff(path, pages)
    if start[4:8] == b"ftyp":
        return _open_heic(path)
    return DecodedSource(path)


def _open_tiff(path: Path, pages: Sequence[int]) -> MasterSource:
    try:
        with tifffile.TiffFile(path) as tiff:
            directories = [tiff.pages[page].aspage() for page in pages]
            planes = mapped_planes(path, directories)
            has_tiles = all(directory.is_tiled for directory in directories)
            icc_profile = directories[0].iccprofile
    except (tifffile.TiffFileError, IndexError, KeyError, TypeError, ValueError) as err:
        raise DamagedFileError(file_name=path.name, what=f"its directory ({err})") from err
    if planes is not None:
        return MappedSource(path, planes, icc_profile=icc_profile)
    return DecodedSource(path, pages=pages, is_random=has_tiles)


def _open_heic(path: Path) -> MasterSource:
    # More than 8 bits are kept, scaled to the full range of 16.
    try:
        picture = pillow_heif.open_heif(path, convert_hdr_to_8bit=False)
        pixels = np.asarray(picture)
    except (ValueError, SyntaxError, EOFError, RuntimeError) as err:
        raise DamagedFileError(file_name=path.name, what=str(err)) from err
    return ArraySource(pixels, name=path.name, icc_profile=picture.info.get("icc_profile"))
