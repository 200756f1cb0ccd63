"""Bring a picture in: its header is read, its bytes are put aside, its row is written, its reading is started."""

import dataclasses
import uuid
from pathlib import Path

from django.conf import settings
from django.db.models import Max

from imaging.access import images_known_to, images_open_to, require_role
from imaging.compute.masters.header import read_header
from imaging.compute.masters.master_header import MasterHeader
from imaging.errors import ChecksumMismatchError, FieldRefusedError, UploadTooLargeError
from imaging.models import (
    Campaign,
    Face,
    Job,
    JobKind,
    Membership,
    Person,
    Role,
    Site,
    StoredFile,
    TechnicalImage,
    Visibility,
)
from imaging.services.jobs import start_job
from imaging.services.master_files import Incoming, PlacedFile, Progress, Receipt, placed_master, readable_file
from imaging.services.slips import Slip

__all__ = ["BroughtIn", "address_of_image", "bring_in_image", "check_incoming", "check_slip"]

_MEDIA_TYPES = {
    "tiff": "image/tiff",
    "bigtiff": "image/tiff",
    "jpeg": "image/jpeg",
    "png": "image/png",
    "heic": "image/heic",
}
#: Capture data that make two pictures of one modality different pictures, not versions of one.
_APART_FIELDS = ("band_from_nm", "band_to_nm", "light_azimuth_deg", "light_elevation_deg", "element_line", "place_hint")


@dataclasses.dataclass(frozen=True)
class BroughtIn:
    """What came of it; `duplicates` are images known to the person that have the same bytes."""

    image: TechnicalImage
    job: Job
    duplicates: tuple[TechnicalImage, ...]


def address_of_image(image: TechnicalImage) -> str:
    """Return the address of an image's page."""
    return f"{settings.PUBLIC_ADDRESS}/images/{image.pk}/"


def check_incoming(incoming: Incoming) -> MasterHeader:
    """Return what the header says; refuse a file that cannot be a master, decoding nothing."""
    path = readable_file(incoming.path, name=incoming.name)
    size_bytes = path.stat().st_size
    if size_bytes > settings.MAX_UPLOAD_BYTES:
        raise UploadTooLargeError(size_bytes=size_bytes, limit_bytes=settings.MAX_UPLOAD_BYTES)
    return read_header(path, name=incoming.name)


def check_slip(slip: Slip, *, face: Face, person: Person) -> None:
    """Refuse a slip that cannot be used on this face by this person; nothing is written."""
    require_role(person, face.artwork.study, needed=Role.CONTRIBUTOR)
    _site_of(slip, face=face, person=person)
    _same_grid_image(slip, face=face, person=person)


def bring_in_image(
    incoming: Incoming, slip: Slip, *, face: Face, person: Person, progress: Progress | None = None
) -> BroughtIn:
    """Bring one picture in; called again for the same `incoming.image_id` it changes nothing."""
    check_slip(slip, face=face, person=person)
    done = TechnicalImage.objects.filter(pk=incoming.image_id).first() if incoming.image_id else None
    if done is not None:
        return BroughtIn(done, done.jobs.filter(kind=JobKind.READ).earliest("wanted_at"), ())
    header = check_incoming(incoming)
    with placed_master(incoming, progress=progress) as placed:
        _refuse_other_bytes(incoming, placed)
        master = _keep_file(incoming, placed, header=header, person=person)
        image = _keep_image(slip, header, face=face, person=person, image_id=incoming.image_id)
        image.master = master
        image.save(update_fields=["master"])
        duplicates = tuple(
            images_known_to(person).filter(master__sha256=placed.sha256).exclude(pk=image.pk).order_by("brought_in_at")
        )
        job = start_job(JobKind.READ, image=image, wanted_by=person)
    return BroughtIn(image, job, duplicates)


def _refuse_other_bytes(incoming: Incoming, placed: PlacedFile) -> None:
    """Refuse a file that is not the one its sender announced."""
    if incoming.sha256 and incoming.sha256.lower() != placed.sha256:
        raise ChecksumMismatchError(file_name=incoming.name, got=placed.sha256, expected=incoming.sha256)


def _keep_file(incoming: Incoming, placed: PlacedFile, *, header: MasterHeader, person: Person) -> StoredFile:
    """Return the row of a placed file; the same bytes under the same name share one."""
    row, is_new = StoredFile.objects.get_or_create(
        path=placed.path,
        defaults={
            "sha256": placed.sha256,
            "size_bytes": placed.size_bytes,
            "is_in_place": incoming.receipt is Receipt.IN_PLACE,
            "original_name": header.file_name,
            "media_type": _MEDIA_TYPES[header.format],
            "received_by": person,
        },
    )
    if not is_new and row.sha256 != placed.sha256:
        raise ChecksumMismatchError(file_name=header.file_name, got=placed.sha256, expected=row.sha256)
    return row


def _keep_image(
    slip: Slip, header: MasterHeader, *, face: Face, person: Person, image_id: uuid.UUID | None
) -> TechnicalImage:
    """Write the row of an image that waits to be read."""
    # One at a time per face, so that two pictures never take the same version.
    Face.objects.select_for_update().get(pk=face.pk)
    image = TechnicalImage(
        id=image_id or uuid.uuid4(),
        face=face,
        campaign=_campaign_of(slip, face),
        brought_in_by=person,
        site=_site_of(slip, face=face, person=person),
        same_grid_as=_same_grid_image(slip, face=face, person=person),
        **slip.image_fields(),
        **_header_fields(header),
    )
    image.version, image.supersedes = _version_of(image, slip.version)
    image.full_clean(exclude=["title", "band_names"], validate_constraints=False)
    image.save(force_insert=True)
    return image


def _header_fields(header: MasterHeader) -> dict[str, object]:
    """Return what the header says, by the names of the image's row."""
    return {
        "width_px": header.width_px,
        "height_px": header.height_px,
        "band_names": list(header.band_names),
        "sample_format": header.sample_format,
        "icc_name": header.icc_name[:200],
        "exif_orientation": header.orientation,
        "file_um_per_px": sum(header.um_per_px) / 2.0 if header.um_per_px else None,
    }


def _campaign_of(slip: Slip, face: Face) -> Campaign:
    """Return the campaign of a state and date, made when it is new; without a date the newest of the state."""
    campaigns = Campaign.objects.filter(artwork=face.artwork, state=slip.state)
    if slip.campaign_date is not None:
        campaigns = campaigns.filter(begun_on=slip.campaign_date)
    if slip.step:
        campaigns = campaigns.filter(step=slip.step)
    found = campaigns.order_by("-begun_on").first()
    return found or Campaign.objects.create(
        artwork=face.artwork, state=slip.state, begun_on=slip.campaign_date, step=slip.step, place=slip.place
    )


def _version_of(image: TechnicalImage, wanted: int | None) -> tuple[int, TechnicalImage | None]:
    """Return the version of a new image and the image that it supersedes, if any."""
    siblings = TechnicalImage.objects.filter(
        face=image.face, campaign=image.campaign, modality=image.modality, title=image.title
    )
    newest = siblings.aggregate(newest=Max("version"))["newest"] or 0
    if wanted is not None and siblings.filter(version=wanted).exists():
        raise FieldRefusedError(
            field="version",
            given=f"{wanted}, which is there already",
            needed=f"{newest + 1}, or another title if this is another picture",
        )
    alike = siblings.filter(version__lt=wanted or newest + 1, **{name: getattr(image, name) for name in _APART_FIELDS})
    return wanted or newest + 1, alike.order_by("-version").first()


def _site_of(slip: Slip, *, face: Face, person: Person) -> Site | None:
    """Return the named site, or the one that the person works from in this study."""
    if slip.site:
        site = Site.objects.filter(name__iexact=slip.site).first()
        if site is None:
            raise FieldRefusedError(field="site", given=slip.site, needed="the name of a site that is set up")
        return site
    membership = Membership.objects.filter(study=face.artwork.study, person=person).select_related("site").first()
    site = membership.site if membership else None
    if site is None and slip.visibility == Visibility.SITE:
        raise FieldRefusedError(field="site", given="empty", needed="a site, because only its members are to see this")
    return site


def _same_grid_image(slip: Slip, *, face: Face, person: Person) -> TechnicalImage | None:
    """Return the image named as lying on the same grid, by id or by the name of its file on this face."""
    if not slip.same_grid_as:
        return None
    candidates = images_open_to(person).filter(face=face)
    try:
        found = candidates.filter(pk=uuid.UUID(slip.same_grid_as)).first()
    except ValueError:
        name = Path(slip.same_grid_as.replace("\\", "/")).name
        found = candidates.filter(master__original_name=name).order_by("-brought_in_at").first()
    if found is None:
        raise FieldRefusedError(
            field="same_grid_as", given=slip.same_grid_as, needed="an image, or the name of its file, on this side"
        )
    return found
