"""Damage that the decoder does not see is found by the checksum of each block (RFC 1950)."""

import zlib

import numpy as np
import pytest
import tifffile

from imaging.compute.masters import deflate_check
from imaging.compute.masters.deflate_check import refuse_damaged_deflate
from imaging.compute.masters.header import read_header
from imaging.compute.masters.pixels import check_master, read_every_pixel
from imaging.errors import DamagedFileError
from tests.imaging.receiving.pictures import write_master

NOISE = np.random.default_rng(5).integers(20_000, 21_000, (480, 640, 3)).astype(np.uint16)


def written(tmp_path, **options):
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, NOISE, photometric="rgb", metadata=None, compression="deflate", **options)
    return path


def damage(path, *, block, bytes_from_start):
    with tifffile.TiffFile(path) as tiff:
        place = tiff.pages[0].dataoffsets[block] + bytes_from_start
    content = bytearray(path.read_bytes())
    content[place] ^= 0x55
    path.write_bytes(content)


@pytest.mark.parametrize("options", [{"rowsperstrip": 64}, {"tile": (256, 256)}, {"rowsperstrip": 64, "predictor": 2}])
def test_one_changed_byte_in_the_middle_of_a_block_is_found(tmp_path, options):
    path = written(tmp_path, **options)
    refuse_damaged_deflate(path, read_header(path))
    damage(path, block=2, bytes_from_start=5000)
    with pytest.raises(DamagedFileError, match=r"a\.tif is damaged.*(strip|tile) 2: "):
        refuse_damaged_deflate(path, read_header(path))


def test_damage_that_the_decoder_passes_in_silence_is_refused(tmp_path):
    path = write_master(tmp_path / "a.tif", compression="deflate")
    content = bytearray(path.read_bytes())
    middle = len(content) // 2
    content[middle : middle + 2000] = bytes(2000)
    path.write_bytes(content)
    read_every_pixel(path)
    with pytest.raises(DamagedFileError, match=r"a\.tif is damaged.*strip 3: incorrect data check"):
        check_master(path)


def test_a_block_without_its_checksum_is_left_to_the_decoder():
    whole = zlib.compress(b"x" * 1000)
    assert deflate_check._problem(whole) == ""
    assert deflate_check._problem(whole[:-4]) == ""
    assert "incorrect data check" in deflate_check._problem(whole[:-1] + b"?")


def test_other_compressions_pass_unread(tmp_path):
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, NOISE, photometric="rgb", metadata=None)
    refuse_damaged_deflate(path, read_header(path))
