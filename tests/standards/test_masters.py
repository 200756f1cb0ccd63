"""Facts about received files, each with its published source."""

import hashlib

import numpy as np
import pytest
import tifffile

from imaging.compute.masters.checksum import copy_with_checksum, sha256_of_file
from imaging.compute.masters.header import read_header
from imaging.compute.masters.jpeg_header import read_jpeg_header
from imaging.compute.masters.limits import DEFAULT_LIMITS
from imaging.compute.masters.master_header import um_per_px_from_density, um_per_px_from_ppi

# One international inch is 25.4 mm exactly (international yard and pound agreement, 1959).
# That 512 ppi stand for 50 µm in film scanning: conservation mailing list, 2001.
PITCHES = [
    (300, 84.667), (400, 63.5), (512, 49.6), (600, 42.333), (1200, 21.167), (1270, 20.0),
    (2540, 10.0),
]  # fmt: skip


@pytest.mark.parametrize(("ppi", "um_per_px"), PITCHES)
def test_pixels_per_inch_are_micrometres_a_pixel(ppi, um_per_px):
    assert um_per_px_from_ppi(ppi) == pytest.approx(um_per_px, abs=0.02)


@pytest.mark.parametrize(("ppi", "um_per_px"), PITCHES)
def test_a_tiff_of_that_density_is_read_so(tmp_path, ppi, um_per_px):
    path = tmp_path / "a.tif"
    # TIFF 6.0, section 8: ResolutionUnit 2 is the inch, 3 the centimetre.
    tifffile.imwrite(path, np.zeros((4, 4), np.uint16), resolution=(ppi, ppi), resolutionunit=2)
    assert read_header(path).um_per_px == pytest.approx((um_per_px, um_per_px), abs=0.02)


def test_two_hundred_pixels_a_centimetre_are_fifty_micrometres():
    assert um_per_px_from_density(200.0, unit_um=10_000.0) == 50.0


@pytest.mark.parametrize(
    ("content", "checksum"),
    [
        # FIPS 180-4 example values (NIST, "SHA-256", one and two blocks), and of nothing.
        (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
        (
            b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
        ),
        (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
    ],
)
def test_the_checksum_is_sha_256(tmp_path, content, checksum):
    path = tmp_path / "a"
    path.write_bytes(content)
    assert sha256_of_file(path) == checksum
    assert copy_with_checksum(path, tmp_path / "b") == checksum


def test_a_million_letters_give_the_published_checksum(tmp_path):
    # FIPS 180-2, appendix B.3: one million times "a".
    path = tmp_path / "a"
    path.write_bytes(b"a" * 1_000_000)
    published = "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"
    assert sha256_of_file(path) == published == hashlib.sha256(b"a" * 1_000_000).hexdigest()


def test_a_picture_beyond_four_gibibytes_is_read_as_bigtiff(tmp_path):
    # Offsets of classic TIFF have 32 bits (TIFF 6.0, section 2): it ends at 2^32 bytes. The
    # file here is one hole of more than that, written by tifffile.
    path = tmp_path / "big.tif"
    side = 46_400
    tifffile.imwrite(path, shape=(side, side), dtype=np.uint16, bigtiff=True)
    assert path.stat().st_size > 2**32
    header = read_header(path)
    assert header.format == "bigtiff"
    assert header.decoded_bytes == 2 * side * side


def test_no_jpeg_is_wider_than_its_sixteen_bits_can_say(tmp_path):
    # ITU-T T.81, B.2.2: the sizes of the frame header have 16 bits, so a side ends at 65,535 px.
    frame = b"\xff\xc0\x00\x0b\x08\xff\xff\xff\xff\x01\x01\x11\x00"
    scan = b"\xff\xda\x00\x08\x01\x01\x00\x00\x3f\x00"
    path = tmp_path / "a.jpg"
    path.write_bytes(b"\xff\xd8" + frame + scan)
    with path.open("rb") as stream:
        header = read_jpeg_header(stream, file_name="a.jpg", file_bytes=2**33, limits=DEFAULT_LIMITS)
    assert (header.width_px, header.height_px) == (65_535, 65_535)
