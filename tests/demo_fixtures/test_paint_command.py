"""`manage.py paint` as a person uses it."""

import csv
import hashlib
import io
import json

import numpy as np
import pytest
import tifffile
from django.core.management import call_command
from django.core.management.base import CommandError

from demo_fixtures.painter import paint as painting
from demo_fixtures.painter import shots as shooting

from .conftest import bare_plan


@pytest.fixture
def quick_plan(monkeypatch, small_plan):
    """Stand in for the half minute of planning; everything after it is the real thing."""
    plans = {3: small_plan}
    for module in (painting, shooting):
        monkeypatch.setattr(module, "prepare_plan", lambda folder, seed, **_: plans.get(seed) or bare_plan(seed))


def paint(folder, *options):
    out = io.StringIO()
    call_command("paint", str(folder), "--size", "small", "--json", *options, stdout=out)
    return [json.loads(line) for line in out.getvalue().splitlines()]


def digests(folder):
    return {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(folder.iterdir()) if path.is_file()
    }


@pytest.mark.slow
def test_the_same_seed_gives_the_same_bytes(tmp_path, quick_plan):
    options = ("--seed", "3", "--images", "mac-bt,irr-bt", "--installed-on", "2026-11-25")
    for name in ("one", "two"):
        rows = paint(tmp_path / name, *options)
    assert [row["name"] for row in rows] == ["mac-bt", "irr-bt"]
    assert digests(tmp_path / "one") == digests(tmp_path / "two")
    assert set(digests(tmp_path / "one")) == {
        "images.csv",
        "irr-bt.tif",
        "truth_irr-bt.csv",
        "control_points_irr-bt.csv",
        "mac-bt.tif",
        "truth_mac-bt.csv",
        "control_points_mac-bt.csv",
    }
    with tifffile.TiffFile(tmp_path / "one" / "mac-bt.tif") as file:
        page = file.pages[0]
        assert (page.dtype, page.shape) == (np.dtype(np.uint16), (rows[0]["height_px"], rows[0]["width_px"], 3))
        assert len(page.tags["InterColorProfile"].value) > 300
        assert page.get_resolution(unit="MILLIMETER")[0] == pytest.approx(1000 / 20, rel=1e-4)
    with tifffile.TiffFile(tmp_path / "one" / "irr-bt.tif") as file:
        assert (file.pages[0].dtype, file.pages[0].samplesperpixel) == (np.dtype(np.uint16), 1)


@pytest.mark.slow
def test_shots_come_with_plan_truth_dark_and_flat(tmp_path, quick_plan):
    rows = paint(tmp_path, "--seed", "3", "--shots", "IRR", "2x3")
    assert len(rows) == 6
    with (tmp_path / "plan.csv").open(newline="", encoding="utf-8") as file:
        planned = list(csv.DictReader(file))
    assert [row["file"] for row in planned] == [row["path"].rsplit("/", 1)[1] for row in rows]
    for row in planned:
        assert (tmp_path / f"truth_{row['file'][:-4]}.csv").stat().st_size > 0
    flat = tifffile.imread(tmp_path / "calibration" / "flat.tif").astype(float)
    dark = tifffile.imread(tmp_path / "calibration" / "dark.tif").astype(float)
    height, width = flat.shape
    corner, middle = (
        flat[:40, :40].mean() - dark.mean(),
        flat[height // 2 - 20 :, width // 2 - 20 :][:40, :40].mean() - dark.mean(),
    )
    # Vignetting of the recipe: 1 - 0.22 - 0.06 at the corner, and a slope of the light of 3-6 %.
    assert 0.66 < corner / middle < 0.79
    first = tifffile.imread(rows[0]["path"])
    assert first.shape == flat.shape
    assert (first % 4 == 0).all()


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (("--seed", "-1"), "give a whole number from 0"),
        (("--images", "vis"), "'vis' is not known"),
        (("--shots", "MAC", "2x2"), "'MAC' is not one of"),
        (("--shots", "VIS", "2by2"), "is not ROWSxCOLUMNS"),
        (("--shots", "VIS", "0x2"), "each from 1 to 60"),
        (("--installed-on", "tomorrow"), "is not a date"),
    ],
)
def test_a_wrong_option_is_named_and_exits_with_2(tmp_path, options, message):
    with pytest.raises(CommandError, match=message) as refusal:
        paint(tmp_path, *options)
    assert refusal.value.returncode == 2


def test_a_file_where_the_folder_should_be_is_refused(tmp_path):
    (tmp_path / "taken").write_text("")
    with pytest.raises(CommandError, match="is a file; name a folder"):
        paint(tmp_path / "taken")
