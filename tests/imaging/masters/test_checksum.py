"""Checksums while reading and while copying aside."""

import hashlib

import pytest

from imaging import errors
from imaging.compute.masters import checksum
from imaging.compute.masters.checksum import copy_with_checksum, sha256_of_file, verify_checksum

CONTENT = bytes(range(256)) * 40_000


@pytest.fixture
def folder(tmp_path):
    path = tmp_path / "masters"
    path.mkdir()
    return path


@pytest.fixture
def master(folder):
    path = folder / "master.tif"
    path.write_bytes(CONTENT)
    return path


def test_the_checksum_is_that_of_the_whole_file(master):
    assert sha256_of_file(master) == hashlib.sha256(CONTENT).hexdigest()


def test_progress_ends_at_the_size_of_the_file(master):
    seen = []
    sha256_of_file(master, progress=lambda done, total: seen.append((done, total)))
    assert len(seen) == 3
    assert seen[-1] == (len(CONTENT), len(CONTENT))


def test_a_copy_is_the_same_and_leaves_no_part(master, folder):
    target = folder / "kept"
    assert copy_with_checksum(master, target) == hashlib.sha256(CONTENT).hexdigest()
    assert target.read_bytes() == CONTENT
    assert sorted(each.name for each in folder.iterdir()) == ["kept", "master.tif"]


def test_a_cancelled_copy_leaves_nothing(master, folder):
    answers = iter([False, True])
    with pytest.raises(errors.WorkCancelledError, match=r"master\.tif was stopped on request"):
        copy_with_checksum(master, folder / "kept", is_cancelled=lambda: next(answers))
    assert [each.name for each in folder.iterdir()] == ["master.tif"]


def test_a_full_disk_is_told_before_the_first_byte(master, folder, monkeypatch):
    monkeypatch.setattr(checksum, "_free_bytes", lambda folder: 1000)
    with pytest.raises(errors.NoDiskSpaceError, match=r"needs 10,240,000 bytes .* 1,000 are free"):
        copy_with_checksum(master, folder / "kept")
    assert [each.name for each in folder.iterdir()] == ["master.tif"]


def test_a_source_that_shrinks_is_told(master, folder):
    def shrink(done, total):
        if done < total:
            with master.open("r+b") as stream:
                stream.truncate(5 * 2**20)

    with pytest.raises(errors.TruncatedFileError, match="needs 10,240,000 bytes"):
        copy_with_checksum(master, folder / "kept", progress=shrink)
    assert [each.name for each in folder.iterdir()] == ["master.tif"]


def test_an_older_copy_survives_a_failed_one(master, folder):
    target = folder / "kept"
    target.write_bytes(b"older")
    with pytest.raises(errors.WorkCancelledError, match="stopped"):
        copy_with_checksum(master, target, is_cancelled=lambda: True)
    assert target.read_bytes() == b"older"


def test_one_changed_byte_is_found(master):
    recorded = sha256_of_file(master)
    verify_checksum(master, recorded.upper())
    with master.open("r+b") as stream:
        stream.seek(5_000_000)
        stream.write(b"!")
    with pytest.raises(errors.ChecksumMismatchError, match=f"{recorded} was recorded"):
        verify_checksum(master, recorded)
