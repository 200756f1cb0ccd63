"""An annotation as the values of one row."""

from typing import Any

from annotations.interop.document_parts import utc_text
from annotations.interop.mm_fragment import mm_text_of
from annotations.models import Annotation
from annotations.services.exporting import annotation_iri
from annotations.services.measuring import measurements_of
from annotations.services.placing import shape_of
from annotations.services.words import WORD_FIELDS

__all__ = ["table_values_of"]

#: Figures are written to 0.1 um, as the geometry is.
_DECIMALS = 4


def table_values_of(annotation: Annotation) -> dict[str, Any]:
    """Return the values of an annotation by column; millimetres, moments in UTC."""
    measured = measurements_of(annotation)
    image, registration = annotation.drawn_on_image, annotation.drawn_on_registration
    figures = {
        "length_mm": measured.length_mm,
        "length_uncertainty_mm": measured.uncertainty_mm,
        "area_mm2": measured.area_mm2,
        "area_uncertainty_mm2": measured.area_uncertainty_mm2,
    }
    return {
        "key": annotation.key,
        "id": annotation.pk,
        "url": annotation_iri(annotation),
        "frame_version": annotation.frame.version,
        **{name: getattr(annotation, name) for name in WORD_FIELDS},
        "geometry_mm_wkt": mm_text_of(shape_of(annotation)),
        **{name: None if value is None else round(value, _DECIMALS) for name, value in figures.items()},
        "can_resolve": measured.can_resolve,
        "drawn_on": str(image) if image is not None else None,
        "registration_version": registration.version if registration is not None else None,
        "author": annotation.author.name,
        "author_orcid": annotation.author.orcid,
        "created_at": utc_text(annotation.created_at),
        "edited_at": utc_text(annotation.edited_at),
        "revision": annotation.revision_number,
    }
