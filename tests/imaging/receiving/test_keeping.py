"""What is kept can be checked, corrected with history, and freed by choice; a master never is."""

from __future__ import annotations

import contextlib
import json
import os

import pytest
from django.core.management import CommandError, call_command

from imaging.errors import FieldRefusedError, UnfitStateError, WorkCancelledError
from imaging.models import JobKind, JobStatus, PyramidKind, TechnicalImage, Upload
from imaging.services import reading
from imaging.services.correcting import correct_image, corrections_of, effects_of_correction
from imaging.services.job_runs import run_job_here
from imaging.services.jobs import start_job, unfinished_jobs
from imaging.services.storage import free_pieces, freeable_pieces, space_of_folders, space_of_images
from imaging.services.storage_paths import absolute_path
from imaging.services.tasks import HANDLERS
from imaging.services.uploading import begin_upload, upload_path
from tests.factories import make_frame
from tests.imaging.receiving.pictures import write_master


@pytest.fixture
def image(read, tmp_path, studio):
    """Return an image that is read and published."""
    make_frame(studio.face, canvas_pitch_mm=0.5)
    image = read(write_master(tmp_path / "a.tif"), um_per_px="1000").image
    work_off()
    image.refresh_from_db()
    return image


def work_off():
    while job := unfinished_jobs().order_by("wanted_at").first():
        assert run_job_here(job, HANDLERS).status == JobStatus.DONE


def verify(capsys):
    capsys.readouterr()
    with contextlib.suppress(CommandError):
        call_command("verify", "--json")
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def problems(capsys):
    return {finding["kind"]: finding["problem"] for finding in verify(capsys) if not finding["holds"]}


def test_all_holds_after_an_undisturbed_run(image, capsys):
    findings = verify(capsys)
    assert {finding["kind"] for finding in findings} == {
        "master",
        "reading",
        "raw_display",
        "display",
        "image",
        "registration",
    }
    assert all(finding["holds"] for finding in findings)
    image.master.refresh_from_db()
    assert image.master.checked_at is not None


def test_one_changed_byte_of_a_master_is_found(image, capsys):
    path = absolute_path(image.master.path)
    data = bytearray(path.read_bytes())
    data[-1] ^= 1
    path.chmod(0o644)
    path.write_bytes(bytes(data))
    assert problems(capsys) == {"master": "has another SHA-256 than recorded; its bytes have changed"}


def test_a_missing_pyramid_is_found_and_made_again_with_the_same_bytes(image, capsys):
    lost = image.pyramids.get(kind=PyramidKind.DISPLAY)
    absolute_path(lost.path).unlink()
    assert "cannot be read" in problems(capsys)["display"]
    with pytest.raises(CommandError, match="1 of") as caught:
        call_command("verify", "--repair")
    assert caught.value.returncode == 1
    work_off()
    assert problems(capsys) == {}
    assert image.pyramids.get(kind=PyramidKind.DISPLAY, is_current=True).sha256 == lost.sha256


def test_a_file_that_no_row_knows_is_found(image, data_folder, capsys):
    stray = data_folder / "masters" / "ab" / ("ab" * 32) / "stray.tif"
    stray.parent.mkdir(parents=True)
    stray.write_bytes(b"stray")
    assert problems(capsys) == {"file": "belongs to no row; nothing refers to it"}


def test_a_cancelled_reading_leaves_no_derived_file(bring_in, tmp_path, data_folder, capsys, monkeypatch):
    def cancelled(run, *_, **__):
        run.is_stop_wanted = True
        raise WorkCancelledError(file_name="a.tif")

    monkeypatch.setattr(reading, "build_raw_display", cancelled)
    came = bring_in(write_master(tmp_path / "a.tif"))
    assert run_job_here(came.job, HANDLERS).status == JobStatus.CANCELLED
    assert problems(capsys) == {}
    assert list((data_folder / "pyramids").rglob("*.tif")) == []


def test_the_verify_job_counts_what_holds(image, studio):
    done = run_job_here(start_job(JobKind.VERIFY, study=studio.study), HANDLERS)
    assert done.result == {"checked": 6, "problems": [], "problem_count": 0}


def test_a_correction_keeps_the_words_before_and_their_author(image, studio):
    correct_image(image, changes={"title": "with the frame", "distance_mm": 900.0}, editor=studio.contributor)
    image = correct_image(image, changes={"distance_mm": 950.0}, editor=studio.lead)
    newest = corrections_of(image)[0]
    assert (newest.field, newest.before, newest.after, newest.editor) == (
        "distance_mm",
        900.0,
        950.0,
        studio.lead.name,
    )
    assert newest.sentence == "distance, mm: 900 became 950"
    assert [row.field for row in corrections_of(image)[1:]] == ["distance_mm", "title"]


def test_a_corrected_scale_makes_a_candidate_and_moves_nothing(image, studio):
    accepted = image.registrations.get()
    changes = {"stated_um_per_px": 990.0}
    assert effects_of_correction(image, changes) == [
        "A new registration with this scale awaits judgement; until then nothing moves."
    ]
    correct_image(image, changes=changes, editor=studio.lead)
    accepted.refresh_from_db()
    assert accepted.status == "accepted"
    assert image.registrations.get(version=2).status == "candidate"


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"sha256": "0"}, "sha256 is not open to correction"),
        ({"band_from_nm": 900.0, "band_to_nm": 700.0}, "less than 700 nm"),
        ({"stated_um_per_px": -1.0}, "from 0.01"),
    ],
)
def test_a_correction_that_cannot_be_is_refused(image, studio, changes, words):
    with pytest.raises(FieldRefusedError, match=words):
        correct_image(image, changes=changes, editor=studio.lead)


def test_a_corrected_polarity_turns_the_display(image, studio):
    correct_image(image, changes={"polarity": "black_is_dense"}, editor=studio.lead)
    image.refresh_from_db()
    assert image.tone["is_inverted"] is True


def test_space_is_told_per_image(image):
    images = TechnicalImage.objects.filter(pk=image.pk)
    row = space_of_images(images)[0]
    sizes = {pyramid.kind: pyramid.size_bytes for pyramid in image.pyramids.all()}
    assert row.master_bytes == image.master.size_bytes
    assert row.levels_bytes == sizes["reading"]
    assert row.tiles_bytes == sizes["raw_display"] + sizes["display"]
    assert row.replaced_bytes == 0
    assert space_of_folders()["pyramids"] == sum(sizes.values())


def test_a_chosen_piece_is_freed_and_can_be_made_again(image, studio, capsys):
    images = TechnicalImage.objects.filter(pk=image.pk)
    pieces = freeable_pieces(images)
    assert {piece.pyramid.kind for piece in pieces} == {"reading", "raw_display"}
    levels = next(piece for piece in pieces if piece.pyramid.kind == "reading")
    assert free_pieces([levels], freed_by=studio.lead) == levels.size_bytes
    assert not absolute_path(levels.pyramid.path).exists()
    assert problems(capsys) == {}
    start_job(JobKind.READ, image=image)
    work_off()
    again = image.pyramids.get(kind="reading", is_current=True)
    assert (again.sha256, again.freed_at) == (levels.pyramid.sha256, None)
    assert problems(capsys) == {}


def test_what_is_in_use_is_never_freed(image, studio):
    pieces = freeable_pieces(TechnicalImage.objects.filter(pk=image.pk))
    start_job(JobKind.READ, image=image)
    with pytest.raises(UnfitStateError, match="Wait for its jobs"):
        free_pieces(pieces, freed_by=studio.lead)
    assert absolute_path(image.master.path).exists()
    assert all(piece.pyramid.kind != "display" for piece in pieces)


def test_an_upload_that_nobody_goes_on_with_can_be_freed(image, studio):
    images = TechnicalImage.objects.filter(pk=image.pk)
    fields = {"modality": "VIS", "state": "after"}
    upload = begin_upload(studio.contributor, face_id=str(studio.face.pk), size_bytes=10, name="x.tif", fields=fields)
    upload_path(upload.pk).write_bytes(b"12345")
    assert all(piece.upload is None for piece in freeable_pieces(images))
    os.utime(upload_path(upload.pk), (1, 1))
    left = [piece for piece in freeable_pieces(images) if piece.upload == upload]
    assert free_pieces(left, freed_by=studio.lead) == 5
    assert not upload_path(upload.pk).exists()
    assert not Upload.objects.exists()
