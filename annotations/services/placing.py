"""Where a drawn shape lies: its columns in the database, and its pixels in an image."""

from functools import lru_cache
from typing import Any
from uuid import UUID

from shapely.geometry.base import BaseGeometry

from annotations.compute.geometries import geometry_from_wkb, geometry_to_wkb
from annotations.models import Annotation
from imaging.compute.maps import FrameMap
from imaging.compute.registration.uncertainty import UncertaintyGrid
from imaging.models import Registration, RegistrationStatus

__all__ = ["columns_of_shape", "placed_by", "registration_in_frame", "shape_of"]

# A registration never changes its map, so a few dozen parsed ones serve every list and page.
_KEPT_MAPS = 64


def columns_of_shape(shape_mm: BaseGeometry) -> dict[str, Any]:
    """Return the columns that keep a shape and the box around it."""
    min_x_mm, min_y_mm, max_x_mm, max_y_mm = shape_mm.bounds
    return {
        "geometry_wkb": geometry_to_wkb(shape_mm),
        "min_x_mm": min_x_mm,
        "min_y_mm": min_y_mm,
        "max_x_mm": max_x_mm,
        "max_y_mm": max_y_mm,
    }


def shape_of(annotation: Annotation) -> BaseGeometry:
    """Return the shape of an annotation in millimetres of its frame."""
    return geometry_from_wkb(bytes(annotation.geometry_wkb))


def registration_in_frame(annotation: Annotation) -> Registration | None:
    """Return the registration that lays an annotation's frame on the image it was drawn on.

    After a correction of the frame the one it was drawn on speaks of older millimetres; its equal in the new ones takes
    its place, or else the image's accepted one.
    """
    drawn_on, image = annotation.drawn_on_registration, annotation.drawn_on_image
    if drawn_on is not None and drawn_on.frame_id == annotation.frame_id:
        return drawn_on
    if image is None:
        return None
    rows = image.registrations.filter(frame=annotation.frame_id).defer("map", "uncertainty")
    equal = rows.filter(quality__carried_over_from=drawn_on.version).first() if drawn_on is not None else None
    return equal or rows.filter(status=RegistrationStatus.ACCEPTED).first()


def placed_by(registration: Registration) -> tuple[FrameMap, UncertaintyGrid | None]:
    """Return the map of a registration and how well it is known."""
    return _parsed_registration(registration.pk)


@lru_cache(maxsize=_KEPT_MAPS)
def _parsed_registration(registration_id: UUID) -> tuple[FrameMap, UncertaintyGrid | None]:
    """Return map and uncertainty of a registration, read once."""
    columns = Registration.objects.values_list("map", "uncertainty").get(pk=registration_id)
    return FrameMap.from_json(columns[0]), UncertaintyGrid.from_json(columns[1]) if columns[1] else None
