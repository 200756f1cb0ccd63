"""Every route of the server with an address made of the cast; a test fails when a URL pattern is missing here."""

import base64
import dataclasses
from collections.abc import Callable
from typing import Any

from frontend.access_check.cast import Cast, Subject

__all__ = [
    "ANY_STATE",
    "ROUTES",
    "Route",
]

ANY_STATE = "-"


@dataclasses.dataclass(frozen=True)
class Route:
    """One thing that can be asked of the server.

    `name` is that of the URL pattern, with the method in front unless it is GET; `path` gets the cast and, where
    `is_of_image`, what hangs on an image in one state. `finds` turns a list into a yes or no: whether it holds the row.
    """

    name: str
    path: Callable[[Cast, Subject], str]
    method: str = "GET"
    is_of_image: bool = False
    body: dict[str, Any] | None = None
    is_form: bool = False
    accept: str = "text/html"
    headers: Callable[[Cast], dict[str, str]] = lambda cast: {}
    finds: Callable[[Subject], str] | None = None

    @property
    def label(self) -> str:
        """Return what the table calls it."""
        return f"{'' if self.method == 'GET' else self.method + ' '}{self.name}{' holds it' if self.finds else ''}"


def _of_image(name: str, path: Callable[[Subject], str], **options: Any) -> Route:
    """Return a route that is asked in every state of an image."""
    return Route(name, lambda cast, subject: path(subject), is_of_image=True, **options)


def _of_cast(name: str, path: Callable[[Cast], str], **options: Any) -> Route:
    """Return a route that no image decides on."""
    return Route(name, lambda cast, subject: path(cast), **options)


def _listing(name: str, path: Callable[[Cast], str], identifier: Callable[[Subject], Any]) -> Route:
    """Return a list that is searched for a row of each state."""
    return Route(
        name, lambda cast, subject: path(cast), is_of_image=True, accept="*/*", finds=lambda row: str(identifier(row))
    )


_WINDOW = "?x_mm=0&y_mm=0&width_mm=8&height_mm=6&width_px=16&format=png"

_PAGES = (
    _of_cast("works", lambda cast: "/"),
    _of_cast("artwork", lambda cast: f"/works/{cast.artwork.pk}/"),
    _of_cast("work-correction", lambda cast: f"/works/{cast.artwork.pk}/correction/"),
    _of_cast("work-faces", lambda cast: f"/works/{cast.artwork.pk}/faces", method="POST", body={}, is_form=True),
    _of_cast("study-new", lambda cast: "/studies/"),
    _of_cast("study-works", lambda cast: f"/studies/{cast.study.pk}/works/"),
    _of_cast("bring-in", lambda cast: f"/works/{cast.artwork.pk}/bring-in/"),
    _of_cast("examine", lambda cast: f"/faces/{cast.face.pk}/examine/"),
    _of_cast("frame-setup", lambda cast: f"/faces/{cast.face.pk}/frame/"),
    _of_cast(
        "frame-correction", lambda cast: f"/frames/{cast.frame_id}/correction", method="POST", body={}, is_form=True
    ),
    _of_cast("frame", lambda cast: f"/frames/{cast.frame_id}"),
    _of_image("image", lambda row: f"/images/{row.image.pk}/"),
    _of_image(
        "image-correction", lambda row: f"/images/{row.image.pk}/correction", method="POST", body={}, is_form=True
    ),
    _of_image("lay-by-scale", lambda row: f"/images/{row.image.pk}/scale", method="POST", body={}, is_form=True),
    _of_image("image-tone", lambda row: f"/images/{row.image.pk}/tone", method="POST", body={}, is_form=True),
    _of_image("points", lambda row: f"/images/{row.image.pk}/points/"),
    _of_image("registration", lambda row: f"/registrations/{row.candidate.pk}/"),
    _of_image(
        "registration-judge",
        lambda row: f"/registrations/{row.candidate.pk}/judge",
        method="POST",
        body={"do": "refuse"},
        is_form=True,
    ),
    _of_cast("jobs", lambda cast: "/jobs/"),
    _of_image("job", lambda row: f"/jobs/{row.job.pk}", method="POST", body={"do": "stop"}, is_form=True),
    _of_cast("storage", lambda cast: "/storage/"),
    _of_cast("study", lambda cast: f"/studies/{cast.study.pk}/"),
    _of_cast("study-members", lambda cast: f"/studies/{cast.study.pk}/members", method="POST", body={}, is_form=True),
    _of_cast(
        "study-invitations", lambda cast: f"/studies/{cast.study.pk}/invitations", method="POST", body={}, is_form=True
    ),
    _of_cast("member", lambda cast: f"/memberships/{cast.membership.pk}", method="POST", body={}, is_form=True),
    _of_cast(
        "invitation-end", lambda cast: "/invitations/00000000-0000-0000-0000-000000000000/end", method="POST", body={}
    ),
    _of_cast("invited", lambda cast: f"/invited/{cast.invitation_secret}/"),
    _of_cast("me", lambda cast: "/me/"),
    _of_cast("token-make", lambda cast: "/me/tokens", method="POST", body={}, is_form=True),
    _of_cast("token-end", lambda cast: f"/me/tokens/{cast.token.pk}/end", method="POST", body={}, is_form=True),
    _of_image("annotation-page", lambda row: f"/annotations/{row.annotation.pk}"),
    _of_cast("face-annotations", lambda cast: f"/faces/{cast.face.pk}/annotations/", accept="application/ld+json"),
    _of_cast("physical-mm", lambda cast: "/ns/physical-mm/1"),
    _of_cast("certainty-degrees", lambda cast: "/ns/certainty/1"),
    _listing("face-annotations", lambda cast: f"/faces/{cast.face.pk}/annotations/", lambda row: row.annotation.pk),
    _listing("artwork", lambda cast: f"/works/{cast.artwork.pk}/", lambda row: row.image.pk),
    _listing("examine", lambda cast: f"/faces/{cast.face.pk}/examine/", lambda row: row.image.pk),
    _listing("examine tiles", lambda cast: f"/faces/{cast.face.pk}/examine/", lambda row: row.pyramid.pk),
)

_API = (
    _of_cast("schema", lambda cast: "/api/v1/schema/", accept="application/json"),
    _of_cast("study-detail", lambda cast: f"/api/v1/studies/{cast.study.pk}"),
    _of_cast("study-list", lambda cast: "/api/v1/studies/"),
    _of_cast("artwork-list", lambda cast: "/api/v1/artworks/"),
    _of_cast("artwork-detail", lambda cast: f"/api/v1/artworks/{cast.artwork.pk}"),
    _of_cast("face-list", lambda cast: "/api/v1/faces/"),
    _of_cast("face-detail", lambda cast: f"/api/v1/faces/{cast.face.pk}"),
    _of_cast("face-frames", lambda cast: f"/api/v1/faces/{cast.face.pk}/frames", method="POST", body={}),
    _of_cast("frame-list", lambda cast: "/api/v1/frames/"),
    _of_cast("frame-detail", lambda cast: f"/api/v1/frames/{cast.frame_id}"),
    _of_cast("frame-corrections", lambda cast: f"/api/v1/frames/{cast.frame_id}/corrections", method="POST", body={}),
    _of_cast("campaign-list", lambda cast: "/api/v1/campaigns/"),
    _of_cast("campaign-detail", lambda cast: f"/api/v1/campaigns/{cast.campaign.pk}"),
    _listing("image-list", lambda cast: "/api/v1/images/", lambda row: row.image.pk),
    _of_image("image-detail", lambda row: f"/api/v1/images/{row.image.pk}"),
    _of_image("image-detail", lambda row: f"/api/v1/images/{row.image.pk}", method="PATCH", body={"lens": "a lens"}),
    _of_image(
        "image-detail visibility",
        lambda row: f"/api/v1/images/{row.image.pk}",
        method="PATCH",
        body={"visibility": "no such"},
    ),
    _of_image("image-window", lambda row: f"/api/v1/images/{row.image.pk}/window{_WINDOW}", accept="image/png"),
    _of_image(
        "image-registrations", lambda row: f"/api/v1/images/{row.image.pk}/registrations", method="POST", body={}
    ),
    _listing("registration-list", lambda cast: "/api/v1/registrations/", lambda row: row.registration.pk),
    _of_image("registration-detail", lambda row: f"/api/v1/registrations/{row.registration.pk}"),
    _of_image(
        "registration-judgement",
        lambda row: f"/api/v1/registrations/{row.candidate.pk}/judgement",
        method="POST",
        body={},
    ),
    _listing("job-list", lambda cast: "/api/v1/jobs/", lambda row: row.job.pk),
    _of_image("job-detail", lambda row: f"/api/v1/jobs/{row.job.pk}"),
    _of_image("job-cancellation", lambda row: f"/api/v1/jobs/{row.job.pk}/cancellation", method="POST", body={}),
    _of_image("job-retry", lambda row: f"/api/v1/jobs/{row.job.pk}/retry", method="POST", body={}),
    _of_cast("job-detail", lambda cast: f"/api/v1/jobs/{cast.study_job.pk}"),
    _listing(
        "annotation-list", lambda cast: f"/api/v1/annotations/?face={cast.face.pk}", lambda row: row.annotation.pk
    ),
    _of_cast("annotation-list", lambda cast: "/api/v1/annotations/", method="POST", body={}),
    _of_image("annotation-detail", lambda row: f"/api/v1/annotations/{row.annotation.pk}"),
    _of_image("annotation-detail", lambda row: f"/api/v1/annotations/{row.annotation.pk}", method="PATCH", body={}),
    _of_image("annotation-detail", lambda row: f"/api/v1/annotations/{row.annotation.pk}", method="DELETE"),
    _of_image("annotation-revisions", lambda row: f"/api/v1/annotations/{row.annotation.pk}/revisions"),
)


def _tus(cast: Cast) -> dict[str, str]:
    """Return what every request of the upload protocol carries."""
    return {"Tus-Resumable": "1.0.0"}


def _tus_of_face(cast: Cast) -> dict[str, str]:
    """Return the headers that begin an upload of ten bytes to the face of the cast."""
    metadata = {"filename": "ten.tif", "face": str(cast.face.pk), "slip": '{"modality": "VIS", "state": "before"}'}
    pairs = [f"{name} {base64.b64encode(value.encode()).decode()}" for name, value in metadata.items()]
    return {**_tus(cast), "Upload-Length": "10", "Upload-Metadata": ",".join(pairs)}


_BEFORE_DJANGO = (
    _of_image("tile", lambda row: f"/t/{row.pyramid.pk}/0/0/0", accept="image/jpeg"),
    _of_cast("upload", lambda cast: f"/uploads/{cast.upload.pk}", method="HEAD", headers=_tus),
    _of_cast("uploads without a file", lambda cast: "/uploads/", method="POST", headers=_tus),
    _of_cast("uploads", lambda cast: "/uploads/", method="POST", headers=_tus_of_face),
)

ROUTES = (*_PAGES, *_API, *_BEFORE_DJANGO)
