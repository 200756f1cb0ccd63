"""Files that cannot be masters are refused on their header, with file, numbers and remedy."""

import io
import struct
import time

import numpy as np
import pytest
import tifffile
from PIL import Image

from imaging import errors
from imaging.compute.masters.header import read_header
from imaging.compute.masters.limits import MasterLimits

from . import hostile_files as hostile

GREY = np.arange(64 * 64, dtype=np.uint16).reshape(64, 64)
TIFF = hostile.tiff_bytes()
SVG = b'<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg" width="30000"/>'


def jpeg_of(*, mode="RGB", **options):
    out = io.BytesIO()
    Image.new(mode, (64, 64)).save(out, "JPEG", **options)
    return out.getvalue()


def tiff_of(pixels, **options):
    out = io.BytesIO()
    tifffile.imwrite(out, pixels, **options)
    return out.getvalue()


def png_of(mode):
    out = io.BytesIO()
    Image.new(mode, (64, 64)).save(out, "PNG")
    return out.getvalue()


REFUSED = {
    "0 bytes": (b"", errors.EmptyFileError, "0 bytes"),
    "an SVG named tif": (SVG, errors.UnknownFormatError, "SVG drawing"),
    "a PDF": (b"%PDF-1.7\n", errors.UnknownFormatError, "PDF"),
    "a sign-in page": (b"<!DOCTYPE html><title>Sign in", errors.UnknownFormatError, "web page"),
    "zeros": (bytes(4096), errors.UnknownFormatError, "only zero bytes"),
    "noise": (b"\x07\x08" * 50, errors.UnknownFormatError, "07 08"),
    "two bytes": (b"II", errors.UnknownFormatError, "49 49"),
    "only a TIFF start": (b"II*\0\x08\0\0\0", errors.TruncatedFileError, "image directory"),
    "no directory": (b"II*\0\0\0\0\0", errors.DamagedFileError, "no image directory"),
    "a cut TIFF": (
        tiff_of(GREY)[:-100],
        errors.TruncatedFileError,
        "last strip or tile needs 8",
    ),
    "1-bit": (hostile.tiff_bytes(bits=1), errors.UnsupportedSampleError, "1-bit whole numbers"),
    "12-bit": (hostile.tiff_bytes(bits=12), errors.UnsupportedSampleError, "12-bit"),
    "signed": (tiff_of(GREY.astype("i2")), errors.UnsupportedSampleError, "16-bit .* with sign"),
    "double": (tiff_of(GREY.astype("f8")), errors.UnsupportedSampleError, "64-bit floating"),
    "half": (tiff_of(GREY.astype("f2")), errors.UnsupportedSampleError, "16-bit floating"),
    "CMYK": (
        tiff_of(np.zeros((8, 8, 4), np.uint8), photometric="separated"),
        errors.UnsupportedColourError,
        "CMYK .* Convert it to RGB",
    ),
    "palette": (
        hostile.tiff_bytes(photometric=3),
        errors.UnsupportedColourError,
        "palette .* Save it as RGB",
    ),
    "Lab": (
        tiff_of(np.zeros((8, 8, 3), np.uint8), photometric="cielab"),
        errors.UnsupportedColourError,
        r"L\*a\*b\*",
    ),
    "camera file": (
        hostile.tiff_bytes(photometric=32803, bits=16),
        errors.UnsupportedColourError,
        "undeveloped",
    ),
    "Zstandard": (
        hostile.tiff_bytes(compression=50000),
        errors.UnsupportedCompressionError,
        "Zstandard",
    ),
    "unknown method": (
        hostile.tiff_bytes(compression=777),
        errors.UnsupportedCompressionError,
        "method 777",
    ),
    "no width": (hostile.tiff_bytes(width=0, data=b"1"), errors.DamagedFileError, "0 × 8 px"),
    "huge side": (
        hostile.tiff_bytes(width=2**31 - 1, data=b"1"),
        errors.HugeClaimError,
        "2,147,483,647 px along one side; at most 300,000",
    ),
    "many bands": (
        hostile.tiff_bytes(samples=65535, data=b"1"),
        errors.HugeClaimError,
        "65,535 bands",
    ),
    "uncompressed giant": (
        hostile.tiff_bytes(width=100_000, height=100_000, data=bytes(64)),
        errors.ImplausibleSizeError,
        "100,000 × 100,000 px",
    ),
    "strips sharing bytes": (
        hostile.shared_strips_tiff(side=100_000, strip=bytes(100)),
        errors.DamagedFileError,
        "overlap",
    ),
    "deflate beyond its largest ratio": (
        hostile.tiff_bytes(width=100_000, height=100_000, compression=8, data=bytes(9000)),
        errors.ImplausibleSizeError,
        "can hold at most 9,288,000",
    ),
    "one strip of nothing": (
        hostile.tiff_bytes(strip_bytes=0),
        errors.DamagedFileError,
        "empty",
    ),
    "strip beyond the end": (
        hostile.tiff_bytes(strip_offset=2**32 - 1),
        errors.TruncatedFileError,
        "Copy it again",
    ),
    "tag of 2^31 values": (
        hostile.tiff_bytes(extra=[(34675, 7, 8, 2**31)]),
        errors.OversizedTagError,
        "tag 34675 of 2,147,483,648 bytes",
    ),
    "tag beyond the end": (
        hostile.tiff_bytes(extra=[(34675, 7, 2**20, 5000)]),
        errors.TruncatedFileError,
        "tag 34675",
    ),
    "huge tile": (
        hostile.tiff_bytes(extra=[(322, 4, 65536), (323, 4, 65536), (324, 4, 8), (325, 4, 64)]),
        errors.HugeClaimError,
        "bytes in one tile",
    ),
    "70,000 directories": (
        hostile.chain_of_directories(70_000),
        errors.TooManyPagesError,
        "more than 1,024 pictures",
    ),
    "progressive giant": (
        hostile.with_jpeg_size(jpeg_of(progressive=True) + bytes(20 * 2**20), width=65_500, height=65_500),
        errors.WholePictureError,
        "progressive JPEG",
    ),
    "JPEG with a forged size": (
        hostile.with_jpeg_size(jpeg_of(), width=65_500, height=65_500),
        errors.ImplausibleSizeError,
        "65,500 × 65,500",
    ),
    "CMYK JPEG": (jpeg_of(mode="CMYK"), errors.UnsupportedColourError, "CMYK"),
    "JPEG without pixels": (
        b"\xff\xd8\xff\xe0\x00\x10JFIF\0" + bytes(9),
        errors.TruncatedFileError,
        "JPEG header",
    ),
    "interlaced giant": (
        hostile.png_bytes(width=60_000, height=60_000, interlace=1, data=bytes(3_700_000)) + bytes(5_000_000),
        errors.WholePictureError,
        "interlaced PNG",
    ),
    "PNG with a forged size": (
        hostile.png_bytes(width=100_000, height=100_000),
        errors.ImplausibleSizeError,
        "100,000 × 100,000",
    ),
    "palette PNG": (png_of("P"), errors.UnsupportedColourError, "palette"),
    "1-bit PNG": (png_of("1"), errors.UnsupportedSampleError, "1-bit"),
    "PNG of no height": (
        hostile.png_bytes(width=8, height=0),
        errors.DamagedFileError,
        "8 × 0 px",
    ),
    "PNG header changed": (
        png_of("L").replace(struct.pack(">II", 64, 64), struct.pack(">II", 64, 65)),
        errors.DamagedFileError,
        "check sum",
    ),
    "cut PNG": (png_of("L")[:30], errors.TruncatedFileError, "PNG chunk needs 33 bytes, the file has 30"),
    "profile chunk of 20 MB": (
        hostile.png_bytes(width=8, height=8, chunks=[(b"iCCP", bytes(20 * 2**20))]),
        errors.OversizedTagError,
        "colour profile",
    ),
}


@pytest.mark.parametrize("case", REFUSED)
def test_it_is_refused_at_once_and_says_why(tmp_path, case):
    content, error, words = REFUSED[case]
    path = hostile.write(tmp_path, "plate 7.tif", content)
    began = time.process_time()
    with pytest.raises(error, match=words) as caught:
        read_header(path)
    assert time.process_time() - began < 1.0
    assert str(caught.value).startswith("plate 7.tif ")
    assert str(caught.value).rstrip().endswith(".")
    assert path.read_bytes() == content


def test_a_directory_that_leads_to_itself_is_refused(tmp_path):
    place = hostile.directory_place(TIFF)
    path = hostile.write(tmp_path, "a.tif", hostile.tiff_bytes(next_offset=place))
    with pytest.raises(errors.DirectoryLoopError, match=f"byte {place:,}"):
        read_header(path)


def test_a_sub_directory_that_leads_to_its_parent_is_refused(tmp_path):
    place = hostile.directory_place(TIFF)
    path = hostile.write(tmp_path, "a.tif", hostile.tiff_bytes(extra=[(330, 4, place)]))
    with pytest.raises(errors.DirectoryLoopError, match="lead back"):
        read_header(path)


def test_the_name_given_by_the_sender_is_cleaned_in_the_message(tmp_path):
    path = hostile.write(tmp_path, "0190-aa", b"")
    with pytest.raises(errors.EmptyFileError, match=r"^passwd is empty"):
        read_header(path, name="../../etc/passwd")


def test_limits_can_be_narrowed(tmp_path):
    path = hostile.write(tmp_path, "a.tif", TIFF)
    with pytest.raises(errors.HugeClaimError, match="64 pixels; at most 63"):
        read_header(path, limits=MasterLimits(max_pixels=63))


def test_an_unknown_private_tag_does_no_harm(tmp_path):
    path = hostile.write(tmp_path, "a.tif", hostile.tiff_bytes(extra=[(65_000, 99, 5)]))
    assert read_header(path).width_px == 8


def test_every_refusal_keeps_template_and_values_for_translation(tmp_path):
    path = hostile.write(tmp_path, "a.tif", hostile.tiff_bytes(bits=1))
    with pytest.raises(errors.UnsupportedSampleError, match="1-bit") as caught:
        read_header(path)
    error = caught.value
    assert error.template.format(file_name=error.file_name, **error.values) == str(error)
    assert error.code == "unsupported_sample"


def test_random_damage_never_escapes_as_another_error(tmp_path):
    generator = np.random.default_rng(20)
    start = [tiff_of(GREY, tile=(16, 16), compression="zlib"), jpeg_of(), png_of("RGB"), TIFF]
    for number in range(240):
        content = bytearray(start[number % len(start)])
        for place in generator.integers(0, min(len(content), 600), 4):
            content[place] = generator.integers(0, 256)
        path = hostile.write(tmp_path, "a.tif", bytes(content[: generator.integers(1, len(content))]))
        try:
            read_header(path)
        except errors.MasterFileError:
            continue
