"""The command that writes a face's annotations to lines and rows."""

from __future__ import annotations

import csv
import io
import json

import pytest
import shapely
from django.core.management import CommandError, call_command

from annotations.services.changing import withdraw_annotation
from tests import factories
from tests.standards.web_annotation_rules import faults_of


def exported(*arguments: str) -> str:
    output = io.StringIO()
    call_command("export_annotations", *arguments, stdout=output)
    return output.getvalue()


@pytest.fixture
def drawn(scene):
    author = scene.people["author"]
    losses = shapely.MultiPolygon(
        [
            shapely.box(96, 455, 104, 461),
            shapely.box(231, 466, 236, 470),
            shapely.Polygon([(402, 458), (414, 458), (408, 468)]),
        ]
    )
    gone = factories.make_annotation(scene.face, author, title="gone")
    withdraw_annotation(gone, editor=author, expected_revision=1)
    return [
        factories.make_annotation(scene.face, author, image=scene.image, title="=1+1", certainty="certain"),
        factories.make_annotation(scene.face, scene.people["lead"], image=scene.closed_image, shape_mm=losses),
    ]


def test_each_line_is_one_sound_document(scene, drawn):
    documents = [json.loads(line) for line in exported(str(scene.face.pk)).splitlines()]
    assert [document["dcterms:identifier"] for document in documents] == ["A2", "A3"]
    assert [faults_of(document) for document in documents] == [[], []]


def test_rows_carry_millimetres_and_well_known_text(scene, drawn):
    """Check value C7e: three losses of 48, 20 and 60 mm2 are 128 mm2 together."""
    rows = list(csv.DictReader(io.StringIO(exported(str(scene.face.pk), "--format", "csv"))))
    assert [row["key"] for row in rows] == ["A2", "A3"]
    assert float(rows[0]["length_mm"]) == pytest.approx(5.0)
    assert float(rows[1]["area_mm2"]) == pytest.approx(128.0)
    assert shapely.from_wkt(rows[1]["geometry_mm_wkt"]).area == pytest.approx(128.0)
    assert (rows[0]["certainty"], rows[0]["can_resolve"], rows[0]["registration_version"]) == ("certain", "yes", "1")


def test_a_spreadsheet_runs_no_title_as_a_formula(scene, drawn):
    rows = list(csv.DictReader(io.StringIO(exported(str(scene.face.pk), "--format", "csv"))))
    assert rows[0]["title"] == "'=1+1"


def test_an_export_for_one_person_holds_what_that_person_sees(scene, drawn):
    lines = exported(str(scene.face.pk), "--as", scene.people["reader"].email).splitlines()
    assert [json.loads(line)["dcterms:identifier"] for line in lines] == ["A2"]


def test_a_file_gets_the_same_lines(scene, drawn, tmp_path):
    path = tmp_path / "marks.csv"
    exported(str(scene.face.pk), "--format", "csv", "--out", str(path))
    assert path.read_bytes().decode() == exported(str(scene.face.pk), "--format", "csv")


@pytest.mark.parametrize(
    ("arguments", "remedy"),
    [
        (["nonsense"], "There is no face nonsense"),
        (["00000000-0000-4000-8000-000000000000"], "There is no face"),
    ],
)
def test_an_unknown_face_is_named(db, arguments, remedy):
    with pytest.raises(CommandError, match=remedy) as caught:
        exported(*arguments)
    assert caught.value.returncode == 2


def test_an_unknown_person_is_named(scene):
    with pytest.raises(CommandError, match=r"Nobody has the e-mail address nobody@example\.org"):
        exported(str(scene.face.pk), "--as", "nobody@example.org")
