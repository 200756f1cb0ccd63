"""What can be measured on an annotation, with its uncertainty, or a sentence why it cannot."""

from dataclasses import dataclass

import numpy as np
import shapely
from django.utils.formats import get_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from shapely.geometry.base import BaseGeometry

from annotations.compute.measurements import Measurement, measure_area, measure_length
from annotations.compute.uncertainty import ErrorBudget, Pick, rounded_digits
from annotations.models import Annotation
from annotations.services.placing import placed_by, registration_in_frame, shape_of

__all__ = ["Measured", "measurements_of"]

# The pitch varies slowly over a picture; this many corners tell its largest value.
_MOST_CORNERS = 64


@dataclass(frozen=True)
class Measured:
    """The figures of one shape; None where a kind of shape has none or the image cannot resolve it."""

    sentence: str
    length_mm: float | None = None
    area_mm2: float | None = None
    count: int | None = None
    uncertainty_mm: float | None = None
    area_uncertainty_mm2: float | None = None
    pixel_pitch_mm: float | None = None
    registration_radius95_mm: float | None = None
    can_resolve: bool | None = None
    resolvable_mm: float | None = None


def measurements_of(annotation: Annotation) -> Measured:
    """Return what can be measured within the image that an annotation was drawn on.

    Both ends lie in one image, so the registration adds nothing to a length; how well it places the shape on the face
    is said beside it.
    """
    shape_mm = shape_of(annotation)
    pitch_mm, radius95_mm = _known_at(annotation, shape_mm)
    if shape_mm.geom_type in {"Point", "MultiPoint"}:
        count = len(shapely.get_parts(shape_mm))
        sentence = ngettext("%(count)d place", "%(count)d places", count) % {"count": count}
        return Measured(sentence, count=count, pixel_pitch_mm=pitch_mm, registration_radius95_mm=radius95_mm)
    pick, budget = Pick(pitch_mm), ErrorBudget(relative_scale=annotation.frame.scale_uncertainty)
    is_area = shape_mm.geom_type in {"Polygon", "MultiPolygon"}
    measurement = (
        measure_area([shape_mm], pick=pick, budget=budget)
        if is_area
        else measure_length(shape_mm, pick=pick, budget=budget)
    )
    # What cannot be resolved is never a number, here neither.
    value, uncertainty = (measurement.value, measurement.uncertainty) if measurement.is_resolved else (None, None)
    return Measured(
        _sentence_on(measurement),
        length_mm=None if is_area else value,
        uncertainty_mm=None if is_area else uncertainty,
        area_mm2=value if is_area else None,
        area_uncertainty_mm2=uncertainty if is_area else None,
        pixel_pitch_mm=pitch_mm,
        registration_radius95_mm=radius95_mm,
        can_resolve=measurement.is_resolved,
        resolvable_mm=measurement.resolvable_mm,
    )


def _known_at(annotation: Annotation, shape_mm: BaseGeometry) -> tuple[float, float | None]:
    """Return the largest pixel at the corners of a shape and how well its place is known (95 %), in mm.

    What was drawn on no image was placed on the canvas, whose pitch then counts.
    """
    registration = registration_in_frame(annotation)
    if registration is None:
        return annotation.frame.canvas_pitch_mm, None
    frame_map, uncertainty = placed_by(registration)
    corners_mm = shapely.get_coordinates(shape_mm)
    corners_mm = corners_mm[:: max(1, len(corners_mm) // _MOST_CORNERS)]
    pitch_mm = float(np.max(frame_map.pitch_mm_at(corners_mm)))
    return pitch_mm, float(np.max(uncertainty.at(corners_mm))) if uncertainty is not None else None


def _sentence_on(measurement: Measurement) -> str:
    """Return a measurement as people read it: value and uncertainty to the same place, or what cannot be told."""
    if not measurement.is_resolved:
        smallest = _in_reader_digits(rounded_digits(measurement.resolvable_mm, 2))
        return _("Cannot resolve: below %(size)s mm (3 pixels) this image does not tell a size from a blur.") % {
            "size": smallest
        }
    rounded = measurement.rounded
    unit = {"mm": "mm", "mm2": "mm²"}[measurement.unit]
    return _("%(value)s ± %(uncertainty)s %(unit)s (k = 2)") % {
        "value": _in_reader_digits(rounded.value_digits),
        "uncertainty": _in_reader_digits(rounded.uncertainty_digits),
        "unit": unit,
    }


def _in_reader_digits(digits: str) -> str:
    """Return digits with the decimal sign of the reader's language."""
    return digits.replace(".", str(get_format("DECIMAL_SEPARATOR")))
