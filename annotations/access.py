"""The only door from a person to an annotation; what an image hides, its annotations hide as well.

- **See**: an annotation is open when its face is open and, where it was drawn on an image, that image is open. So an
  embargo closes the words said about an image together with its pixels, and readers and guests see what is left.
- **Draw**: contributors and leads; commenters (invited guests among them) only answer what others drew.
- **Change**: shape and words belong to their author, while still a contributor; nobody else edits them.
- **Withdraw**: the author, or a lead of the study. A withdrawn annotation speaks as such (410) to those who could see
  it; to everybody else absent, forbidden and withdrawn look the same (404). What it said stays in its history, which
  then only its author and the leads read.
"""

from django.core.exceptions import ValidationError
from django.db.models import Q

from annotations.errors import AnnotationWithdrawnError, OthersWordsError
from annotations.models import Annotation, AnnotationQuerySet, AnnotationStatus
from imaging.access import Viewer, access_face, faces_open_to, images_open_to, require_role, role_in_study
from imaging.errors import NotFoundError
from imaging.models import Face, Person, Role

__all__ = [
    "RELATED",
    "access_annotation",
    "access_annotation_history",
    "access_annotation_to_change",
    "access_annotation_to_withdraw",
    "access_face_to_draw",
    "access_known_annotation",
    "acting_person",
    "annotations_known_to",
    "annotations_of_face",
    "annotations_open_to",
    "every_annotation_of",
]

#: Rows that a document of an annotation needs; maps and grids of registrations are large and fetched apart.
RELATED = ("face__artwork__study", "frame", "author", "drawn_on_image__campaign", "drawn_on_registration")
_LARGE_COLUMNS = (
    "drawn_on_registration__map",
    "drawn_on_registration__uncertainty",
    "drawn_on_image__metadata",
    "drawn_on_image__statistics",
    "drawn_on_image__ingest_sheet",
)


def _drawn_where_open(viewer: Viewer) -> Q:
    """Return the condition that an annotation was drawn on no image or on one that is open."""
    return Q(drawn_on_image__isnull=True) | Q(drawn_on_image__in=images_open_to(viewer))


def annotations_known_to(viewer: Viewer) -> AnnotationQuerySet:
    """Return the annotations whose existence this person may know, withdrawn ones among them."""
    rows = Annotation.objects.filter(_drawn_where_open(viewer), face__in=faces_open_to(viewer))
    return rows.select_related(*RELATED).defer(*_LARGE_COLUMNS)


def annotations_open_to(viewer: Viewer) -> AnnotationQuerySet:
    """Return the annotations that this person may see."""
    return annotations_known_to(viewer).active()


def annotations_of_face(viewer: Viewer, face: Face) -> AnnotationQuerySet:
    """Return what this person may see on a face that came through the door already."""
    rows = Annotation.objects.filter(_drawn_where_open(viewer), face=face).active()
    return rows.select_related(*RELATED).defer(*_LARGE_COLUMNS).order_by("number")


def every_annotation_of(face: Face) -> AnnotationQuerySet:
    """Return everything on a face; only for whoever runs the program on its own machine, never for a request."""
    rows = Annotation.objects.filter(face=face).active()
    return rows.select_related(*RELATED).defer(*_LARGE_COLUMNS).order_by("number")


def access_known_annotation(viewer: Viewer, annotation_id: object) -> Annotation:
    """Return an annotation, withdrawn or not; absent, forbidden and misspelt get the same answer."""
    try:
        return annotations_known_to(viewer).get(pk=str(annotation_id))
    except (Annotation.DoesNotExist, ValidationError, ValueError):
        raise NotFoundError(noun="annotation", identifier=annotation_id) from None


def access_annotation(viewer: Viewer, annotation_id: object) -> Annotation:
    """Return an annotation open to this person; a withdrawn one says who withdrew it and when."""
    annotation = access_known_annotation(viewer, annotation_id)
    if annotation.status == AnnotationStatus.WITHDRAWN:
        raise AnnotationWithdrawnError(
            key=annotation.key, withdrawn_at=annotation.edited_at.isoformat(), by=annotation.edited_by.name
        )
    return annotation


def access_annotation_history(viewer: Viewer, annotation_id: object) -> Annotation:
    """Return an annotation whose revisions may be read; once withdrawn, by its author and the leads only."""
    annotation = access_known_annotation(viewer, annotation_id)
    is_lead = role_in_study(viewer, annotation.face.artwork.study_id) == Role.LEAD
    if is_lead or annotation.author_id == viewer.pk:
        return annotation
    return access_annotation(viewer, annotation_id)


def access_face_to_draw(viewer: Viewer, face_id: object) -> Face:
    """Return a face on which this person may draw."""
    face = access_face(viewer, face_id)
    require_role(viewer, face.artwork.study, needed=Role.CONTRIBUTOR)
    return face


def access_annotation_to_change(viewer: Viewer, annotation_id: object) -> Annotation:
    """Return an annotation whose shape and words this person may change: the author, still a contributor."""
    annotation = access_annotation(viewer, annotation_id)
    require_role(viewer, annotation.face.artwork.study, needed=Role.CONTRIBUTOR)
    _refuse_others(viewer, annotation)
    return annotation


def access_annotation_to_withdraw(viewer: Viewer, annotation_id: object) -> Annotation:
    """Return an annotation that this person may withdraw: its author, or a lead of the study."""
    annotation = access_annotation(viewer, annotation_id)
    study = annotation.face.artwork.study
    require_role(viewer, study, needed=Role.CONTRIBUTOR)
    if role_in_study(viewer, study.pk) != Role.LEAD:
        _refuse_others(viewer, annotation)
    return annotation


def acting_person(viewer: Viewer) -> Person:
    """Return the person behind a viewer who was given a role, which strangers never are."""
    assert isinstance(viewer, Person), viewer
    return viewer


def _refuse_others(viewer: Viewer, annotation: Annotation) -> None:
    """Refuse everybody but the author."""
    if annotation.author_id != viewer.pk:
        raise OthersWordsError(key=annotation.key, author=annotation.author.name)
