"""The annotations of the scenario, drawn by their authors on the images they saw."""

from typing import Any

from annotations.compute.geometries import geometry_from_json
from annotations.models import Annotation
from annotations.services.drawing import DrawnOn, draw_annotation
from annotations.services.words import Words
from imaging.models import Face, Person, TechnicalImage

__all__ = ["load_marks"]


def load_marks(scenario: dict[str, Any], people: dict[str, Person], *, face: Face) -> int:
    """Draw the annotations in the scenario's order up to the first whose image is not laid yet; return how many.

    The order gives each the number under which notes and threads speak of it.
    """
    drawn = 0
    for entry in scenario["annotations"]:
        if Annotation.objects.filter(face=face, title=entry["title"]).exists():
            continue
        image = TechnicalImage.objects.filter(
            face=face, master__original_name=f"{entry['drawn_on']}.tif", registrations__status="accepted"
        ).first()
        if image is None:
            break
        registration = image.registrations.filter(version=entry.get("drawn_with_registration", -1)).first()
        draw_annotation(
            face,
            shape_mm=geometry_from_json(entry["geometry"]),
            words=_words_of(entry),
            author=people[entry["author"]],
            drawn_on=DrawnOn(image, registration),
        )
        drawn += 1
    return drawn


def _words_of(entry: dict[str, Any]) -> Words:
    """Return what the author wrote: seen, concluded, how sure and why."""
    return Words(
        title=entry["title"],
        observation=entry["observation"],
        interpretation=entry["interpretation"],
        certainty=entry["certainty"],
        certainty_reason=entry["why"],
    )
