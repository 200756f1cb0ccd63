"""How much a file may claim before anything of it is decoded."""

from dataclasses import dataclass

__all__ = ["DEFAULT_LIMITS", "MasterLimits"]

_MEBIBYTE = 2**20


@dataclass(frozen=True)
class MasterLimits:
    """Bounds for one master; every one is checked on the header.

    Parameters
    ----------
    max_side_px : int
        Longest side. 300,000 px is 3 m at 10 µm.
    max_pixels : int
        Width times height. 20 Gpx is twice a work of 2 m square at 20 µm.
    max_bands : int
        Samples per pixel, or pages of one band.
    max_pages : int
        Image directories of a TIFF, pyramid levels and thumbnails included.
    max_tags : int
        Entries of one directory.
    max_blocks : int
        Strips or tiles of one picture.
    max_tag_bytes : int
        Size of one tag or chunk that is read whole (profile, metadata).
    max_whole_picture_bytes : int
        Memory for forms that cannot be streamed: progressive JPEG, interlaced PNG, HEIC.
    max_block_bytes : int
        Decoded size of one tile.
    """

    max_side_px: int = 300_000
    max_pixels: int = 20_000_000_000
    max_bands: int = 512
    max_pages: int = 1024
    max_tags: int = 2048
    max_blocks: int = 8_000_000
    max_tag_bytes: int = 16 * _MEBIBYTE
    max_whole_picture_bytes: int = 1024 * _MEBIBYTE
    max_block_bytes: int = 256 * _MEBIBYTE


DEFAULT_LIMITS = MasterLimits()
