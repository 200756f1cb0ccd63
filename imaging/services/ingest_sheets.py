"""The ingest sheet: what was checked on receipt, each doubt one sentence with what to do."""

from pathlib import Path
from typing import Any

from django.utils.translation import gettext as _

from imaging.compute.masters.master_header import MasterHeader
from imaging.compute.masters.pixels import CheckedMaster
from imaging.compute.masters.sheet import build_sheet
from imaging.compute.masters.sheet_facts import SheetFacts
from imaging.compute.rights import RIGHTS_URIS
from imaging.interop.metadata import read_metadata
from imaging.models import TechnicalImage
from imaging.services.framing import current_frame

__all__ = ["fill_from_metadata", "fill_ingest_sheet", "kept_metadata", "sheet_line"]

#: Field of the image -> what the file says of itself.
_FROM_METADATA = {
    "camera": "camera",
    "lens": "lens",
    "exposure_s": "exposure_s",
    "photographer": "creator",
    "credit_line": "credit_line",
    "rights_uri": "licence_url",
}


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
    """Return the lines of the sheet: file, pixels and what was stated, held against each other."""
    assert image.master is not None
    frame, artwork = current_frame(image.face), image.face.artwork
    size_mm = (frame.width_mm, frame.height_mm) if frame else (artwork.width_mm, artwork.height_mm)
    twins = _duplicate_lines(image)
    facts = SheetFacts(
        header=checked.header,
        statistics=checked.statistics,
        modality=image.modality,
        stated_um_per_px=image.stated_um_per_px,
        work_size_mm=size_mm,
        is_detail=bool(image.place_hint),
        polarity=image.polarity,
        # With the same bytes elsewhere the line of the twin says more than that of the checksum.
        checksum="" if twins else image.master.sha256,
    )
    lines = [line.to_json() for line in build_sheet(facts)]
    return [{**line, "remedy": line["action"]} for line in lines] + twins


def fill_from_metadata(image: TechnicalImage) -> list[str]:
    """Take over from the file what nobody stated about the picture; return the names of the fields filled."""
    filled = []
    for field, name in _FROM_METADATA.items():
        value = image.metadata.get(name)
        if getattr(image, field) not in (None, "") or value in (None, ""):
            continue
        if field == "rights_uri" and value not in RIGHTS_URIS:
            continue
        longest = getattr(TechnicalImage._meta.get_field(field), "max_length", None)
        setattr(image, field, value[:longest] if isinstance(value, str) else value)
        filled.append(field)
    return filled


def sheet_line(code: str, *, sentence: str, remedy: str = "", state: str = "open") -> dict[str, Any]:
    """Return one line that is not made from the file alone, in the form of the others."""
    return {"key": code, "state": state, "code": code, "values": {}, "is_hint": False} | {
        "sentence": sentence,
        "action": remedy,
        "remedy": remedy,
    }


def _duplicate_lines(image: TechnicalImage) -> list[dict[str, Any]]:
    """Return a line for each image of the same study that has the same bytes."""
    assert image.master is not None
    twins = TechnicalImage.objects.filter(
        master__sha256=image.master.sha256, face__artwork__study=image.study, brought_in_at__lt=image.brought_in_at
    ).exclude(pk=image.pk)
    remedy = _("Withdraw one of the two, or say in its title how they differ.")
    return [
        sheet_line(
            "duplicate",
            sentence=_("The same bytes are here already as %(image)s.") % {"image": f"{twin} {twin.title}".strip()},
            remedy=remedy,
        )
        | {"image": str(twin.pk)}
        for twin in twins.select_related("campaign")
    ]
