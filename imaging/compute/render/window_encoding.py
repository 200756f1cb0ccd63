"""A rendered window as a file: PNG, JPEG or WebP to look at, TIFF to measure in."""

from __future__ import annotations

import io
import json
import struct
import zlib
from typing import Any

import cv2
import numpy as np
import tifffile
from numpy.typing import NDArray
from PIL import Image

from imaging.compute.colour.profiles import srgb_profile
from imaging.compute.render.window import RenderedWindow
from imaging.errors import FieldRefusedError

__all__ = ["MEDIA_TYPES", "encode_values", "encode_window"]

MEDIA_TYPES = {
    "png": "image/png",
    "jpg": "image/jpeg",
    "webp": "image/webp",
    "tif": "image/tiff",
}
_JPEG_QUALITY, _WEBP_QUALITY, _WEBP_METHOD = 90, 85, 2
# PNG (W3C 2003), 11.2.2 and 11.3.3.5: header, then "this is sRGB, relative colorimetric".
_PNG_HEADER_BYTES = 8 + 25
_SRGB_CHUNK = b"sRGB" + bytes([1])


def encode_window(window: RenderedWindow, file_format: str) -> bytes:
    """Return a toned window as PNG, JPEG or WebP, marked as sRGB.

    Parameters
    ----------
    window : RenderedWindow
        From `render_window`.
    file_format : {"png", "jpg", "webp"}
        PNG and WebP are transparent where the image has no pixels, JPEG is grey there.

    Raises
    ------
    FieldRefusedError
        If the format is another.
    """
    pixels = window.pixels
    if file_format in ("png", "webp") and not window.is_inside.all():
        rgb = np.repeat(pixels, 3, axis=2) if pixels.shape[2] == 1 else pixels
        alpha = window.is_inside[..., np.newaxis] * np.uint8(255)
        pixels = np.concatenate([rgb, alpha], axis=2)
    if file_format == "png":
        return _png(pixels)
    if file_format == "jpg":
        return _jpeg(pixels)
    image = Image.fromarray(pixels[..., 0] if pixels.shape[2] == 1 else pixels)
    options = _options(file_format)
    if image.mode != "L":
        options["icc_profile"] = srgb_profile()
    stream = io.BytesIO()
    image.save(stream, **options)
    return stream.getvalue()


def encode_values(window: RenderedWindow) -> bytes:
    """Return the values of a window as an uncompressed TIFF in the master's type.

    Parameters
    ----------
    window : RenderedWindow
        From `sample_window`.

    Returns
    -------
    data : bytes
        First page: the values. If parts lie outside the image, a second page is the mask
        (1 inside). The description holds grid and scale factor as JSON; the resolution is
        that of the face.
    """
    description = {
        "type": "mahlstick-window",
        "version": 1,
        "grid": window.grid.to_json(),
        "scale_factor": window.scale_factor,
        "has_mask": bool(not window.is_inside.all()),
    }
    resolution = 10.0 / window.grid.pitch_mm
    options: dict[str, Any] = {
        "resolution": (resolution, resolution),
        "resolutionunit": "CENTIMETER",
        "metadata": None,
        "software": False,
    }
    stream = io.BytesIO()
    with tifffile.TiffWriter(stream) as tiff:
        values, layout = _tiff_layout(window.pixels)
        text = json.dumps(description, sort_keys=True)
        tiff.write(values, description=text, **layout, **options)
        if description["has_mask"]:
            # TIFF tag 254, bit 2: a mask of another page, one bit a pixel.
            tiff.write(window.is_inside, photometric="mask", subfiletype=4, **options)
    return stream.getvalue()


def _png(pixels: NDArray[np.uint8]) -> bytes:
    # OpenCV writes PNG four times as fast as Pillow here, smaller, but without a colour space.
    swap = {3: cv2.COLOR_RGB2BGR, 4: cv2.COLOR_RGBA2BGRA}.get(pixels.shape[2])
    swapped = pixels if swap is None else cv2.cvtColor(pixels, swap)
    stream = cv2.imencode(".png", swapped)[1].tobytes()
    chunk = struct.pack(">I", 1) + _SRGB_CHUNK + struct.pack(">I", zlib.crc32(_SRGB_CHUNK))
    return stream[:_PNG_HEADER_BYTES] + chunk + stream[_PNG_HEADER_BYTES:]


def _jpeg(pixels: NDArray[np.uint8]) -> bytes:
    swapped = pixels if pixels.shape[2] == 1 else cv2.cvtColor(pixels, cv2.COLOR_RGB2BGR)
    stream = cv2.imencode(".jpg", swapped, [cv2.IMWRITE_JPEG_QUALITY, _JPEG_QUALITY])[1].tobytes()
    if pixels.shape[2] == 1:
        return stream
    # ISO 15076-1, B.4: the profile in an APP2 segment, behind the JFIF one.
    profile = b"ICC_PROFILE\0\x01\x01" + srgb_profile()
    segment = b"\xff\xe2" + struct.pack(">H", len(profile) + 2) + profile
    behind_jfif = 2 + 2 + struct.unpack_from(">H", stream, 4)[0]
    return stream[:behind_jfif] + segment + stream[behind_jfif:]


def _options(file_format: str) -> dict[str, Any]:
    if file_format == "webp":
        return {"format": "WEBP", "quality": _WEBP_QUALITY, "method": _WEBP_METHOD}
    raise FieldRefusedError(field="format", given=file_format, needed="png, jpg, webp or tif")


def _tiff_layout(values: NDArray[Any]) -> tuple[NDArray[Any], dict[str, Any]]:
    bands = values.shape[2]
    if bands == 1:
        return values[..., 0], {"photometric": "minisblack"}
    if bands in (3, 4) and values.dtype.kind == "u":
        extra = {"extrasamples": ["unspecified"]} if bands == 4 else {}
        return values, {"photometric": "rgb", "planarconfig": "contig", **extra}
    extra = {"extrasamples": ["unspecified"] * (bands - 1)}
    return values, {"photometric": "minisblack", "planarconfig": "contig", **extra}
