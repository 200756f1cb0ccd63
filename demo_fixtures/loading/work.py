"""The invented work with its face and its frame."""

from typing import Any

from django.db import transaction

from imaging.compute.rights import RIGHTS_URIS
from imaging.models import Artwork, Face, FaceKind, Frame, Person, Study
from imaging.services.framing import FrameDescription, current_frame, set_up_frame

__all__ = ["load_work"]

#: How well a painted surface of this size can be measured with a steel rule. Common practice, no source.
_SIZE_UNCERTAINTY_MM = 0.5


@transaction.atomic
def load_work(scenario: dict[str, Any], people: dict[str, Person], *, canvas_pitch_mm: float) -> Face:
    """Return the front of the work, framed; a second call changes nothing."""
    entry = scenario["artwork"]
    study = Study.objects.get(name=scenario["study"]["name"])
    artwork, _ = Artwork.objects.get_or_create(
        study=study,
        inventory_number=entry["inventory_number"],
        defaults={
            "title": entry["title"],
            "maker": entry["maker"],
            "medium": entry["medium"],
            "dating": entry["dating"],
            "owner": entry["owner"],
            "height_mm": entry["height_mm"],
            "width_mm": entry["width_mm"],
            "credit_line": entry.get("credit_line", ""),
            "rights_uri": entry["rights_uri"] if entry.get("rights_uri") in RIGHTS_URIS else "",
        },
    )
    fronts = [_set_up_face(artwork, face, people, canvas_pitch_mm=canvas_pitch_mm) for face in entry["faces"]]
    return next(face for face in fronts if face.kind == FaceKind.FRONT)


def _set_up_face(artwork: Artwork, entry: dict[str, Any], people: dict[str, Person], *, canvas_pitch_mm: float) -> Face:
    """Return a face with version 1 of its frame."""
    face, _ = Face.objects.get_or_create(artwork=artwork, kind=entry["kind"])
    frame: Frame | None = current_frame(face)
    if frame is None:
        set_up_frame(
            face,
            FrameDescription(
                width_mm=entry["frame"]["width_mm"],
                height_mm=entry["frame"]["height_mm"],
                datum_note=entry["frame"]["datum"],
                size_uncertainty_mm=_SIZE_UNCERTAINTY_MM,
                canvas_pitch_mm=canvas_pitch_mm,
            ),
            made_by=people["korvander"],
            reason=entry["frame"].get("note", ""),
        )
    return face
