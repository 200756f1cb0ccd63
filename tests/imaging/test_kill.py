"""Workers killed at random instants: what comes out is what an undisturbed run gives, byte for byte."""

from __future__ import annotations

import os
import random
import signal
import time

import numpy as np
import pytest
from django.core.management import call_command

from imaging.models import ImageStatus, Job, JobStatus, Pyramid, Role, StoredFile, TechnicalImage
from imaging.services.jobs import unfinished_jobs
from imaging.services.master_files import Incoming
from imaging.services.receiving import bring_in_image
from imaging.services.slips import read_slip
from tests.factories import make_artwork, make_face, make_frame, make_member, make_study
from tests.imaging.receiving.pictures import painted, write_master
from tests.imaging.receiving.processes import command

pytestmark = [pytest.mark.slow, pytest.mark.django_db(transaction=True)]

KILLS = 6
#: READ and PUBLISH of one picture here take about this long on two cores, the start of the guarded child included.
LONGEST_INSTANT_S = 2.0
PATIENCE_S = 60.0
INGEST_KILLS = 4
#: Copying, hashing and placing the master of that test takes about this long.
LONGEST_COPY_S = 0.4


def wait_until(condition):
    deadline_s = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < deadline_s, list(Job.objects.values_list("kind", "status", "stage", "error"))
        time.sleep(0.01)


@pytest.fixture
def bring_in(tmp_path):
    """Return a function that brings two pictures of one work in, and what they are called."""
    study = make_study()
    face = make_face(make_artwork(study, width_mm=640.0, height_mm=480.0))
    make_frame(face, canvas_pitch_mm=0.25)
    person = make_member(study, Role.LEAD)
    colour = write_master(tmp_path / "vis.tif", painted(1600, 1200), compression="deflate", tile=(256, 256))
    grey = write_master(tmp_path / "irr.tif", painted(1280, 960, bands=1)[..., 0])
    slips = {colour: {"modality": "VIS", "um_per_px": "400"}, grey: {"modality": "IRR", "um_per_px": "500"}}

    def call():
        return [
            bring_in_image(
                Incoming(path=path, name=path.name),
                read_slip({**fields, "state": "before"}),
                face=face,
                person=person,
            ).image
            for path, fields in slips.items()
        ]

    return call


def checksums_of(images):
    rows = Pyramid.objects.filter(image__in=images, is_current=True)
    return {(row.image.modality, row.kind): row.sha256 for row in rows.select_related("image")}


def test_killed_workers_change_no_byte_of_the_result(bring_in, data_folder):
    undisturbed = bring_in()
    with command(data_folder, "worker"):
        wait_until(lambda: not unfinished_jobs().exists())
    expected = checksums_of(undisturbed)
    assert set(expected) == {(m, k) for m in ("VIS", "IRR") for k in ("reading", "raw_display", "display")}

    seed = random.SystemRandom().randrange(10**9)
    instants, disturbed = random.Random(seed), bring_in()
    stages: list[tuple[str, str]] = []
    for kill in range(KILLS):
        if not unfinished_jobs().exists():
            disturbed += bring_in()
        with command(data_folder, "worker") as process:
            wait_until(lambda: unfinished_jobs().filter(status=JobStatus.RUNNING, attempts__gt=0).exists())
            time.sleep(instants.uniform(0.0, LONGEST_INSTANT_S))
            # Alone, its guarded child must notice; as a group, everything dies in one instant.
            (os.kill if kill % 2 else os.killpg)(process.pid, signal.SIGKILL)
            process.wait()
        stages += unfinished_jobs().values_list("kind", "stage")
    # Any number of workers may take up what was left.
    with command(data_folder, "worker"), command(data_folder, "worker"):
        call_command("jobs", "--wait")

    assert not Job.objects.exclude(status=JobStatus.DONE).exists(), f"seed {seed}"
    for image in disturbed:
        image.refresh_from_db()
        assert image.status == ImageStatus.PUBLISHED, f"seed {seed}, {stages}"
        own = {key: value for key, value in expected.items() if key[0] == image.modality}
        assert checksums_of([image]) == own, f"seed {seed}, {stages}"
    call_command("verify")
    assert [path for path in (data_folder / "pyramids").rglob("*") if path.name.endswith(".part")] == []


def test_a_killed_ingest_leaves_a_whole_master_with_a_row_or_nothing(tmp_path, data_folder):
    study = make_study()
    make_member(study, Role.LEAD)
    number = make_face(make_artwork(study)).artwork.inventory_number
    source = tmp_path / "vis.tif"
    write_master(source, np.tile(painted(1600, 1200), (6, 1, 1)))
    arguments = ["ingest", source, "--artwork", number, "--modality", "VIS", "--state", "before"]
    seed = random.SystemRandom().randrange(10**9)
    instants = random.Random(seed)
    for _ in range(INGEST_KILLS):
        known = set((data_folder / "masters" / ".incoming").glob("*"))
        with command(data_folder, *arguments) as process:
            incoming = data_folder / "masters" / ".incoming"
            wait_until(lambda: process.poll() is not None or set(incoming.glob("*")) - known)  # noqa: B023
            time.sleep(instants.uniform(0.0, LONGEST_COPY_S))
            process.kill()
            process.wait()
        call_command("verify")
        kept = {str(path.relative_to(data_folder)) for path in (data_folder / "masters").glob("*/*/*")}
        assert kept == set(StoredFile.objects.values_list("path", flat=True)), f"seed {seed}"
    assert TechnicalImage.objects.count() == Job.objects.count()
