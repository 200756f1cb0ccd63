"""The only door from a person to a row: who may know that it exists, who may see it, who may change it.

Visibility says who may see an image when nothing else lies on it; an embargo closes it for all but the leads of the
study and the person who brought it in. Members may know that a closed image exists, guests and strangers may not.
"""

import uuid
from typing import Any, TypeAlias, TypeVar

from django.contrib.auth.models import AnonymousUser
from django.core.exceptions import ObjectDoesNotExist, ValidationError
from django.db.models import Exists, Model, OuterRef, Q, QuerySet
from django.utils import timezone

from imaging.errors import ImageClosedError, NotFoundError, RoleNeededError
from imaging.models import (
    ApiToken,
    Artwork,
    Campaign,
    Face,
    Frame,
    ImageStatus,
    Invitation,
    Job,
    Membership,
    Person,
    Pyramid,
    Registration,
    Role,
    Study,
    TechnicalImage,
    Upload,
    Visibility,
)

__all__ = [
    "ROLE_RANK",
    "Viewer",
    "access_api_token",
    "access_artwork",
    "access_campaign",
    "access_face",
    "access_frame",
    "access_image",
    "access_invitation",
    "access_job",
    "access_known_image",
    "access_membership",
    "access_pyramid",
    "access_registration",
    "access_study",
    "access_upload",
    "artworks_open_to",
    "campaigns_open_to",
    "faces_open_to",
    "frames_open_to",
    "images_known_to",
    "images_open_to",
    "jobs_open_to",
    "require_role",
    "role_in_study",
    "sheet_lines_known_to",
    "studies_open_to",
]

Viewer: TypeAlias = Person | AnonymousUser
ROLE_RANK = {Role.READER: 0, Role.COMMENTER: 1, Role.CONTRIBUTOR: 2, Role.LEAD: 3}
_Row = TypeVar("_Row", bound=Model)


def _guest_study_id(viewer: Viewer) -> uuid.UUID | None:
    """Return the study that a guest's invitation opens now, if any."""
    if not isinstance(viewer, Person) or viewer.invitation is None:
        return None
    return viewer.invitation.study_id if viewer.invitation.is_valid else None


def _memberships_of(viewer: Viewer) -> list[Membership]:
    """Return the memberships that count now; an inactive person has none."""
    if not isinstance(viewer, Person) or not viewer.is_active or viewer.is_guest:
        return []
    return list(viewer.memberships.all())


def role_in_study(viewer: Viewer, study_id: uuid.UUID) -> str | None:
    """Return the role of a person in a study; a guest with a valid link comments, strangers have none."""
    for membership in _memberships_of(viewer):
        if membership.study_id == study_id:
            return membership.role
    return Role.COMMENTER if _guest_study_id(viewer) == study_id else None


def require_role(viewer: Viewer, study: Study, *, needed: Role) -> Person:
    """Return the person if they have at least a role; the study must already have been found through this door."""
    role = role_in_study(viewer, study.pk)
    if isinstance(viewer, Person) and role is not None and ROLE_RANK[Role(role)] >= ROLE_RANK[needed]:
        return viewer
    raise RoleNeededError(given=role or "visitor", needed=needed.value, study=study.name)


def _not_under_embargo() -> Q:
    """Return the condition that no embargo lies on an image today."""
    return Q(embargo_until__isnull=True) | Q(embargo_until__lte=timezone.localdate())


def _visible_to(viewer: Viewer) -> Q:
    """Return the condition that an image's visibility includes this person, embargo aside."""
    condition = Q(visibility=Visibility.PUBLIC)
    guest_study = _guest_study_id(viewer)
    if guest_study is not None:
        condition |= Q(visibility=Visibility.GUESTS, face__artwork__study_id=guest_study)
    for membership in _memberships_of(viewer):
        in_study = Q(face__artwork__study_id=membership.study_id)
        condition |= in_study & Q(visibility__in=[Visibility.STUDY, Visibility.GUESTS])
        condition |= in_study & Q(visibility=Visibility.PRIVATE, brought_in_by=membership.person_id)
        if membership.role == Role.LEAD:
            condition |= in_study & Q(visibility=Visibility.SITE)
        elif membership.site_id is not None:
            condition |= in_study & Q(visibility=Visibility.SITE, site_id=membership.site_id)
    return condition


def _open_despite_embargo(viewer: Viewer) -> Q:
    """Return the condition under which an embargo does not close an image to this person."""
    condition = Q(pk__in=[])
    for membership in _memberships_of(viewer):
        in_study = Q(face__artwork__study_id=membership.study_id)
        condition |= in_study if membership.role == Role.LEAD else in_study & Q(brought_in_by=membership.person_id)
    return condition


def images_open_to(viewer: Viewer) -> QuerySet[TechnicalImage]:
    """Return the images whose pixels, and everything derived from them, this person may see."""
    return TechnicalImage.objects.filter(
        _visible_to(viewer), _not_under_embargo() | _open_despite_embargo(viewer)
    ).exclude(status=ImageStatus.WITHDRAWN)


def images_known_to(viewer: Viewer) -> QuerySet[TechnicalImage]:
    """Return the images that this person may know to exist, closed ones among them."""
    member_studies = [membership.study_id for membership in _memberships_of(viewer)]
    return TechnicalImage.objects.filter(
        _visible_to(viewer), _not_under_embargo() | Q(face__artwork__study_id__in=member_studies)
    ).exclude(status=ImageStatus.WITHDRAWN)


def sheet_lines_known_to(viewer: Viewer, image: TechnicalImage) -> list[dict[str, Any]]:
    """Return the lines of an image's sheet without those that name an image the person may not know of."""
    named = [line["image"] for line in image.ingest_sheet if line.get("image")]
    known = (
        {str(pk) for pk in images_known_to(viewer).filter(pk__in=named).values_list("pk", flat=True)} if named else ()
    )
    return [line for line in image.ingest_sheet if not line.get("image") or line["image"] in known]


def studies_open_to(viewer: Viewer) -> QuerySet[Study]:
    """Return the studies that this person takes part in or was invited to."""
    ids = {membership.study_id for membership in _memberships_of(viewer)} | {_guest_study_id(viewer)}
    return Study.objects.filter(pk__in=[study_id for study_id in ids if study_id is not None])


def artworks_open_to(viewer: Viewer) -> QuerySet[Artwork]:
    """Return works of one's studies; guests and strangers get those with an image open to them."""
    member_studies = [membership.study_id for membership in _memberships_of(viewer)]
    has_open_image = Exists(images_open_to(viewer).filter(face__artwork=OuterRef("pk")))
    return Artwork.objects.filter(Q(study_id__in=member_studies) | has_open_image)


def faces_open_to(viewer: Viewer) -> QuerySet[Face]:
    """Return the faces of works that are open to this person."""
    return Face.objects.filter(artwork__in=artworks_open_to(viewer))


def frames_open_to(viewer: Viewer) -> QuerySet[Frame]:
    """Return the frame versions of faces that are open to this person."""
    return Frame.objects.filter(face__in=faces_open_to(viewer))


def campaigns_open_to(viewer: Viewer) -> QuerySet[Campaign]:
    """Return campaigns of one's studies; others only learn of those with an image open to them."""
    member_studies = [membership.study_id for membership in _memberships_of(viewer)]
    has_open_image = Exists(images_open_to(viewer).filter(campaign=OuterRef("pk")))
    return Campaign.objects.filter(Q(artwork__study_id__in=member_studies) | has_open_image)


def jobs_open_to(viewer: Viewer) -> QuerySet[Job]:
    """Return jobs on images open to a member, and study-wide jobs of studies that the member leads."""
    if not _memberships_of(viewer):
        return Job.objects.none()
    led = [membership.study_id for membership in _memberships_of(viewer) if membership.role == Role.LEAD]
    member_studies = [membership.study_id for membership in _memberships_of(viewer)]
    of_image = Q(image__in=images_open_to(viewer).filter(face__artwork__study_id__in=member_studies))
    return Job.objects.filter(of_image | Q(image__isnull=True, study_id__in=led))


def _found(rows: QuerySet[_Row], noun: str, **lookup: Any) -> _Row:
    """Return the one row, or the same answer for absent, forbidden and misspelt."""
    try:
        return rows.get(**lookup)
    except (ObjectDoesNotExist, ValidationError, ValueError):
        # A malformed identifier raises Django's ValidationError; it must look like any other absent row.
        raise NotFoundError(noun=noun, identifier=lookup.get("pk", "")) from None


def access_study(viewer: Viewer, study_id: object) -> Study:
    """Return a study open to this person."""
    return _found(studies_open_to(viewer), "study", pk=study_id)


def access_artwork(viewer: Viewer, artwork_id: object) -> Artwork:
    """Return a work open to this person."""
    return _found(artworks_open_to(viewer).select_related("study"), "artwork", pk=artwork_id)


def access_face(viewer: Viewer, face_id: object) -> Face:
    """Return a face open to this person."""
    return _found(faces_open_to(viewer).select_related("artwork__study"), "face", pk=face_id)


def access_frame(viewer: Viewer, frame_id: object) -> Frame:
    """Return a frame version open to this person."""
    return _found(frames_open_to(viewer).select_related("face__artwork__study"), "frame", pk=frame_id)


def access_campaign(viewer: Viewer, campaign_id: object) -> Campaign:
    """Return a campaign open to this person."""
    return _found(campaigns_open_to(viewer).select_related("artwork__study"), "campaign", pk=campaign_id)


def access_known_image(viewer: Viewer, image_id: object) -> TechnicalImage:
    """Return an image whose existence this person may know; its pixels may still be closed."""
    rows = images_known_to(viewer).select_related("face__artwork__study", "campaign", "master", "site")
    return _found(rows, "image", pk=image_id)


def access_image(viewer: Viewer, image_id: object) -> TechnicalImage:
    """Return an image whose pixels are open to this person; known but closed says until when."""
    image = access_known_image(viewer, image_id)
    _refuse_closed(viewer, image)
    return image


def _refuse_closed(viewer: Viewer, image: TechnicalImage) -> None:
    """Refuse a known image that an embargo closes to this person."""
    if images_open_to(viewer).filter(pk=image.pk).exists():
        return
    leads = Membership.objects.filter(study=image.study, role=Role.LEAD).select_related("person")
    names = ", ".join(sorted(membership.person.name for membership in leads))
    assert image.embargo_until is not None
    raise ImageClosedError(image_id=image.pk, closed_until=image.embargo_until, ask=names or image.study.name)


def access_registration(viewer: Viewer, registration_id: object) -> Registration:
    """Return a registration of an image that is open to this person."""
    rows = Registration.objects.filter(image__in=images_known_to(viewer)).select_related(
        "image__face__artwork__study", "image__campaign", "image__master", "frame"
    )
    registration = _found(rows, "registration", pk=registration_id)
    _refuse_closed(viewer, registration.image)
    return registration


def access_pyramid(viewer: Viewer, pyramid_id: object) -> Pyramid:
    """Return a pyramid of an image that is open to this person."""
    rows = Pyramid.objects.filter(image__in=images_known_to(viewer)).select_related("image__face__artwork__study")
    pyramid = _found(rows, "pyramid", pk=pyramid_id)
    _refuse_closed(viewer, pyramid.image)
    return pyramid


def access_job(viewer: Viewer, job_id: object) -> Job:
    """Return a job that this person may watch."""
    return _found(jobs_open_to(viewer).select_related("image", "study"), "job", pk=job_id)


def access_upload(viewer: Viewer, upload_id: object) -> Upload:
    """Return an upload of this very person."""
    rows = Upload.objects.filter(person=viewer) if isinstance(viewer, Person) else Upload.objects.none()
    return _found(rows.select_related("face__artwork__study"), "upload", pk=upload_id)


def access_api_token(viewer: Viewer, token_id: object) -> ApiToken:
    """Return a token of this very person."""
    rows = ApiToken.objects.filter(person=viewer) if isinstance(viewer, Person) else ApiToken.objects.none()
    return _found(rows, "token", pk=token_id)


def access_invitation(viewer: Viewer, invitation_id: object) -> Invitation:
    """Return an invitation to a study that this person leads."""
    led = [membership.study_id for membership in _memberships_of(viewer) if membership.role == Role.LEAD]
    return _found(Invitation.objects.filter(study_id__in=led).select_related("study"), "invitation", pk=invitation_id)


def access_membership(viewer: Viewer, membership_id: object) -> Membership:
    """Return a membership of a study that this person takes part in."""
    rows = Membership.objects.filter(study__in=[membership.study_id for membership in _memberships_of(viewer)])
    return _found(rows.select_related("study", "person", "site"), "membership", pk=membership_id)
