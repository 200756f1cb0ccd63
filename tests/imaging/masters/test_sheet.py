"""Each line of the ingest sheet says what fits, or one doubt and what to do."""

import dataclasses

import numpy as np
import pytest
from PIL import ImageCms

from imaging.compute.masters.master_header import MasterHeader
from imaging.compute.masters.sheet import build_sheet, refused_sheet
from imaging.compute.masters.sheet_facts import SheetCheck, SheetFacts
from imaging.compute.masters.sheet_texts import SHEET_TEXTS
from imaging.compute.masters.statistics import PixelStatistics, statistics_of_counts
from imaging.errors import EmptyFileError

SRGB = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
GENERATOR = np.random.default_rng(3)
# The invented work of 640 x 480 mm at 50 µm.
WORK_MM = (640.0, 480.0)
HEADER = MasterHeader(
    file_name="oh-0417_irr_bt_front_v02.tif",
    format="tiff",
    file_bytes=10**8,
    width_px=12_800,
    height_px=9_600,
    bands=1,
    sample_format="u16",
    colour="grey",
    um_per_px=(50.0, 50.0),
)


def statistics_of(samples):
    counts = np.bincount(samples.ravel()).astype(float)
    return PixelStatistics(width_px=100, height_px=100, bands=(statistics_of_counts(counts),))


SOFT = statistics_of(GENERATOR.normal(30_000, 6_000, 100_000).clip(500, 64_000).astype(int))


def sheet(*, header=None, **facts):
    changed = dataclasses.replace(HEADER, **(header or {}))
    known = {"modality": "IRR", "stated_um_per_px": 50.0, "work_size_mm": WORK_MM}
    lines = build_sheet(SheetFacts(**{"header": changed, "statistics": SOFT, **known, **facts}))
    return {line.key: line for line in lines}


def test_a_file_as_it_should_be_fits_in_every_line():
    lines = sheet(checksum="ab" * 32)
    assert {line.state for line in lines.values()} == {"fits"}
    assert {line.action for line in lines.values()} == {""}


@pytest.mark.parametrize(
    ("in_file", "given", "code", "state"),
    [
        ((50.0, 50.0), 50.4, "scale_fits", "fits"),
        ((50.0, 50.0), 50.6, "scale_differs", "open"),
        (None, 50.0, "scale_given", "fits"),
        ((50.0, 50.0), None, "scale_from_file", "open"),
        (None, None, "scale_missing", "open"),
        ((25_400 / 72, 25_400 / 72), None, "scale_placeholder", "open"),
        ((25_400 / 72, 25_400 / 72), 50.0, "scale_given", "fits"),
        ((50.0, 51.0), None, "scale_uneven", "open"),
    ],
)
def test_the_scale_of_the_file_and_of_the_person(in_file, given, code, state):
    line = sheet(header={"um_per_px": in_file}, stated_um_per_px=given)["scale"]
    assert (line.code, line.state) == (code, state)


def test_a_difference_in_scale_is_said_in_numbers():
    line = sheet(header={"um_per_px": (20.5, 20.5)}, stated_um_per_px=20.0)["scale"]
    assert line.sentence == (
        "The file says 20.5 µm a pixel; 20 was given. They must agree within 1 %, and differ by 2.5 %."
    )
    assert line.action == "Measure the scale bar again, then keep the number that is right."


@pytest.mark.parametrize(
    ("size_px", "facts", "code"),
    [
        ((12_800, 9_600), {}, "size_fits"),
        ((12_900, 9_520), {}, "size_fits"),
        ((13_500, 10_000), {}, "size_larger"),
        ((6_000, 4_000), {}, "size_smaller"),
        ((6_000, 4_000), {"is_detail": True}, "size_detail"),
        ((9_600, 12_800), {}, "size_turned"),
        ((12_800, 9_600), {"work_size_mm": None}, "size_unknown"),
    ],
)
def test_pixels_times_pitch_against_the_size_of_the_work(size_px, facts, code):
    line = sheet(header={"width_px": size_px[0], "height_px": size_px[1]}, **facts)["size"]
    assert line.code == code
    assert (line.state == "fits") == (code in ("size_fits", "size_detail"))


def test_a_quarter_turn_in_the_file_is_allowed_for_in_the_size():
    lines = sheet(header={"width_px": 9_600, "height_px": 12_800, "orientation": 6})
    assert lines["size"].code == "size_fits"
    assert lines["orientation"].sentence.startswith("The file asks to be turned a quarter clockw")


def test_eight_bits_are_a_doubt():
    line = sheet(header={"sample_format": "u8"}, statistics=None)["depth"]
    assert line.sentence == "The file has 8 bits a sample; masters need 16."


@pytest.mark.parametrize("factor", [256, 257])
def test_eight_bits_in_a_file_of_sixteen_are_found(factor):
    eight = GENERATOR.integers(10, 240, 10_000) * factor
    assert sheet(statistics=statistics_of(eight))["depth"].code == "depth_8_in_16"


def test_a_picture_of_few_true_values_is_not_taken_for_eight_bits():
    few = GENERATOR.choice([100, 3_001, 20_017, 55_000], 10_000)
    assert sheet(statistics=statistics_of(few))["depth"].state == "fits"


@pytest.mark.parametrize(
    ("header", "code"),
    [
        ({"colour": "rgb", "bands": 3}, "profile_missing"),
        ({"colour": "rgb", "bands": 3, "icc_profile": SRGB, "icc_name": "s"}, "profile_fits"),
        ({"icc_profile": SRGB, "icc_name": "s"}, "profile_wrong"),
        ({}, "profile_not_needed"),
    ],
)
def test_the_colour_profile(header, code):
    assert sheet(header=header)["profile"].code == code


# A radiograph as on film: dark wood, and few but far lighter nails and lead white.
FILM = np.concatenate([GENERATOR.normal(15_000, 2_000, 97_000), GENERATOR.normal(48_000, 4_000, 3_000)]).astype(int)


@pytest.mark.parametrize(
    ("samples", "stated", "code"),
    [
        (FILM, "", "polarity_likely"),
        (65_535 - FILM, "", "polarity_doubt"),
        (FILM, "white_is_dense", "polarity_stated"),
        (65_535 - FILM, "white_is_dense", "polarity_contradiction"),
        (65_535 - FILM, "black_is_dense", "polarity_stated"),
        (FILM, "black_is_dense", "polarity_contradiction"),
    ],
)
def test_the_polarity_of_a_radiograph(samples, stated, code):
    lines = sheet(modality="XR", statistics=statistics_of(samples), polarity=stated)
    assert lines["polarity"].code == code


def test_only_radiographs_are_asked_for_their_polarity():
    assert "polarity" not in sheet()


def test_saturation_is_given_in_percent_and_band():
    samples = GENERATOR.normal(30_000, 6_000, 10_000).clip(1, 60_000).astype(int)
    samples[:200] = 65_535
    line = sheet(statistics=statistics_of(samples))["tones"]
    assert line.sentence == ("2.00 % of band 1 has the highest value, 65535: the light there is lost.")


def test_clipping_below_full_scale_is_found():
    samples = GENERATOR.normal(14_000, 3_000, 10_000).clip(1, 16_383).astype(int)
    assert sheet(statistics=statistics_of(samples))["tones"].code == "saturated"


def test_clipped_dark_is_a_doubt_but_not_in_a_radiograph():
    samples = GENERATOR.normal(14_000, 3_000, 10_000).astype(int)
    samples[:400] = 0
    statistics = statistics_of(samples)
    assert sheet(statistics=statistics)["tones"].code == "crushed"
    assert sheet(statistics=statistics, modality="XR")["tones"].state == "fits"


def test_a_flat_picture_is_a_doubt():
    samples = GENERATOR.integers(2_000, 2_100, 10_000)
    assert sheet(statistics=statistics_of(samples))["tones"].code == "flat"


def test_the_same_bytes_are_a_doubt_and_named():
    line = sheet(checksum="ab" * 32, known_checksums={"ab" * 32: "IRR before v1"})["duplicate"]
    assert (line.state, line.values) == ("open", {"name": "IRR before v1"})


@pytest.mark.parametrize(
    ("name", "key", "code"),
    [
        ("Scan 7 FINAL.tif", "name", "name_pattern"),
        ("oh-0417_irr_bt_front_v02.jpg", "ending", "name_ending"),
        ("oh-0417_xr_bt_front_v02.tif", "name", "name_modality"),
    ],
)
def test_the_name_is_only_a_help(name, key, code):
    line = sheet(header={"file_name": name})[key]
    assert (line.code, line.state) == (code, "open")


def test_bands_without_names_and_more_pictures_are_asked_about():
    header = {"colour": "bands", "bands": 5, "other_picture_count": 2, "has_alpha": True}
    lines = sheet(header=header, statistics=None)
    assert lines["bands"].code == "bands_nameless"
    assert lines["pictures"].sentence.startswith("The file holds 2 more pictures")
    assert lines["alpha"].is_hint


def test_a_line_survives_json():
    for line in sheet(stated_um_per_px=51.0, checksum="ab" * 32).values():
        assert SheetCheck.from_json(line.to_json()) == line


def test_every_doubt_says_what_to_do_and_ends_as_a_sentence():
    for code, (sentence, action) in SHEET_TEXTS.items():
        if code == "refused":
            continue
        assert sentence.endswith("."), code
        assert not action or action.endswith("."), code


def test_a_refused_file_has_one_line_with_the_message_of_its_error():
    (line,) = refused_sheet(EmptyFileError(file_name="plate.tif"))
    assert line.state == "refused"
    assert line.sentence.startswith("plate.tif is empty (0 bytes).")
    assert line.values["error"] == "empty_file"
