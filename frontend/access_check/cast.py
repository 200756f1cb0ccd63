"""The people and rows that the check of access asks with and about; they live in a database of their own."""

import dataclasses
import datetime as dt
import uuid
from importlib import import_module
from pathlib import Path

import numpy as np
import tifffile
from django.conf import settings
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.utils import timezone
from shapely import LineString

from annotations.models import Annotation
from annotations.services.drawing import DrawnOn, draw_annotation
from annotations.services.words import Words
from imaging.models import (
    ApiToken,
    Artwork,
    Campaign,
    Face,
    Job,
    JobKind,
    Membership,
    Person,
    Pyramid,
    PyramidKind,
    Registration,
    Role,
    Site,
    Study,
    TechnicalImage,
    Upload,
)
from imaging.services.framing import FrameDescription, set_up_frame
from imaging.services.master_files import Incoming
from imaging.services.people import accept_invitation, create_study, invite_guest
from imaging.services.receiving import bring_in_image
from imaging.services.registering import register_by_stated_scale
from imaging.services.slips import Slip
from imaging.services.tasks import run_jobs_here
from imaging.services.uploading import begin_upload

__all__ = ["ROLES", "STATES", "Cast", "Subject", "make_cast", "session_key_of"]

#: Columns of the table; `owner` is the contributor who brought the images in.
ROLES = ("stranger", "guest", "outsider", "reader", "commenter", "contributor", "owner", "lead")
_CAMPAIGN_DATE = dt.date(2022, 2, 14)
#: States of an image; `embargo` would be open to guests if it were not closed.
STATES = ("public", "guests", "study", "site", "private", "embargo")


@dataclasses.dataclass
class Subject:
    """What hangs on one image."""

    image: TechnicalImage
    registration: Registration
    candidate: Registration
    pyramid: Pyramid
    annotation: Annotation
    job: Job


@dataclasses.dataclass
class Cast:
    """Everything that addresses are made of."""

    study: Study
    artwork: Artwork
    face: Face
    campaign: Campaign
    frame_id: uuid.UUID
    session_keys: dict[str, str]
    subjects: dict[str, Subject]
    membership: Membership
    invitation_id: uuid.UUID
    invitation_secret: str
    token: ApiToken
    upload: Upload
    study_job: Job


def make_cast(folder: Path) -> Cast:
    """Return people of every role, and one small image in every state, brought in by the real services."""
    site, other_site = Site.objects.create(name="Studio North"), Site.objects.create(name="Lab South")
    people = {role: _make_account(role) for role in ROLES if role not in ("stranger", "guest")}
    study = create_study("Access check", founder=people["lead"], site=other_site)
    create_study("Another study", founder=people["outsider"])
    for role, part in (
        ("reader", Role.READER),
        ("commenter", Role.COMMENTER),
        ("contributor", Role.CONTRIBUTOR),
        ("owner", Role.CONTRIBUTOR),
    ):
        Membership.objects.create(
            study=study, person=people[role], role=part, site=other_site if role == "commenter" else site
        )
    invitation, _secret = invite_guest(study, guest_name="Rafe Ellingsund", days=2, invited_by=people["lead"])
    people["guest"] = accept_invitation(invitation)
    _, open_secret = invite_guest(study, guest_name="Nobody yet", days=2, invited_by=people["lead"])
    artwork = Artwork.objects.create(
        study=study, inventory_number="AC 1", title="Small test panel", height_mm=24.0, width_mm=32.0
    )
    face = Face.objects.create(artwork=artwork)
    campaign = Campaign.objects.create(artwork=artwork, state="before", begun_on=_CAMPAIGN_DATE)
    frame = set_up_frame(
        face, FrameDescription(width_mm=32.0, height_mm=24.0, canvas_pitch_mm=0.1), made_by=people["owner"]
    )
    painting = _write_small_painting(folder)
    subjects = {
        state: _make_subject(state, face, painting=painting, owner=people["owner"], site=site) for state in STATES
    }
    return Cast(
        study=study,
        artwork=artwork,
        face=face,
        campaign=campaign,
        frame_id=frame.pk,
        session_keys={role: session_key_of(person) for role, person in people.items()},
        subjects=subjects,
        membership=Membership.objects.get(study=study, person=people["reader"]),
        invitation_id=invitation.pk,
        invitation_secret=open_secret,
        token=ApiToken.objects.create(person=people["contributor"], digest="0" * 64),
        upload=begin_upload(
            people["contributor"],
            face_id=str(face.pk),
            size_bytes=10,
            name="part.tif",
            fields={"modality": "VIS", "state": "before"},
        ),
        study_job=Job.objects.create(kind=JobKind.VERIFY, study=study),
    )


def _make_account(role: str) -> Person:
    """Return a person who can sign in."""
    return Person.objects.create_user(f"{role}@example.org", None, name=role.capitalize())


def session_key_of(person: Person) -> str:
    """Return the key of a session in which a person is signed in, as Django's own sign-in makes it."""
    session = import_module(settings.SESSION_ENGINE).SessionStore()
    session[SESSION_KEY] = str(person.pk)
    session[BACKEND_SESSION_KEY] = settings.AUTHENTICATION_BACKENDS[0]
    session[HASH_SESSION_KEY] = person.get_session_auth_hash()
    session.create()
    return str(session.session_key)


def _write_small_painting(folder: Path) -> Path:
    """Write a picture of 320 x 240 px with something to see in it."""
    rows, columns = np.mgrid[0:240, 0:320]
    pixels = np.stack([rows % 256, columns % 256, (rows + columns) % 256], axis=-1).astype(np.uint8)
    path = folder / "ac-1_vis_bt_front_v1.tif"
    tifffile.imwrite(path, pixels, photometric="rgb", resolution=(254, 254), resolutionunit="INCH")
    return path


def _make_subject(state: str, face: Face, *, painting: Path, owner: Person, site: Site) -> Subject:
    """Bring the picture in under a state, read and publish it as a worker would, and draw one line on it."""
    is_embargo = state == "embargo"
    slip = Slip(
        modality="VIS",
        state="before",
        title=state,
        um_per_px=100.0,
        visibility="guests" if is_embargo else state,
        embargo_until=timezone.localdate() + dt.timedelta(days=30) if is_embargo else None,
        site=site.name,
        campaign_date=_CAMPAIGN_DATE,
    )
    incoming = Incoming(path=painting, name=painting.name)
    image = bring_in_image(incoming, slip, face=face, person=owner).image
    run_jobs_here(image)
    image.refresh_from_db()
    registration = image.registrations.get(status="accepted")
    return Subject(
        image=image,
        registration=registration,
        candidate=register_by_stated_scale(image, registration.frame, made_by=owner),
        pyramid=image.pyramids.get(kind=PyramidKind.DISPLAY, is_current=True),
        annotation=draw_annotation(
            face,
            shape_mm=LineString([(2.0, 2.0), (8.0, 4.0)]),
            words=Words(observation=f"A line on {state}."),
            author=owner,
            drawn_on=DrawnOn(image, registration),
        ),
        job=image.jobs.latest("wanted_at"),
    )
