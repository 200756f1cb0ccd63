"""`manage.py ingest`: the contract that scripts rely on."""

from __future__ import annotations

import json
import uuid

import numpy as np
import pytest
from django.core.management import CommandError, call_command

from imaging.models import Job, StoredFile, TechnicalImage
from tests.factories import make_frame
from tests.imaging.receiving.pictures import painted, write_master
from tests.imaging.receiving.processes import run


@pytest.fixture
def ingest(studio, capsys):
    """Return a function that runs the command and returns what it printed."""

    def call(*arguments):
        call_command("ingest", *map(str, arguments))
        return capsys.readouterr().out

    return call


PLAIN = ("--artwork", "OH 0417", "--modality", "VIS", "--state", "before")


def test_it_prints_the_id_and_the_address(ingest, tmp_path, settings):
    image_id, address = ingest(write_master(tmp_path / "a.tif"), *PLAIN).split()
    assert TechnicalImage.objects.get().pk == uuid.UUID(image_id)
    assert address == f"{settings.PUBLIC_ADDRESS}/images/{image_id}/"


def test_several_files_share_what_is_stated(ingest, tmp_path, studio):
    files = [write_master(tmp_path / f"{n}.tif", painted(seed=n)) for n in (1, 2)]
    lines = ingest(*files, *PLAIN, "--band-nm", "400-700", "--json", "--as", studio.contributor.email)
    assert [set(json.loads(line)) for line in lines.splitlines()] == [
        {"image", "address", "file", "sha256", "job", "duplicates"}
    ] * 2
    assert set(TechnicalImage.objects.values_list("band_from_nm", "brought_in_by")) == {(400.0, studio.contributor.pk)}


def test_without_a_person_the_lead_brings_it_in(ingest, tmp_path, studio):
    ingest(write_master(tmp_path / "a.tif"), *PLAIN)
    assert TechnicalImage.objects.get().brought_in_by == studio.lead


def test_one_bad_file_among_good_ones_stops_all_of_them(ingest, tmp_path):
    good, bad = write_master(tmp_path / "good.tif"), tmp_path / "bad.tif"
    bad.write_bytes(b"")
    with pytest.raises(CommandError, match=r"(?s)bad\.tif is empty.*Nothing was received") as caught:
        ingest(good, bad, *PLAIN)
    assert caught.value.returncode == 1
    assert StoredFile.objects.count() == Job.objects.count() == 0


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--artwork", "NO 1", "--modality", "VIS", "--state", "before"), "artwork is NO 1, which is not known"),
        (("--artwork", "OH 0417", "--modality", "ABC", "--state", "before"), "modality is ABC"),
        (("--artwork", "OH 0417", "--modality", "VIS"), "state is empty"),
        (("--modality", "VIS", "--state", "before"), "artwork is missing"),
        ((*PLAIN, "--as", "nobody@example.org"), "the e-mail address of an active person"),
        ((*PLAIN, "--same-grid-as", str(uuid.UUID(int=1))), "same_grid_as is 0000"),
    ],
)
def test_wrong_usage_is_told_with_exit_code_two(ingest, tmp_path, arguments, words):
    with pytest.raises(CommandError, match=words) as caught:
        ingest(write_master(tmp_path / "a.tif"), *arguments)
    assert caught.value.returncode == 2
    assert StoredFile.objects.count() == 0


def test_a_table_brings_a_campaign_in(ingest, tmp_path):
    for name, bands in (("vis.tif", 3), ("irr.tif", 1)):
        write_master(tmp_path / name, painted(bands=bands))
    table = tmp_path / "images.csv"
    table.write_text(
        "file,artwork,modality,state,um_per_px,campaign_date,same_grid_as\n"
        "vis.tif,OH 0417,VIS,before,1000,2022-02-14,\n"
        "irr.tif,OH 0417,IRR,before,1000,2022-02-14,vis.tif\n"
    )
    assert len(ingest("--table", table).splitlines()) == 2
    visible, infrared = TechnicalImage.objects.order_by("brought_in_at")
    assert infrared.same_grid_as == visible
    assert visible.campaign == infrared.campaign


def test_a_table_is_checked_as_a_whole_before_anything_is_received(ingest, tmp_path):
    write_master(tmp_path / "a.tif")
    table = tmp_path / "images.csv"
    table.write_text(
        "file,artwork,modality,state\na.tif,OH 0417,VIS,before\ngone.tif,OH 0417,VIS,before\na.tif,NO 1,VIS,before\n"
    )
    with pytest.raises(CommandError, match=r"(?s)line 3: gone\.tif cannot be read.*line 4: artwork is NO 1") as caught:
        ingest("--table", table)
    assert caught.value.returncode == 2
    assert TechnicalImage.objects.count() == StoredFile.objects.count() == 0


def test_files_and_a_table_together_are_wrong_usage(ingest, tmp_path):
    with pytest.raises(CommandError, match="not both") as caught:
        ingest(tmp_path / "a.tif", "--table", tmp_path / "b.csv")
    assert caught.value.returncode == 2


def test_a_master_in_place_is_referenced(ingest, tmp_path):
    source = write_master(tmp_path / "a.tif")
    ingest(source, *PLAIN, "--in-place")
    assert StoredFile.objects.get().path == str(source.resolve())


@pytest.mark.django_db(transaction=True)
def test_waiting_works_the_jobs_off_without_a_worker_and_says_the_doubts(studio, data_folder, tmp_path):
    make_frame(studio.face, canvas_pitch_mm=0.5)
    write_master(tmp_path / "vis.tif")
    write_master(tmp_path / "irr.tif", np.roll(painted(seed=8, bands=1)[..., 0], 5, axis=1))
    table = tmp_path / "images.csv"
    table.write_text(
        "file,artwork,modality,state,um_per_px,same_grid_as\n"
        "vis.tif,OH 0417,VIS,before,1000,\n"
        "irr.tif,OH 0417,IRR,before,,vis.tif\n"
    )
    done = run(data_folder, "ingest", "--table", table, "--wait")
    assert (done.returncode, len(done.stdout.splitlines())) == (0, 2), done.stderr
    assert dict(TechnicalImage.objects.values_list("modality", "status")) == {"VIS": "published", "IRR": "read"}
    assert "irr.tif: It was said to lie on the grid of VIS before v1." in done.stderr
    assert "Look at both by wipe, or set control points." in done.stderr
