"""What the header of a master says, in one form for every format."""

import hashlib
import math
from dataclasses import dataclass
from typing import Any

__all__ = [
    "BYTES_PER_SAMPLE",
    "UM_PER_INCH",
    "MasterHeader",
    "um_per_px_from_density",
    "um_per_px_from_ppi",
]

UM_PER_INCH = 25_400.0
BYTES_PER_SAMPLE = {"u8": 1, "u16": 2, "f32": 4}


@dataclass(frozen=True, kw_only=True)
class MasterHeader:
    """What a file says about its picture, before any pixel is decoded.

    Parameters
    ----------
    file_name : str
        For display only; see `display_name`.
    format : str
        ``"tiff"``, ``"bigtiff"``, ``"jpeg"``, ``"png"`` or ``"heic"``, by content.
    file_bytes : int
        Size of the file.
    width_px, height_px : int
        As stored, that is before `orientation` is applied. HEIC counts as turned already.
    bands : int
        Samples per pixel, alpha included; for ``storage="pages"`` the number of pages.
    sample_format : str
        ``"u8"``, ``"u16"`` or ``"f32"``.
    colour : str
        ``"grey"``, ``"rgb"`` or ``"bands"``.
    has_alpha : bool
        Whether the last band is transparency.
    storage : str
        ``"chunky"`` (samples of a pixel together), ``"planes"`` (a plane after the other) or
        ``"pages"`` (a page per band).
    layout : str
        ``"strips"``, ``"tiles"`` or ``"whole"`` (decoded as a whole: progressive JPEG,
        interlaced PNG, HEIC) or ``"rows"`` (decoded row by row).
    block_px : (int, int)
        Width and height of a strip or tile, (0, 0) for other layouts.
    compression : str
        ``"none"``, ``"lzw"``, ``"deflate"``, ``"packbits"``, ``"jpeg"`` or ``"hevc"``.
    is_white_zero : bool
        Whether the file states that 0 is white.
    icc_profile : bytes or None
        The embedded profile.
    icc_name : str
        What the profile calls itself.
    um_per_px : (float, float) or None
        Stated pitch in x and y of the stored picture.
    orientation : int
        Exif orientation, 1 to 8; 1 where nothing is said.
    band_names : tuple of str
        One per band, or empty.
    page_count : int
        Pictures in the chain of the file, pyramid levels and thumbnails included.
    other_picture_count : int
        Pages of full size beside the first that are not taken as bands.
    description : str
        ImageDescription of TIFF, at most 64 KiB.
    """

    file_name: str
    format: str
    file_bytes: int
    width_px: int
    height_px: int
    bands: int
    sample_format: str
    colour: str
    has_alpha: bool = False
    storage: str = "chunky"
    layout: str = "rows"
    block_px: tuple[int, int] = (0, 0)
    compression: str = "none"
    is_white_zero: bool = False
    icc_profile: bytes | None = None
    icc_name: str = ""
    um_per_px: tuple[float, float] | None = None
    orientation: int = 1
    band_names: tuple[str, ...] = ()
    page_count: int = 1
    other_picture_count: int = 0
    description: str = ""

    @property
    def decoded_bytes(self) -> int:
        """Size of all pixels when decoded."""
        return self.width_px * self.height_px * self.bands * BYTES_PER_SAMPLE[self.sample_format]

    @property
    def bits(self) -> int:
        """Bits per sample."""
        return 8 * BYTES_PER_SAMPLE[self.sample_format]

    def to_json(self) -> dict[str, Any]:
        """Return the header as JSON values; of the profile only its size and SHA-256."""
        profile = self.icc_profile
        values = {
            name: list(value) if isinstance(value, tuple) else value
            for name, value in vars(self).items()
            if name != "icc_profile"
        }
        values["icc_bytes"] = len(profile) if profile else 0
        values["icc_sha256"] = hashlib.sha256(profile).hexdigest() if profile else ""
        return values


def um_per_px_from_ppi(ppi: float) -> float | None:
    """Return the pitch of one pixel in µm for pixels per inch; None if that says nothing.

    Examples
    --------
    >>> um_per_px_from_ppi(1270.0)
    20.0
    >>> um_per_px_from_ppi(0.0) is None
    True
    """
    return um_per_px_from_density(ppi, unit_um=UM_PER_INCH)


def um_per_px_from_density(pixels_per_unit: float, *, unit_um: float) -> float | None:
    """Return the pitch in µm for a density of pixels per unit of `unit_um`; None if useless.

    Examples
    --------
    >>> um_per_px_from_density(200.0, unit_um=10_000.0)
    50.0
    """
    if not math.isfinite(pixels_per_unit) or pixels_per_unit <= 0:
        return None
    return unit_um / pixels_per_unit
