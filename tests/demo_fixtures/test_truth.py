"""The tables beside the pictures."""

import csv

import numpy as np
import pytest

from demo_fixtures.painter.images import image_spec
from demo_fixtures.painter.truth import (
    control_points,
    named_points,
    named_points_in_image,
    write_control_points,
    write_truth,
)


def rows_of(path):
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize(("name", "size"), [("irr-bt", "small"), ("xr-bt", "default"), ("mac-bt", "small")])
def test_the_truth_table_is_a_lattice_of_the_image_and_exact(tmp_path, name, size):
    camera = image_spec(name).camera(size)
    count = write_truth(tmp_path / "truth.csv", camera)
    rows = rows_of(tmp_path / "truth.csv")
    assert count == len(rows) >= 400
    table = np.array([[float(value) for value in row.values()] for row in rows])
    assert np.abs(camera.px_from_mm(table[:, :2]) - table[:, 2:]).max() < 0.001 / camera.pitch_mm
    assert (table[:, 2:] > 0).all()
    assert (table[:, 2:] < camera.size_px).all()


def test_control_points_are_shared_and_picked_with_a_third_of_a_pixel(small_plan, tmp_path):
    chosen = {}
    for name in ("vis-bt-v2", "xr-bt", "irr-bt"):
        camera = image_spec(name).camera("default")
        points = control_points(small_plan, camera, name=name)
        chosen[name] = {point[0] for point in points}
        frame = np.array([point[1:3] for point in points])
        seen = np.array([point[3:5] for point in points])
        error = seen - camera.px_from_mm(frame)
        assert error.std() == pytest.approx(0.3, rel=0.25)
        kinds = [point[5] for point in points]
        assert kinds.count("check") == len(points) // 3
    assert chosen["vis-bt-v2"] == chosen["xr-bt"] == chosen["irr-bt"]
    assert len(chosen["xr-bt"]) >= 50
    write_control_points(tmp_path / "points.csv", points)
    assert list(rows_of(tmp_path / "points.csv")[0]) == [
        "label",
        "frame_x_mm",
        "frame_y_mm",
        "image_x_px",
        "image_y_px",
        "kind",
    ]


def test_named_points_cover_the_twelve_annotations():
    names = {name.split("-")[0] for name in named_points()}
    assert names == {*(f"A{number}" for number in range(1, 13)), "cross"}


def test_named_points_can_be_asked_for_in_the_pixels_of_an_image():
    whole = named_points_in_image("vis-bt-v2", "default")
    assert whole["A5-1"] == pytest.approx(((402 + 12) / 0.08, (190 + 12) / 0.08))
    macro = named_points_in_image("mac-bt", "default")
    assert set(macro) == {"A2-3"}
