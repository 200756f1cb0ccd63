"""Draw an annotation: the user's first action on a place."""

from dataclasses import dataclass

from django.db import transaction
from django.db.models import Max
from shapely.geometry.base import BaseGeometry

from annotations.models import Annotation
from annotations.services.announcing import announce
from annotations.services.placing import columns_of_shape
from annotations.services.words import Words, refuse_unfit_words
from imaging.errors import FieldRefusedError, UnfitStateError
from imaging.models import Face, Frame, Person, Registration, TechnicalImage
from imaging.services.framing import current_frame
from imaging.services.registering import current_registration

__all__ = ["DrawnOn", "draw_annotation"]


@dataclass(frozen=True)
class DrawnOn:
    """What the author looked at: an image, and the registration that laid it into the frame."""

    image: TechnicalImage
    registration: Registration | None = None


@transaction.atomic
def draw_annotation(
    face: Face, *, shape_mm: BaseGeometry, words: Words, author: Person, drawn_on: DrawnOn | None = None
) -> Annotation:
    """Keep a new annotation under the next number of its face."""
    refuse_unfit_words(words.as_fields())
    registration = _registration_drawn_on(face, drawn_on)
    frame = _framed(face, registration)
    # The lock on the face gives each number once; readers and foreign keys pass it.
    Face.objects.select_for_update(no_key=True).get(pk=face.pk)
    newest = Annotation.objects.filter(face=face).aggregate(newest=Max("number"))["newest"] or 0
    annotation = Annotation.objects.create(
        face=face,
        frame=frame,
        number=newest + 1,
        drawn_on_image=drawn_on.image if drawn_on else None,
        drawn_on_registration=registration,
        author=author,
        edited_by=author,
        **columns_of_shape(shape_mm),
        **words.as_fields(),
    )
    announce(annotation)
    return annotation


def _registration_drawn_on(face: Face, drawn_on: DrawnOn | None) -> Registration | None:
    """Return the registration that laid the image into the frame; unstated, the one accepted now."""
    if drawn_on is None:
        return None
    image, stated = drawn_on.image, drawn_on.registration
    if image.face_id != face.pk:
        raise FieldRefusedError(field="drawn_on_image", given="an image of another face", needed="one of this face")
    if stated is not None and stated.image_id != image.pk:
        raise FieldRefusedError(
            field="drawn_on_registration", given="a registration of another image", needed="one of drawn_on_image"
        )
    registration = stated or current_registration(image)
    if registration is None:
        raise UnfitStateError(
            noun="image", state="not registered", needed="registered", remedy="Register the image before drawing on it."
        )
    return registration


def _framed(face: Face, registration: Registration | None) -> Frame:
    """Return the frame that the millimetres belong to: the one of the registration, or the newest."""
    if registration is not None:
        return registration.frame
    frame = current_frame(face)
    if frame is None:
        raise UnfitStateError(
            noun="face", state="without a frame", needed="framed", remedy="Set up the frame of the face first."
        )
    return frame
