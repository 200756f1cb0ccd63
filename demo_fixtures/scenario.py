"""The scenario file and the table of its images for `ingest --table`."""

import csv
import datetime as dt
import json
from pathlib import Path
from typing import Any

from demo_fixtures.painter.images import pitch_um

__all__ = ["IMAGE_COLUMNS", "embargo_end", "read_scenario", "write_image_table"]

IMAGE_COLUMNS = (
    "file",
    "artwork",
    "face",
    "modality",
    "state",
    "version",
    "title",
    "band_nm",
    "um_per_px",
    "light_azimuth_deg",
    "light_elevation_deg",
    "tube_kv",
    "tube_ma",
    "exposure_s",
    "distance_mm",
    "filter",
    "polarity",
    "campaign_date",
    "visibility",
    "embargo_until",
    "credit_line",
    "rights_uri",
    "photographer",
    "site",
)


def read_scenario() -> dict[str, Any]:
    """Return the invented people, works, images and findings."""
    path = Path(__file__).with_name("scenario.json")
    scenario: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return scenario


def embargo_end(scenario: dict[str, Any], installed_on: dt.date) -> dt.date:
    """Return the first day on which the images after treatment are open."""
    year = installed_on.year + int(scenario["study"]["embargo_years_after_installing"])
    # A leap day has no anniversary; 1 March keeps the embargo for two full years.
    if (installed_on.month, installed_on.day) == (2, 29):
        return dt.date(year, 3, 1)
    return installed_on.replace(year=year)


def write_image_table(path: Path, *, names: list[str], size: str, installed_on: dt.date) -> None:
    """Write the table of the painted images, one a line, in the scenario's order."""
    scenario = read_scenario()
    campaigns = {campaign["key"]: campaign for campaign in scenario["campaigns"]}
    sites = {site["key"]: site["name"] for site in scenario["sites"]}
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, IMAGE_COLUMNS, lineterminator="\n", restval="", extrasaction="ignore")
        writer.writeheader()
        for image in scenario["images"]:
            if image["name"] not in names:
                continue
            campaign = campaigns[image["campaign"]]
            row = {key: "" if value is None else value for key, value in image.items()}
            row.update(
                artwork=scenario["artwork"]["inventory_number"],
                face="front",
                um_per_px=f"{pitch_um(image['name'], size):g}",
                campaign_date=campaign["date"],
                site=sites[campaign["site"]],
                embargo_until=embargo_end(scenario, installed_on).isoformat() if image.get("embargoed") else "",
            )
            writer.writerow(row)
