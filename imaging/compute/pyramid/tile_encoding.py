"""From the pixels of one tile to its stored bytes, and what TIFF must know about them."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Any, Protocol

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from imaging.compute.pyramid.bigtiff import PixelLayout

__all__ = ["JpegEncoder", "RawEncoder", "TileEncoder", "WebpEncoder"]

# TIFF tag 259: 1 none, 7 JPEG (technical note 2), 50001 WebP (registered by libtiff).
_NONE, _JPEG, _WEBP = 1, 7, 50001
# TIFF tag 262.
_GREY, _RGB, _YCBCR = 1, 2, 6


class TileEncoder(Protocol):
    """What a pyramid writer needs of an encoding."""

    @property
    def media_type(self) -> str:
        """Media type of one tile's bytes."""

    def layout(self, samples: int, dtype: np.dtype) -> PixelLayout:
        """Return how the file describes such tiles."""

    def encode(self, tile: NDArray[Any]) -> bytes:
        """Return the bytes of one ``[row, column, channel]`` tile."""


@dataclass(frozen=True)
class JpegEncoder:
    """Complete JPEG streams (ISO/IEC 10918-1), chroma halved both ways, no colour profile.

    Parameters
    ----------
    quality : int
        1 ... 100 as libjpeg scales its tables.
    """

    quality: int = 85

    @property
    def media_type(self) -> str:
        """Media type of one tile's bytes."""
        return "image/jpeg"

    def layout(self, samples: int, dtype: np.dtype) -> PixelLayout:
        """Return YCbCr 4:2:0, or grey for one sample."""
        if samples == 1:
            return PixelLayout(1, dtype, _JPEG, _GREY)
        return PixelLayout(3, dtype, _JPEG, _YCBCR, (2, 2))

    def encode(self, tile: NDArray[Any]) -> bytes:
        """Return one JPEG stream.

        Parameters
        ----------
        tile : (rows, columns, 1 or 3) uint8 array
            Grey or RGB.
        """
        quality = [cv2.IMWRITE_JPEG_QUALITY, self.quality]
        chroma = [cv2.IMWRITE_JPEG_SAMPLING_FACTOR, cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420]
        return _opencv_stream(".jpg", tile, [*quality, *chroma])


@dataclass(frozen=True)
class WebpEncoder:
    """Complete lossy WebP streams (RFC 9649); a third smaller than JPEG, slower to write.

    Parameters
    ----------
    quality : int
        0 ... 100.
    method : int
        0 (fast) ... 6 (small).
    """

    quality: int = 80
    method: int = 2

    @property
    def media_type(self) -> str:
        """Media type of one tile's bytes."""
        return "image/webp"

    def layout(self, samples: int, dtype: np.dtype) -> PixelLayout:
        """Return RGB: WebP inside TIFF has no grey."""
        return PixelLayout(3, dtype, _WEBP, _RGB)

    def encode(self, tile: NDArray[Any]) -> bytes:
        """Return one WebP stream.

        Parameters
        ----------
        tile : (rows, columns, 1 or 3) uint8 array
            Grey or RGB.
        """
        rgb = np.repeat(tile, 3, axis=2) if tile.shape[2] == 1 else np.ascontiguousarray(tile)
        stream = io.BytesIO()
        Image.fromarray(rgb).save(stream, "WEBP", quality=self.quality, method=self.method)
        return stream.getvalue()


@dataclass(frozen=True)
class RawEncoder:
    """Samples as they are, interleaved, little-endian."""

    @property
    def media_type(self) -> str:
        """Media type of one tile's bytes."""
        return "application/octet-stream"

    def layout(self, samples: int, dtype: np.dtype) -> PixelLayout:
        """Return RGB for three or four samples of integers, otherwise grey and more."""
        is_colour = samples in (3, 4) and dtype.kind == "u"
        return PixelLayout(samples, dtype, _NONE, _RGB if is_colour else _GREY)

    def encode(self, tile: NDArray[Any]) -> bytes:
        """Return the samples' bytes."""
        return tile.tobytes()


def _opencv_stream(suffix: str, tile: NDArray[Any], parameters: list[int]) -> bytes:
    # OpenCV reads blue first; the swap is also the copy that makes the tile contiguous.
    if tile.shape[2] == 3:
        pixels = cv2.cvtColor(tile, cv2.COLOR_RGB2BGR)
    else:
        pixels = np.ascontiguousarray(tile)
    is_written, stream = cv2.imencode(suffix, pixels, parameters)
    if not is_written:
        raise ValueError(f"OpenCV does not encode a {tile.shape} {tile.dtype} tile as {suffix}")
    return stream.tobytes()
