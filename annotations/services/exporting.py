"""An annotation as it leaves: every address absolute, every place in millimetres and in pixels of its sources."""

import datetime as dt

from django.conf import settings
from shapely.geometry.base import BaseGeometry

from annotations.compute.projections import projected_shape
from annotations.interop.agents import Agent
from annotations.interop.bodies import MARKDOWN, Body, ConceptBody, TextBody
from annotations.interop.media_fragment import enclosing_box_px
from annotations.interop.mm_fragment import PHYSICAL_MM_PATH
from annotations.interop.targets import PlacedTarget, SourceState, Target
from annotations.interop.web_annotation import WebAnnotation
from annotations.models import Annotation
from annotations.services.placing import placed_by, registration_in_frame, shape_of
from imaging.compute.frames import CanvasGrid
from imaging.models import Campaign, Frame, Person, Registration, TechnicalImage

__all__ = ["CERTAINTY_PATH", "annotation_iri", "container_iri", "web_annotation_of"]

#: Path of the text that names the five degrees of certainty.
CERTAINTY_PATH = "/ns/certainty/1"
_SOFTWARE_NAME = "Mahlstick"
#: A frozen picture of the source needs no more pixels than a page shows.
_CACHED_WIDTH_PX = 2048
_ORCID_ADDRESS = "https://orcid.org/"


def annotation_iri(annotation: Annotation) -> str:
    """Return the address that names an annotation for good."""
    return f"{settings.PUBLIC_ADDRESS}/annotations/{annotation.pk}"


def container_iri(face_id: object) -> str:
    """Return the address of the container of a face's annotations."""
    return f"{settings.PUBLIC_ADDRESS}/faces/{face_id}/annotations/"


def web_annotation_of(annotation: Annotation) -> WebAnnotation:
    """Return an annotation as the Web Annotation that its address answers with."""
    bodies = _bodies_of(annotation)
    work = annotation.face.artwork
    return WebAnnotation(
        iri=annotation_iri(annotation),
        targets=_targets_of(annotation),
        bodies=bodies,
        motivation=_motivation_of(annotation),
        title=annotation.title or None,
        number=annotation.key,
        creator=_agent_of(annotation.author),
        generator=Agent(_SOFTWARE_NAME, "Software", f"{settings.PUBLIC_ADDRESS}/"),
        created=annotation.created_at,
        modified=annotation.edited_at,
        rights=(work.rights_uri,) if work.rights_uri else (),
    )


def _agent_of(person: Person) -> Agent:
    """Return a person as an agent, named by the ORCID when there is one."""
    return Agent(person.name, "Person", f"{_ORCID_ADDRESS}{person.orcid}" if person.orcid else None)


def _motivation_of(annotation: Annotation) -> str:
    """Return the one motivation that tells best why the annotation was made."""
    if annotation.observation:
        return "describing"
    if annotation.interpretation:
        return "commenting"
    return "classifying" if annotation.subject or annotation.certainty else "highlighting"


def _bodies_of(annotation: Annotation) -> tuple[Body, ...]:
    """Return what was seen, what was concluded, what is said and how sure the author is."""
    bodies: list[Body] = []
    # The context of 2017 lacks "assessing", so a conclusion says "commenting" and no reader loses it.
    for text, purpose in ((annotation.observation, "describing"), (annotation.interpretation, "commenting")):
        if text:
            bodies.append(TextBody(text, purpose, annotation.text_language, MARKDOWN))
    if annotation.subject:
        bodies.append(TextBody(annotation.subject, "tagging", "en", "text/plain"))
    if annotation.certainty:
        source = f"{settings.PUBLIC_ADDRESS}{CERTAINTY_PATH}#{annotation.certainty}"
        bodies.append(ConceptBody(source, "classifying", annotation.certainty_reason or None))
    return tuple(bodies)


def _targets_of(annotation: Annotation) -> tuple[Target, ...]:
    """Return the place on the frame's canvas and, when drawn on an image, in that image's own pixels."""
    shape_mm = shape_of(annotation)
    image, registration = annotation.drawn_on_image, registration_in_frame(annotation)
    canvas = _canvas_target(annotation, shape_mm, registration)
    if image is None or registration is None:
        return (canvas,)
    return canvas, _image_target(annotation, shape_mm, image, registration)


def _canvas_of(frame: Frame) -> CanvasGrid:
    """Return the canvas of a frame version: origin at the datum, its own pitch, whole pixels."""
    pitch_mm = frame.canvas_pitch_mm
    width_px, height_px = (max(1, round(size_mm / pitch_mm)) for size_mm in (frame.width_mm, frame.height_mm))
    return CanvasGrid(0.0, 0.0, pitch_mm, width_px, height_px)


def _frame_iri(frame: Frame) -> str:
    """Return the address of a frame version."""
    return f"{settings.PUBLIC_ADDRESS}/frames/{frame.pk}"


def _canvas_target(annotation: Annotation, shape_mm: BaseGeometry, registration: Registration | None) -> PlacedTarget:
    """Return the place on the canvas; its state says when the face was as the author saw it."""
    canvas = _canvas_of(annotation.frame)
    shape_px = projected_shape(shape_mm, canvas.px_from_mm)
    image = annotation.drawn_on_image
    return PlacedTarget(
        source=_frame_iri(annotation.frame),
        shape_mm=shape_mm,
        shape_px=shape_px,
        box_px=enclosing_box_px(shape_px, (canvas.width_px, canvas.height_px)),
        mm_profile=f"{settings.PUBLIC_ADDRESS}{PHYSICAL_MM_PATH}",
        state=_state_of(image, annotation.frame, registration) if image is not None else None,
    )


def _image_target(
    annotation: Annotation, shape_mm: BaseGeometry, image: TechnicalImage, registration: Registration
) -> PlacedTarget:
    """Return the place in the pixels of the master, through the registration it was drawn on."""
    frame_map, _uncertainty = placed_by(registration)
    shape_px = projected_shape(shape_mm, frame_map.px_from_mm)
    size_px = frame_map.image_size_px
    return PlacedTarget(
        source=f"{settings.PUBLIC_ADDRESS}/images/{image.pk}/",
        shape_mm=shape_mm,
        shape_px=shape_px,
        box_px=enclosing_box_px(shape_px, size_px) if size_px else None,
        mm_profile=f"{settings.PUBLIC_ADDRESS}{PHYSICAL_MM_PATH}",
        state=_state_of(image, annotation.frame, registration),
        scope=_frame_iri(annotation.frame),
        rights=image.rights_uri or None,
    )


def _state_of(image: TechnicalImage, frame: Frame, registration: Registration | None) -> SourceState:
    """Return when an image was taken, and a picture of the face pinned to image and registration version."""
    begun_at, ended_at = _moments_of(image.campaign)
    cached = None
    if registration is not None:
        width_px = min(_CACHED_WIDTH_PX, _canvas_of(frame).width_px)
        place = f"x_mm=0&y_mm=0&width_mm={frame.width_mm:g}&height_mm={frame.height_mm:g}&width_px={width_px}"
        cached = (
            f"{settings.PUBLIC_ADDRESS}/api/v1/images/{image.pk}/window?{place}&format=png"
            f"&registration={registration.pk}"
        )
    return SourceState(begun_at, ended_at, cached)


def _moments_of(campaign: Campaign) -> tuple[dt.datetime | None, dt.datetime | None]:
    """Return the first and last day of a campaign as moments in UTC; a single day twice."""
    if campaign.begun_on is None:
        return None, None
    days = campaign.begun_on, campaign.ended_on or campaign.begun_on
    begun_at, ended_at = (dt.datetime.combine(day, dt.time(), dt.UTC) for day in days)
    return begun_at, ended_at
