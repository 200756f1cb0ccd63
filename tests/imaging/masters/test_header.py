"""The header says what reference libraries say, and nothing is decoded for it."""

import io

import numpy as np
import pillow_heif
import pytest
import tifffile
from PIL import Image, ImageCms

from imaging.compute.masters.display_name import display_name
from imaging.compute.masters.header import read_header

GREY = np.arange(60 * 80, dtype=np.uint16).reshape(60, 80)
RGB = np.stack([GREY % 251] * 3, axis=-1).astype(np.uint8)


@pytest.mark.parametrize("compression", [None, "lzw", "zlib", "packbits"])
@pytest.mark.parametrize("tile", [None, (16, 32)])
@pytest.mark.parametrize("is_big", [False, True])
@pytest.mark.parametrize("byte_order", ["<", ">"])
def test_a_tiff_is_described_as_tifffile_describes_it(tmp_path, compression, tile, is_big, byte_order):
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, GREY, compression=compression, tile=tile, bigtiff=is_big, byteorder=byte_order)
    header = read_header(path)
    with tifffile.TiffFile(path) as tiff:
        page = tiff.pages[0]
    assert header.format == ("bigtiff" if is_big else "tiff")
    assert (header.width_px, header.height_px) == (page.imagewidth, page.imagelength)
    assert header.sample_format == "u16"
    assert header.layout == ("tiles" if page.is_tiled else "strips")
    assert header.compression == {None: "none", "zlib": "deflate"}.get(compression, compression)
    assert header.decoded_bytes == page.nbytes


@pytest.mark.parametrize(
    ("pixels", "expected"),
    [
        (RGB, ("rgb", 3, False, "chunky", "u8")),
        (np.dstack([RGB, RGB[..., :1]]), ("rgb", 4, True, "chunky", "u8")),
        (GREY.astype(np.float32), ("grey", 1, False, "chunky", "f32")),
    ],
)
def test_colour_and_samples_of_a_tiff(tmp_path, pixels, expected):
    path = tmp_path / "a.tif"
    alpha = {"extrasamples": ["unassalpha"]} if pixels.shape[-1] == 4 else {}
    tifffile.imwrite(path, pixels, **alpha)
    header = read_header(path)
    assert expected == (
        header.colour,
        header.bands,
        header.has_alpha,
        header.storage,
        header.sample_format,
    )


@pytest.mark.parametrize("planar", ["contig", "separate"])
def test_many_bands_keep_their_names(tmp_path, planar):
    path = tmp_path / "maps.tif"
    names = ["Pb-L", "Hg-L", "Cu-K", "Fe-K", "Ca-K"]
    shape = (60, 80, 5) if planar == "contig" else (5, 60, 80)
    tifffile.imwrite(
        path,
        np.zeros(shape, np.float32),
        photometric="minisblack",
        planarconfig=planar,
        description='{"band_names": ["Pb-L", "Hg-L", "Cu-K", "Fe-K", "Ca-K"]}',
        metadata=None,
    )
    header = read_header(path)
    assert header.band_names == tuple(names)
    assert (header.colour, header.bands) == ("bands", 5)
    assert header.storage == ("chunky" if planar == "contig" else "planes")


def test_pages_of_one_band_and_size_are_the_bands_of_one_picture(tmp_path):
    path = tmp_path / "stack.tif"
    with tifffile.TiffWriter(path) as out:
        for name in ("450", "550", "650"):
            out.write(GREY, metadata=None, extratags=[(285, 2, 0, name, True)])
    header = read_header(path)
    assert (header.storage, header.bands, header.page_count) == ("pages", 3, 3)
    assert header.band_names == ("450", "550", "650")


def test_a_thumbnail_and_a_second_picture_are_no_bands(tmp_path):
    path = tmp_path / "two.tif"
    with tifffile.TiffWriter(path) as out:
        out.write(RGB)
        out.write(RGB[::4, ::4], subfiletype=1)
        out.write(RGB)
    header = read_header(path)
    assert (header.bands, header.page_count, header.other_picture_count) == (3, 3, 1)


def test_white_is_zero_is_told(tmp_path):
    path = tmp_path / "plate.tif"
    tifffile.imwrite(path, GREY, photometric="miniswhite")
    assert read_header(path).is_white_zero


@pytest.mark.parametrize(
    ("file_format", "options"),
    [
        ("JPEG", {"quality": 90}),
        ("JPEG", {"quality": 90, "progressive": True}),
        ("PNG", {}),
        ("TIFF", {}),
        ("TIFF", {"compression": "jpeg"}),
    ],
)
@pytest.mark.parametrize("mode", ["L", "RGB"])
def test_profile_pitch_and_orientation_match_pillow(tmp_path, file_format, options, mode):
    path = tmp_path / "a"
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    exif = Image.Exif()
    exif[274] = 6
    Image.fromarray(RGB).convert(mode).save(
        path, file_format, dpi=(1270, 1270), icc_profile=profile, exif=exif, **options
    )
    header = read_header(path)
    with Image.open(path) as picture:
        orientation = picture.getexif()[274]
    assert header.icc_profile == picture.info["icc_profile"]
    assert header.icc_name == ImageCms.getProfileDescription(ImageCms.ImageCmsProfile(io.BytesIO(profile))).strip()
    assert header.orientation == orientation == 6
    assert header.um_per_px == pytest.approx((20.0, 20.0), rel=2e-5)
    assert header.colour == ("grey" if mode == "L" else "rgb")
    assert (header.layout == "whole") == options.get("progressive", False)


@pytest.mark.parametrize("mode", ["RGB", "RGBA"])
@pytest.mark.parametrize("bits", [8, 16])
def test_heic_is_described_as_libheif_describes_it(tmp_path, mode, bits):
    path = tmp_path / "phone.heic"
    bands = len(mode)
    samples = np.zeros((64, 96, bands), np.uint8 if bits == 8 else np.uint16)
    pillow_heif.from_bytes(mode if bits == 8 else f"{mode};16", (96, 64), samples.tobytes()).save(path)
    header = read_header(path)
    decoded = np.asarray(pillow_heif.open_heif(path, convert_hdr_to_8bit=False))
    assert (header.height_px, header.width_px, header.bands) == decoded.shape
    assert header.bits == 8 * decoded.dtype.itemsize
    assert header.has_alpha == (mode == "RGBA")


def test_the_content_tells_the_format_and_not_the_name(tmp_path):
    path = tmp_path / "really_a_png.tif"
    Image.fromarray(RGB).save(path, "PNG")
    assert read_header(path).format == "png"


def test_the_list_of_tiles_of_a_ten_gigapixel_picture_is_read(tmp_path):
    side, tile = 100_000, 256
    count = (-(-side // tile)) ** 2
    path = tmp_path / "big.tif"
    write_sparse_tiled_bigtiff(path, side=side, tile=tile, count=count)
    header = read_header(path)
    assert header.width_px * header.height_px == 10_000_000_000
    assert header.block_px == (tile, tile)


def write_sparse_tiled_bigtiff(path, *, side, tile, count):
    """Write a BigTIFF whose uncompressed tiles lie in a hole of the file."""
    import struct

    tile_bytes = tile * tile
    lists = 16 + 8 + 20 * 9 + 8
    data = lists + 16 * count
    offsets = np.arange(count, dtype="<u8") * tile_bytes + data
    sizes = np.full(count, tile_bytes, "<u8")
    entries = [
        (256, 4, 1, side), (257, 4, 1, side), (258, 3, 1, 8), (259, 3, 1, 1), (262, 3, 1, 1),
        (322, 4, 1, tile), (323, 4, 1, tile), (324, 16, count, lists),
        (325, 16, count, lists + 8 * count),
    ]  # fmt: skip
    with path.open("wb") as out:
        out.write(b"II" + struct.pack("<HHHQ", 43, 8, 0, 16) + struct.pack("<Q", len(entries)))
        for tag, kind, number, value in entries:
            out.write(struct.pack("<HHQQ", tag, kind, number, value))
        out.write(struct.pack("<Q", 0) + offsets.tobytes() + sizes.tobytes())
        out.truncate(data + count * tile_bytes)


@pytest.mark.parametrize(
    ("given", "shown"),
    [
        ("../../../etc/passwd", "passwd"),
        ("C:\\scans\\oh-0417_xr.tif", "oh-0417_xr.tif"),
        ("a\r\nSet-Cookie: b.tif", "aSet-Cookie: b.tif"),
        ("plate\u202efit.exe", "platefit.exe"),
        ("nul\0.tif", "nul.tif"),
        ("../..", "unnamed file"),
        ("", "unnamed file"),
    ],
)
def test_a_name_is_cleaned_for_display(given, shown):
    assert display_name(given) == shown


def test_a_long_name_keeps_its_start_and_its_ending():
    shown = display_name("a" * 300 + ".tif")
    assert len(shown) <= 120
    assert shown.endswith(".tif")
