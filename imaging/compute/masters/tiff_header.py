"""The header of a TIFF or BigTIFF master."""

import math
from dataclasses import dataclass
from typing import BinaryIO

from imaging.errors import (
    DamagedFileError,
    HugeClaimError,
    ImplausibleSizeError,
    TruncatedFileError,
    UnsupportedColourError,
    UnsupportedCompressionError,
    UnsupportedSampleError,
    WholePictureError,
)

from .band_names import band_names_from_text
from .icc_profile import summarise_profile
from .limits import MasterLimits
from .master_header import BYTES_PER_SAMPLE, MasterHeader, um_per_px_from_density
from .size_check import refuse_huge_claims
from .tiff_directory import Directory, TiffWalker

__all__ = ["Tag", "read_tiff_header"]


class Tag:
    """Numbers of the tags read here (TIFF 6.0; 330 and 34675 from its later notes)."""

    SUBFILE_TYPE, WIDTH, HEIGHT, BITS, COMPRESSION, PHOTOMETRIC = 254, 256, 257, 258, 259, 262
    DESCRIPTION, STRIP_OFFSETS, ORIENTATION, SAMPLES, ROWS_PER_STRIP = 270, 273, 274, 277, 278
    STRIP_BYTES, X_RESOLUTION, Y_RESOLUTION, PLANAR, PAGE_NAME = 279, 282, 283, 284, 285
    RESOLUTION_UNIT, TILE_WIDTH, TILE_HEIGHT, TILE_OFFSETS, TILE_BYTES = 296, 322, 323, 324, 325
    SUB_DIRECTORIES, INK_NAMES, EXTRA_SAMPLES, SAMPLE_FORMAT, XMP = 330, 333, 338, 339, 700
    IPTC, EXIF, ICC, BAND_XML, PREDICTOR = 33723, 34665, 34675, 42112, 317


_COMPRESSIONS = {1: "none", 5: "lzw", 7: "jpeg", 8: "deflate", 32946: "deflate", 32773: "packbits"}
_OTHER_COMPRESSIONS = {
    2: "CCITT run lengths", 3: "fax group 3", 4: "fax group 4", 6: "the withdrawn old-style JPEG",
    34712: "JPEG 2000", 34925: "LZMA", 34887: "LERC", 50000: "Zstandard", 50001: "WebP",
    50002: "JPEG XL", 52546: "JPEG XL",
}  # fmt: skip
# How many decoded bytes one stored byte can stand for at most. Deflate: 1032 (RFC 1951, length
# 258 in two bits); PackBits: 128 in 2 bytes; LZW: a table of 4093 strings each one byte longer
# than the last, in codes of 9-12 bits; JPEG: 64 samples in one bit, doubled by halved chroma.
_LARGEST_RATIO = {"none": 1, "packbits": 64, "lzw": 1400, "deflate": 1032, "jpeg": 1024}
_SAMPLE_FORMATS = {(8, 1): "u8", (16, 1): "u16", (32, 3): "f32"}
_COLOURS = {0: "grey", 1: "grey", 2: "rgb", 6: "rgb"}
_REFUSED_COLOURS = {
    3: ("a palette picture", "Save it as RGB."),
    4: ("a transparency mask", "Save the picture itself."),
    5: ("CMYK or another ink separation", "Convert it to RGB with its profile first."),
    8: ("in CIE L*a*b*", "Convert it to RGB with its profile first."),
    9: ("in ICC L*a*b*", "Convert it to RGB with its profile first."),
    10: ("in ITU L*a*b*", "Convert it to RGB with its profile first."),
    32803: ("an undeveloped camera file", "Develop it to a 16-bit TIFF first."),
    34892: ("an undeveloped camera file", "Develop it to a 16-bit TIFF first."),
}
_LONGEST_DESCRIPTION = 65_536


@dataclass(frozen=True)
class _Page:
    """What one directory says about its picture."""

    width_px: int
    height_px: int
    samples: int
    sample_format: str
    is_reduced: bool

    def is_like(self, other: "_Page") -> bool:
        return (self.width_px, self.height_px, self.samples, self.sample_format) == (
            other.width_px,
            other.height_px,
            other.samples,
            other.sample_format,
        )


def read_tiff_header(stream: BinaryIO, *, file_name: str, file_bytes: int, limits: MasterLimits) -> MasterHeader:
    """Return what a TIFF says about its first picture; decode nothing.

    Parameters
    ----------
    stream : binary file
        Open for reading.
    file_name : str
        For messages.
    file_bytes : int
        Size of the file.
    limits : MasterLimits
        Bounds on every claim.

    Returns
    -------
    header : MasterHeader
        Pages of one band each and of one size are taken as the bands of one picture.

    Raises
    ------
    MasterFileError
        One of its classes, if the file cannot be a master.

    Notes
    -----
    TIFF 6.0 (1992). Strips or tiles that do not fit into the file, or that share bytes, are
    refused here. Memory: the lists of offsets, 16 bytes per strip or tile.
    """
    walker = TiffWalker(stream, size_bytes=file_bytes, file_name=file_name, limits=limits)
    directories = list(walker.directories())
    if not directories:
        raise DamagedFileError(file_name=file_name, what="it holds no image directory")
    first = directories[0]
    page = _page(walker, first)
    _refuse_sub_directory_loops(walker, directories)
    others = [_page_or_none(walker, directory) for directory in directories[1:]]
    full = [other for other in others if other is not None and not other.is_reduced]
    is_stack = bool(full) and page.samples == 1 and all(other.is_like(page) for other in full)
    is_stack = is_stack and len(full) == len(others)
    bands = len(directories) if is_stack else page.samples
    compression = _compression(walker, first)
    refuse_huge_claims(page.width_px, page.height_px, bands=bands, file_name=file_name, limits=limits)
    for directory in directories if is_stack else [first]:
        layout, block_px = _check_blocks(walker, directory, page)
    colour, has_alpha = _colour(walker, first, page)
    profile = walker.raw(first, Tag.ICC)
    summary = summarise_profile(profile) if profile else None
    is_planar = walker.number(first, Tag.PLANAR, default=1) == 2 and page.samples > 1
    return MasterHeader(
        file_name=file_name,
        format="bigtiff" if walker.is_big else "tiff",
        file_bytes=file_bytes,
        width_px=page.width_px,
        height_px=page.height_px,
        bands=bands,
        sample_format=page.sample_format,
        colour="bands" if is_stack else colour,
        has_alpha=has_alpha and not is_stack,
        storage="pages" if is_stack else "planes" if is_planar else "chunky",
        layout=layout,
        block_px=block_px,
        compression=compression,
        is_white_zero=walker.number(first, Tag.PHOTOMETRIC, default=1) == 0,
        icc_profile=profile or None,
        icc_name=summary.name if summary else "",
        um_per_px=_um_per_px(walker, first),
        orientation=_orientation(walker, first),
        band_names=_band_names(walker, directories if is_stack else [first], bands),
        page_count=len(directories),
        other_picture_count=0 if is_stack else len(full),
        description=_text(walker, first, Tag.DESCRIPTION)[:_LONGEST_DESCRIPTION],
    )


def _page(walker: TiffWalker, directory: Directory) -> _Page:
    width, height = walker.number(directory, Tag.WIDTH), walker.number(directory, Tag.HEIGHT)
    samples = walker.number(directory, Tag.SAMPLES, default=1)
    if width <= 0 or height <= 0 or samples <= 0:
        raise DamagedFileError(
            file_name=walker.file_name,
            what=f"its picture is {width} × {height} px in {samples} bands",
        )
    refuse_huge_claims(width, height, bands=samples, file_name=walker.file_name, limits=walker.limits)
    return _Page(
        width_px=width,
        height_px=height,
        samples=samples,
        sample_format=_sample_format(walker, directory),
        is_reduced=bool(walker.number(directory, Tag.SUBFILE_TYPE) & 1),
    )


def _page_or_none(walker: TiffWalker, directory: Directory) -> _Page | None:
    """Return a later page, None if it is no master itself (a mask, a 1-bit thumbnail)."""
    try:
        return _page(walker, directory)
    except (DamagedFileError, UnsupportedSampleError):
        return None


def _sample_format(walker: TiffWalker, directory: Directory) -> str:
    bits = set(walker.numbers(directory, Tag.BITS)) or {1}
    kinds = set(walker.numbers(directory, Tag.SAMPLE_FORMAT)) or {1}
    if len(bits) == 1 and len(kinds) == 1:
        found = _SAMPLE_FORMATS.get((int(next(iter(bits))), int(next(iter(kinds)))))
        if found:
            return found
    words = {1: "whole numbers without sign", 2: "whole numbers with sign", 3: "floating point"}
    raise UnsupportedSampleError(
        file_name=walker.file_name,
        got=" and ".join(f"{int(each)}-bit" for each in sorted(bits))
        + " "
        + " and ".join(words.get(int(kind), "numbers of another kind") for kind in sorted(kinds)),
    )


def _compression(walker: TiffWalker, directory: Directory) -> str:
    number = walker.number(directory, Tag.COMPRESSION, default=1)
    if number not in _COMPRESSIONS:
        raise UnsupportedCompressionError(
            file_name=walker.file_name,
            got=_OTHER_COMPRESSIONS.get(number, f"method {number} of TIFF"),
        )
    if _COMPRESSIONS[number] == "jpeg" and walker.number(directory, Tag.PLANAR, default=1) == 2:
        raise UnsupportedCompressionError(file_name=walker.file_name, got="JPEG with each band in a plane of its own")
    return _COMPRESSIONS[number]


def _colour(walker: TiffWalker, directory: Directory, page: _Page) -> tuple[str, bool]:
    photometric = walker.number(directory, Tag.PHOTOMETRIC, default=1)
    if photometric == 6 and _compression(walker, directory) != "jpeg":
        raise UnsupportedColourError(file_name=walker.file_name, got="in YCbCr without JPEG", remedy="Save it as RGB.")
    if photometric not in _COLOURS:
        got, remedy = _REFUSED_COLOURS.get(photometric, (f"of colour kind {photometric}", "Save it as RGB or grey."))
        raise UnsupportedColourError(file_name=walker.file_name, got=got, remedy=remedy)
    colour = _COLOURS[photometric]
    base = 3 if colour == "rgb" else 1
    if page.samples < base:
        raise DamagedFileError(file_name=walker.file_name, what=f"it is RGB with {page.samples} bands")
    extra = walker.numbers(directory, Tag.EXTRA_SAMPLES)
    has_alpha = page.samples == base + 1 and bool(extra) and int(extra[-1]) in (1, 2)
    if page.samples - has_alpha > base:
        return "bands", False
    return colour, has_alpha


def _check_blocks(walker: TiffWalker, directory: Directory, page: _Page) -> tuple[str, tuple[int, int]]:
    """Return layout and block size after checking that every strip or tile lies in the file."""
    is_tiled = Tag.TILE_WIDTH in directory.entries
    if is_tiled:
        block_px = (
            walker.number(directory, Tag.TILE_WIDTH),
            walker.number(directory, Tag.TILE_HEIGHT),
        )
        offsets = walker.array(directory, Tag.TILE_OFFSETS)
        sizes = walker.array(directory, Tag.TILE_BYTES)
    else:
        rows = walker.number(directory, Tag.ROWS_PER_STRIP, default=page.height_px)
        block_px = (page.width_px, min(rows, page.height_px))
        offsets = walker.array(directory, Tag.STRIP_OFFSETS)
        sizes = walker.array(directory, Tag.STRIP_BYTES)
    name = walker.file_name
    if min(block_px) <= 0:
        raise DamagedFileError(file_name=name, what="its strips or tiles have no size")
    is_planar = walker.number(directory, Tag.PLANAR, default=1) == 2
    planes = page.samples if is_planar else 1
    across, down = math.ceil(page.width_px / block_px[0]), math.ceil(page.height_px / block_px[1])
    wanted = across * down * planes
    if wanted > walker.limits.max_blocks:
        raise HugeClaimError(file_name=name, what="strips or tiles", got=wanted, limit=walker.limits.max_blocks)
    if len(offsets) < wanted or len(sizes) < wanted:
        raise DamagedFileError(
            file_name=name,
            what=f"it lists {min(len(offsets), len(sizes)):,} of its {wanted:,} strips or tiles",
        )
    _refuse_large_blocks(walker, directory, page, block_px)
    ends = offsets[:wanted] + sizes[:wanted]
    if int(ends.max()) > walker.size_bytes or bool((ends < offsets[:wanted]).any()):
        raise TruncatedFileError(
            file_name=name,
            what="its last strip or tile",
            needed_bytes=int(ends.max()),
            got_bytes=walker.size_bytes,
        )
    if int((sizes[:wanted] == 0).sum()) or int((offsets[:wanted] == 0).sum()):
        raise DamagedFileError(file_name=name, what="some of its strips or tiles are empty")
    _refuse_implausible(walker, directory, page, stored=sum(sizes[:wanted].tolist()))
    return ("tiles" if is_tiled else "strips"), block_px


def _refuse_large_blocks(walker: TiffWalker, directory: Directory, page: _Page, block_px: tuple[int, int]) -> None:
    planes = page.samples if walker.number(directory, Tag.PLANAR, default=1) != 2 else 1
    block_bytes = block_px[0] * block_px[1] * planes * BYTES_PER_SAMPLE[page.sample_format]
    is_tiled = Tag.TILE_WIDTH in directory.entries
    if is_tiled and block_bytes > walker.limits.max_block_bytes:
        raise HugeClaimError(
            file_name=walker.file_name,
            what="bytes in one tile",
            got=block_bytes,
            limit=walker.limits.max_block_bytes,
        )
    # A JPEG strip may be progressive, and is then held as 16-bit coefficients.
    if _compression(walker, directory) == "jpeg" and 2 * block_bytes > walker.limits.max_whole_picture_bytes:
        raise WholePictureError(
            file_name=walker.file_name,
            form="a TIFF with one huge JPEG strip",
            needed_bytes=2 * block_bytes,
            limit_bytes=walker.limits.max_whole_picture_bytes,
        )


def _refuse_implausible(walker: TiffWalker, directory: Directory, page: _Page, *, stored: int) -> None:
    """Refuse strips that share bytes, and more pixels than the stored bytes can stand for."""
    if stored > walker.size_bytes:
        raise DamagedFileError(
            file_name=walker.file_name,
            what=f"its strips or tiles overlap ({stored:,} bytes listed, {walker.size_bytes:,} in the file)",
        )
    claimed = page.width_px * page.height_px * page.samples * BYTES_PER_SAMPLE[page.sample_format]
    compression = _compression(walker, directory)
    possible = stored * _LARGEST_RATIO[compression]
    if claimed > possible:
        raise ImplausibleSizeError(
            file_name=walker.file_name,
            width_px=page.width_px,
            height_px=page.height_px,
            claimed_bytes=claimed,
            stored_bytes=stored,
            compression="uncompressed" if compression == "none" else compression,
            possible_bytes=possible,
        )


def _refuse_sub_directory_loops(walker: TiffWalker, directories: list[Directory]) -> None:
    """Visit every sub-directory once: one that leads back is refused, too many as well."""
    seen = {directory.offset for directory in directories}
    waiting = [int(offset) for directory in directories for offset in walker.array(directory, Tag.SUB_DIRECTORIES)]
    while waiting:
        offset = waiting.pop()
        while offset:
            directory = walker.directory_once(offset, seen)
            waiting += [int(each) for each in walker.array(directory, Tag.SUB_DIRECTORIES)]
            offset = directory.next_offset


def _um_per_px(walker: TiffWalker, directory: Directory) -> tuple[float, float] | None:
    # ResolutionUnit: 1 none, 2 inch (also when absent), 3 centimetre.
    unit_um = {2: 25_400.0, 3: 10_000.0}.get(walker.number(directory, Tag.RESOLUTION_UNIT, default=2))
    x = walker.numbers(directory, Tag.X_RESOLUTION)
    y = walker.numbers(directory, Tag.Y_RESOLUTION)
    if unit_um is None or not x or not y:
        return None
    pitch_x = um_per_px_from_density(float(x[0]), unit_um=unit_um)
    pitch_y = um_per_px_from_density(float(y[0]), unit_um=unit_um)
    return None if pitch_x is None or pitch_y is None else (pitch_x, pitch_y)


def _orientation(walker: TiffWalker, directory: Directory) -> int:
    stated = walker.number(directory, Tag.ORIENTATION, default=1)
    return stated if 1 <= stated <= 8 else 1


def _text(walker: TiffWalker, directory: Directory, tag: int) -> str:
    found = walker.value(directory, tag)
    return found if isinstance(found, str) else ""


def _band_names(walker: TiffWalker, directories: list[Directory], bands: int) -> tuple[str, ...]:
    if len(directories) > 1:
        names = [_text(walker, directory, Tag.PAGE_NAME).strip() for directory in directories]
        if all(names):
            return tuple(name[:80] for name in names)
    first = directories[0]
    texts = [_text(walker, first, tag) for tag in (Tag.DESCRIPTION, Tag.BAND_XML, Tag.INK_NAMES)]
    return band_names_from_text(*texts, bands=bands)
