"""The ingest sheet: what was checked on receipt, each doubt one sentence with what to do."""

from pathlib import Path
from typing import Any

from django.utils.translation import gettext as _

from imaging.compute.masters.master_header import MasterHeader
from imaging.compute.masters.pixels import CheckedMaster
from imaging.interop.metadata import read_metadata
from imaging.models import TechnicalImage

__all__ = ["fill_ingest_sheet", "kept_metadata"]


def kept_metadata(path: Path, header: MasterHeader) -> dict[str, Any]:
    """Return Exif, XMP, IPTC and header of a master as they are kept; what opens its pages comes first."""
    is_paged = header.storage == "pages"
    return {
        **read_metadata(path, header).to_json(),
        "header": header.to_json(),
        "is_one_band_a_page": is_paged,
        "page_count": header.bands if is_paged else 1,
    }


def fill_ingest_sheet(image: TechnicalImage, checked: CheckedMaster) -> list[dict[str, Any]]:
    """Return the lines of the sheet."""
    return duplicate_lines(image)


def duplicate_lines(image: TechnicalImage) -> list[dict[str, Any]]:
    """Return a line for each image of the same study that has the same bytes."""
    assert image.master is not None
    twins = TechnicalImage.objects.filter(
        master__sha256=image.master.sha256, face__artwork__study=image.study, brought_in_at__lt=image.brought_in_at
    ).exclude(pk=image.pk)
    return [
        {
            "code": "duplicate",
            "state": "doubt",
            "sentence": _("The same bytes are here already as %(image)s.") % {"image": f"{twin} {twin.title}".strip()},
            "remedy": _("Withdraw one of the two, or say in its title how they differ."),
            "image": str(twin.pk),
        }
        for twin in twins.select_related("campaign")
    ]
