"""The slip and the table: every value is read once, in one way, and refused by name."""

from __future__ import annotations

import datetime as dt

import pytest

from imaging.errors import FieldRefusedError, TableRefusedError
from imaging.services.image_tables import read_image_table
from imaging.services.slips import SLIP_FIELDS, read_slip

PLAIN = {"modality": "VIS", "state": "before"}
#: The columns of the table as documented.
DOCUMENTED = {
    *("modality", "state", "version", "title", "band_nm", "um_per_px", "light_azimuth_deg", "light_elevation_deg"),
    *("tube_kv", "tube_ma", "exposure_s", "distance_mm", "filter", "polarity", "campaign_date", "visibility"),
    *("embargo_until", "credit_line", "rights_uri", "photographer", "site", "same_grid_as"),
}


def test_every_documented_column_is_known():
    assert set(SLIP_FIELDS) >= DOCUMENTED


def test_a_full_slip_is_read():
    slip = read_slip(
        {
            "modality": "irr",
            "state": "During",
            "version": "v02",
            "band_nm": "900 - 1700 nm",
            "um_per_px": "62,5",
            "campaign_date": "2022-02-14",
            "rights_uri": "https://creativecommons.org/licenses/by/4.0",
            "polarity": "",
        }
    )
    assert (slip.modality, slip.state, slip.version) == ("IRR", "during", 2)
    assert slip.band_nm == (900.0, 1700.0)
    assert slip.um_per_px == 62.5
    assert slip.campaign_date == dt.date(2022, 2, 14)
    assert slip.rights_uri == "http://creativecommons.org/licenses/by/4.0/"


@pytest.mark.parametrize(
    ("field", "given", "words"),
    [
        ("modality", "XYZ", "modality is XYZ; needed is one of VIS"),
        ("state", "", "state is empty; needed is one of before, during, after"),
        ("band_nm", "1700-900", "two wavelengths in nm, the shorter first"),
        ("um_per_px", "-3", "a number from 0.01"),
        ("um_per_px", "nan", "a number from 0.01"),
        ("campaign_date", "14.2.2022", "a date as YYYY-MM-DD"),
        ("visibility", "all", "one of private, site, study, guests, public"),
        ("rights_uri", "mine", "a URI of rightsstatements.org"),
        ("tube_kv", "35", "the modality XR"),
        ("title", "a\nb", "one line of plain text"),
        ("colour", "red", "colour is not known here"),
        ("version", "0", "a whole number from 1 on"),
    ],
)
def test_a_value_that_cannot_be_used_is_named_with_what_is_needed(field, given, words):
    with pytest.raises(FieldRefusedError, match=words):
        read_slip({**PLAIN, field: given})


def table(tmp_path, text, encoding="utf-8"):
    path = tmp_path / "images.csv"
    path.write_bytes(text.encode(encoding))
    return path


def test_a_table_is_read_by_line(tmp_path):
    text = "file,artwork,modality,state,um_per_px\nvis.tif,OH 0417,VIS,before,20\nirr.tif,OH 0417,IRR,before,62.5\n"
    lines = read_image_table(table(tmp_path, text))
    assert [(line.number, line.path.name, line.face, line.slip.modality) for line in lines] == [
        (2, "vis.tif", "front", "VIS"),
        (3, "irr.tif", "front", "IRR"),
    ]


def test_a_table_of_a_spreadsheet_with_semicolons_is_read(tmp_path):
    text = "\ufefffile;artwork;modality;state;um_per_px\r\nvis.tif;OH 0417;VIS;before;62,5\r\n"
    assert read_image_table(table(tmp_path, text))[0].slip.um_per_px == 62.5


def test_an_unknown_column_is_named_with_the_known_ones(tmp_path):
    with pytest.raises(TableRefusedError, match=r"line 1: the column 'colour' is not known; the known ones are file,"):
        read_image_table(table(tmp_path, "file,artwork,modality,state,colour\n"))


def test_every_bad_line_is_named_at_once(tmp_path):
    text = "file,artwork,modality,state\na.tif,OH 1,ABC,before\nb.tif,OH 1,VIS,before\n,OH 1,VIS,before\n"
    with pytest.raises(TableRefusedError, match=r"(?s)2 problem.*line 2: modality is ABC.*line 4: file is empty"):
        read_image_table(table(tmp_path, text))


def test_a_missing_column_and_an_empty_table_are_told(tmp_path):
    with pytest.raises(TableRefusedError, match="the column state is missing"):
        read_image_table(table(tmp_path, "file,artwork,modality\n"))
    with pytest.raises(TableRefusedError, match="at least one picture is needed"):
        read_image_table(table(tmp_path, "file,artwork,modality,state\n"))
