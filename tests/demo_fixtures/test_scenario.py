"""The scenario file agrees with the painter and with itself."""

import csv
import datetime as dt
import math

import pytest
import shapely.geometry

from demo_fixtures.painter import motif
from demo_fixtures.painter.images import IMAGE_NAMES, SIZES, image_spec, pitch_um
from demo_fixtures.scenario import IMAGE_COLUMNS, embargo_end, read_scenario, write_image_table
from imaging.services.image_tables import read_image_table


@pytest.fixture(scope="module")
def scenario():
    return read_scenario()


def test_every_image_is_painted_and_in_the_same_order(scenario):
    assert tuple(image["name"] for image in scenario["images"]) == IMAGE_NAMES


def test_states_and_modalities_are_those_of_the_painter(scenario):
    for image in scenario["images"]:
        spec = image_spec(image["name"])
        assert (image["modality"], image["state"]) == (spec.modality, spec.state)


@pytest.mark.parametrize(
    ("name", "quantity", "value"),
    [
        ("A1", "length", 640.0),
        ("A2", "length", 54.1),
        ("A3", "area", 995.5),
        ("A4", "area", 128.0),
        ("A5", "area", 2085.5),
        ("A6", "length", 567.3),
        ("A7", "length", 7.5),
        ("A8", "area", 3660.0),
        ("A9", "length", 29.3),
        ("A11", "area", 3997.0),
        ("A12", "area", 100.0),
    ],
)
def test_a_geometry_measures_what_is_expected_of_it(scenario, name, quantity, value):
    # Reference library: shapely; the values are the scenario's own to one decimal.
    annotation = next(each for each in scenario["annotations"] if each["id"] == name)
    shape = shapely.geometry.shape(annotation["geometry"])
    assert shape.is_valid
    assert getattr(shape, quantity) == pytest.approx(value, abs=0.06)
    assert value in scenario["expected"]["all_sizes"][name].values()


def test_the_table_edge_rises_to_the_right(scenario):
    (x0, y0), (x1, y1) = motif.TABLE_EDGE_MM
    assert math.degrees(math.atan2(y1 - y0, x1 - x0)) == pytest.approx(
        scenario["expected"]["all_sizes"]["A6"]["angle_deg"], abs=0.005
    )


def test_names_that_are_referred_to_exist(scenario):
    images = {image["name"] for image in scenario["images"]}
    people = {person["key"] for person in scenario["people"]}
    annotations = {annotation["id"] for annotation in scenario["annotations"]}
    campaigns = {campaign["key"] for campaign in scenario["campaigns"]}
    assert {image["campaign"] for image in scenario["images"]} == campaigns
    for annotation in scenario["annotations"]:
        assert {annotation["drawn_on"], *annotation["evidence"]} <= images
        assert annotation["author"] in people
    for thread in scenario["threads"]:
        assert set(thread["about"]) <= annotations
        assert {comment["author"] for comment in thread["comments"]} <= people
    assert {registration["image"] for registration in scenario["registrations"]} <= images


def test_only_images_after_treatment_are_embargoed(scenario):
    assert {image["name"] for image in scenario["images"] if image.get("embargoed")} == {"vis-at", "uvl-at"}


@pytest.mark.parametrize(
    ("installed", "end"), [("2026-11-25", "2028-11-25"), ("2028-02-29", "2030-03-01"), ("2027-12-31", "2029-12-31")]
)
def test_an_embargo_ends_two_years_after_installing(scenario, installed, end):
    assert embargo_end(scenario, dt.date.fromisoformat(installed)) == dt.date.fromisoformat(end)


@pytest.mark.parametrize("size", SIZES)
def test_the_table_can_be_ingested(tmp_path, size):
    path = tmp_path / "images.csv"
    write_image_table(path, names=list(IMAGE_NAMES), size=size, installed_on=dt.date(2026, 11, 25))
    with path.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert tuple(rows[0]) == IMAGE_COLUMNS
    assert [row["file"] for row in rows] == [f"{name}.tif" for name in IMAGE_NAMES]
    for name in IMAGE_NAMES:
        (tmp_path / f"{name}.tif").touch()
    lines = read_image_table(path)
    assert [line.slip.um_per_px for line in lines] == [pitch_um(name, size) for name in IMAGE_NAMES]
    assert [bool(line.slip.embargo_until) for line in lines] == [name.endswith("-at") for name in IMAGE_NAMES]


def test_the_crosses_of_the_scenario_are_those_on_the_panel(scenario):
    points = scenario["registration_crosses"]["points_mm"]
    assert [tuple(point) for point in points.values()] == list(motif.REGISTRATION_CROSSES_MM)
