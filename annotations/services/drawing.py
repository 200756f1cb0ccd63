"""Draw an annotation: the user's first action on a place."""

from dataclasses import dataclass

from django.db import transaction
from django.db.models import Max
from shapely.geometry.base import BaseGeometry

from annotations.models import Annotation
from annotations.services.announcing import announce
from annotations.services.following import shape_in_frame
from annotations.services.placing import columns_of_shape
from annotations.services.words import Words, refuse_unfit_words
from imaging.errors import FieldRefusedError, UnfitStateError
from imaging.models import Face, Frame, Person, Registration, TechnicalImage
from imaging.services.framing import current_frame
from imaging.services.registering import current_registration

__all__ = ["DrawnOn", "draw_annotation"]


@dataclass(frozen=True)
class DrawnOn:
    """What the author looked at: an image, the registration that laid it into the frame, and the frame itself.

    A page that was opened before the frame was corrected speaks of older millimetres; the registration or the frame
    named here says so.
    """

    image: TechnicalImage | None = None
    registration: Registration | None = None
    frame: Frame | None = None


@transaction.atomic
def draw_annotation(
    face: Face, *, shape_mm: BaseGeometry, words: Words, author: Person, drawn_on: DrawnOn | None = None
) -> Annotation:
    """Keep a new annotation under the next number of its face, in the newest millimetres."""
    refuse_unfit_words(words.as_fields())
    drawn_on = drawn_on or DrawnOn()
    # The lock on the face gives each number once and lets no correction of the frame pass by; readers and foreign
    # keys pass it.
    Face.objects.select_for_update(no_key=True).get(pk=face.pk)
    registration = _registration_drawn_on(face, drawn_on)
    newest_frame = _framed(face)
    frame = drawn_on.frame or (registration.frame if registration is not None else newest_frame)
    if frame.face_id != face.pk:
        raise FieldRefusedError(field="frame", given="a frame of another face", needed="one of this face")
    newest = Annotation.objects.filter(face=face).aggregate(newest=Max("number"))["newest"] or 0
    annotation = Annotation.objects.create(
        face=face,
        frame=newest_frame,
        number=newest + 1,
        drawn_on_image=drawn_on.image,
        drawn_on_registration=registration,
        author=author,
        edited_by=author,
        **columns_of_shape(shape_in_frame(shape_mm, frame, newest=newest_frame)),
        **words.as_fields(),
    )
    announce(annotation)
    return annotation


def _registration_drawn_on(face: Face, drawn_on: DrawnOn) -> Registration | None:
    """Return the registration that laid the image into the frame; unstated, the one accepted now."""
    image, stated = drawn_on.image, drawn_on.registration
    if image is None:
        return None
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


def _framed(face: Face) -> Frame:
    """Return the newest frame version of a face."""
    frame = current_frame(face)
    if frame is None:
        raise UnfitStateError(
            noun="face", state="without a frame", needed="framed", remedy="Set up the frame of the face first."
        )
    return frame
