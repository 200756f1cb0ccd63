"""Bringing a file in: kept aside, never altered, nothing half done."""

from __future__ import annotations

import hashlib
import os
import stat
import uuid

import pytest

from imaging.errors import (
    ChecksumMismatchError,
    EmptyFileError,
    FieldRefusedError,
    FileUnreadableError,
    RoleNeededError,
    UnknownFormatError,
    UploadTooLargeError,
)
from imaging.models import ImageStatus, Job, Role, StoredFile, TechnicalImage
from imaging.services.master_files import Incoming, Receipt, safe_name, sweep_incoming
from imaging.services.receiving import bring_in_image
from imaging.services.slips import read_slip
from imaging.services.storage_paths import absolute_path
from tests.factories import make_artwork, make_face, make_member, make_study
from tests.imaging.receiving.pictures import painted, write_master


def files_below(folder):
    return sorted(path for path in folder.rglob("*") if path.is_file())


def test_a_master_is_kept_aside_under_its_checksum_and_read_only(bring_in, tmp_path, data_folder):
    source = write_master(tmp_path / "oh-0417_vis_bt_front_v01.tif", um_per_px=50)
    sha256 = hashlib.sha256(source.read_bytes()).hexdigest()
    image = bring_in(source).image
    kept = absolute_path(image.master.path)
    assert kept == data_folder / "masters" / sha256[:2] / sha256 / "oh-0417_vis_bt_front_v01.tif"
    assert kept.read_bytes() == source.read_bytes()
    assert stat.S_IMODE(kept.stat().st_mode) == 0o444
    assert (image.width_px, image.height_px, image.sample_format) == (640, 480, "u16")
    assert image.file_um_per_px == pytest.approx(50.0)
    assert image.status == ImageStatus.WAITING


def test_the_source_of_a_copy_is_left_as_it_was(bring_in, tmp_path):
    source = write_master(tmp_path / "a.tif")
    before = source.read_bytes(), source.stat().st_mode
    bring_in(source)
    assert (source.read_bytes(), source.stat().st_mode) == before


def test_a_master_in_place_is_neither_copied_nor_written(bring_in, tmp_path, data_folder):
    source = write_master(tmp_path / "a.tif")
    source.chmod(0o400)
    incoming = Incoming(path=source, name=source.name, receipt=Receipt.IN_PLACE)
    image = bring_in(source, incoming=incoming).image
    assert image.master.is_in_place
    assert absolute_path(image.master.path) == source
    assert files_below(data_folder) == []


def test_a_master_in_place_that_changed_since_is_refused(bring_in, tmp_path):
    source = write_master(tmp_path / "a.tif")
    incoming = Incoming(path=source, name=source.name, receipt=Receipt.IN_PLACE)
    bring_in(source, incoming=incoming)
    write_master(source, painted(seed=8))
    with pytest.raises(ChecksumMismatchError, match=r"a\.tif has the SHA-256"):
        bring_in(source, incoming=incoming)


def test_the_same_bytes_are_found_and_said(bring_in, tmp_path):
    first = bring_in(write_master(tmp_path / "a.tif")).image
    second = bring_in(write_master(tmp_path / "b.tif"))
    assert second.duplicates == (first,)


def test_the_same_bytes_in_another_study_are_not_told(bring_in, tmp_path):
    stranger = make_member(make_study(), Role.LEAD)
    elsewhere = make_face(make_artwork(stranger.memberships.get().study))
    source = write_master(tmp_path / "a.tif")
    slip = read_slip({"modality": "VIS", "state": "before"})
    bring_in_image(Incoming(path=source, name="secret.tif"), slip, face=elsewhere, person=stranger)
    assert bring_in(write_master(tmp_path / "b.tif")).duplicates == ()


def test_pictures_of_one_name_become_versions(bring_in, tmp_path):
    first = bring_in(write_master(tmp_path / "a.tif")).image
    second = bring_in(write_master(tmp_path / "b.tif", painted(seed=8))).image
    assert (first.version, second.version, second.supersedes) == (1, 2, first)


def test_another_light_is_another_picture_and_supersedes_nothing(bring_in, tmp_path):
    bring_in(write_master(tmp_path / "a.tif"), modality="RAK", light_azimuth_deg="0")
    second = bring_in(write_master(tmp_path / "b.tif"), modality="RAK", light_azimuth_deg="180").image
    assert second.supersedes is None


def test_a_version_that_is_there_already_is_refused(bring_in, tmp_path):
    bring_in(write_master(tmp_path / "a.tif"), version="3")
    with pytest.raises(FieldRefusedError, match=r"version is 3, which is there already; needed is 4"):
        bring_in(write_master(tmp_path / "b.tif"), version="3")


def test_readers_bring_nothing_in(bring_in, tmp_path, studio):
    with pytest.raises(RoleNeededError, match="needs the role contributor"):
        bring_in(write_master(tmp_path / "a.tif"), person=studio.reader)


def test_bringing_in_twice_under_one_id_makes_one_image(bring_in, tmp_path, studio):
    source, image_id = write_master(tmp_path / "a.tif"), uuid.uuid4()
    incoming = Incoming(path=source, name="a.tif", image_id=image_id)
    first, second = bring_in(source, incoming=incoming), bring_in(source, incoming=incoming)
    assert first.image == second.image
    assert first.job == second.job
    assert TechnicalImage.objects.count() == Job.objects.count() == 1


@pytest.mark.parametrize(
    ("content", "error", "match"),
    [
        (b"", EmptyFileError, r"bad\.tif is empty \(0 bytes\)"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", UnknownFormatError, r"bad\.tif holds an SVG drawing"),
        (b"%PDF-1.7", UnknownFormatError, r"bad\.tif holds a PDF document"),
    ],
)
def test_a_bad_file_is_named_and_nothing_is_touched(bring_in, tmp_path, data_folder, content, error, match):
    bad = tmp_path / "bad.tif"
    bad.write_bytes(content)
    with pytest.raises(error, match=match):
        bring_in(bad)
    assert TechnicalImage.objects.count() == StoredFile.objects.count() == Job.objects.count() == 0
    assert files_below(data_folder) == []


def test_a_missing_file_and_a_folder_are_named(bring_in, tmp_path):
    with pytest.raises(FileUnreadableError, match=r"gone\.tif cannot be read: No such file"):
        bring_in(tmp_path / "gone.tif")
    with pytest.raises(FileUnreadableError, match="it is no ordinary file"):
        bring_in(tmp_path)


def test_a_file_over_the_limit_is_refused_before_it_is_read(bring_in, tmp_path, settings):
    settings.MAX_UPLOAD_BYTES = 1000
    with pytest.raises(UploadTooLargeError, match="at most 1,000 are accepted"):
        bring_in(write_master(tmp_path / "a.tif"))


@pytest.mark.parametrize(
    "name",
    ["../../etc/passwd", "..\\..\\boot.ini", "/etc/shadow", "a/../../b.tif", "\x00evil.tif", "..", ".hidden", "-rf"],
)
def test_no_name_reaches_out_of_its_folder(bring_in, tmp_path, data_folder, name):
    source = write_master(tmp_path / "a.tif")
    image = bring_in(source, incoming=Incoming(path=source, name=name)).image
    kept = absolute_path(image.master.path).resolve()
    assert kept.parent == data_folder / "masters" / image.master.sha256[:2] / image.master.sha256
    assert not kept.name.startswith((".", "-"))
    assert files_below(data_folder) == [kept]


def test_safe_names_are_ascii_and_short():
    assert safe_name("Blåe Krug – Röntgen.tif") == "Blae_Krug_Rontgen.tif"
    assert safe_name("日本") == "master"
    assert len(safe_name("a" * 500 + ".tif")) <= 120
    assert safe_name("a" * 500 + ".tif").endswith(".tif")


def test_a_failure_after_the_copy_leaves_no_file(bring_in, tmp_path, data_folder):
    bring_in(write_master(tmp_path / "a.tif"), version="1")
    known = files_below(data_folder)
    with pytest.raises(FieldRefusedError, match="version is 1"):
        bring_in(write_master(tmp_path / "b.tif", painted(seed=9)), version="1")
    assert files_below(data_folder) == known


def test_what_a_killed_process_left_is_swept(db, data_folder):
    incoming = data_folder / "masters" / ".incoming"
    incoming.mkdir(parents=True)
    old_part = incoming / "1.part"
    old_part.write_bytes(b"half")
    os.utime(old_part, (1, 1))
    placed = data_folder / "masters" / "ab" / ("ab" * 32) / "a.tif"
    placed.parent.mkdir(parents=True)
    placed.write_bytes(b"whole but without a row")
    (incoming / "2.place").write_text(str(placed.relative_to(data_folder)))
    assert sweep_incoming() == 2
    assert files_below(data_folder) == []


def test_a_placed_master_with_a_row_survives_the_sweep(bring_in, tmp_path, data_folder):
    image = bring_in(write_master(tmp_path / "a.tif")).image
    (data_folder / "masters" / ".incoming" / "2.place").write_text(image.master.path)
    sweep_incoming()
    assert absolute_path(image.master.path).exists()


def test_a_wrong_announced_checksum_is_refused(bring_in, tmp_path, data_folder):
    source = write_master(tmp_path / "a.tif")
    with pytest.raises(ChecksumMismatchError, match="0000"):
        bring_in(source, incoming=Incoming(path=source, name="a.tif", sha256="0" * 64))
    assert files_below(data_folder) == []
