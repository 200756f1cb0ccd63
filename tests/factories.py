"""Rows for tests, each with only what the test does not care about filled in."""

from __future__ import annotations

import datetime as dt
import itertools
from pathlib import Path
from typing import Any

import numpy as np
import shapely
import tifffile
from django.utils import timezone

from annotations.models import Annotation
from annotations.services.drawing import DrawnOn, draw_annotation
from annotations.services.words import Words
from imaging.compute.maps import FrameMap
from imaging.models import (
    Artwork,
    Campaign,
    Face,
    Frame,
    ImageStatus,
    Invitation,
    Membership,
    Person,
    Registration,
    Role,
    Site,
    StoredFile,
    Study,
    TechnicalImage,
    Visibility,
)
from imaging.services.master_files import Incoming
from imaging.services.receiving import bring_in_image
from imaging.services.slips import Slip
from imaging.services.tasks import run_jobs_here
from imaging.services.tokens import digest_of

counter = itertools.count(1)


def make_person(name: str = "Ilse Korvander", **fields: Any) -> Person:
    fields.setdefault("email", f"person{next(counter)}@example.org")
    return Person.objects.create_user(fields.pop("email"), fields.pop("password", None), name=name, **fields)


def make_study(**fields: Any) -> Study:
    return Study.objects.create(**{"name": "Ostervale study", **fields})


def make_site(name: str = "") -> Site:
    return Site.objects.create(name=name or f"Studio {next(counter)}", town="Ostervale")


def make_member(study: Study, role: Role = Role.CONTRIBUTOR, *, site: Site | None = None, **fields: Any) -> Person:
    person = make_person(**fields)
    Membership.objects.create(study=study, person=person, role=role, site=site)
    return person


def make_guest(study: Study, *, invited_by: Person, days: int = 7, **fields: Any) -> Person:
    invitation = Invitation.objects.create(
        study=study,
        guest_name="Rafe Ellingsund",
        token_digest=digest_of(f"guest-{next(counter)}"),
        invited_by=invited_by,
        expires_at=timezone.now() + dt.timedelta(days=days),
    )
    return Person.objects.create(name=invitation.guest_name, invitation=invitation, **fields)


def make_artwork(study: Study | None = None, **fields: Any) -> Artwork:
    defaults = {
        "inventory_number": f"OH {next(counter):04}",
        "title": "Blue Jug with Three Walnuts",
        "height_mm": 480.0,
        "width_mm": 640.0,
    }
    return Artwork.objects.create(study=study or make_study(), **{**defaults, **fields})


def make_face(artwork: Artwork | None = None, **fields: Any) -> Face:
    return Face.objects.create(artwork=artwork or make_artwork(), **fields)


def make_frame(face: Face, **fields: Any) -> Frame:
    work = face.artwork
    outline = [[0, 0], [work.width_mm, 0], [work.width_mm, work.height_mm], [0, work.height_mm]]
    defaults = {
        "version": 1,
        "width_mm": work.width_mm,
        "height_mm": work.height_mm,
        "canvas_pitch_mm": 0.08,
        "outline_mm": outline,
    }
    return Frame.objects.create(face=face, **{**defaults, **fields})


def make_campaign(artwork: Artwork, state: str = "before", **fields: Any) -> Campaign:
    return Campaign.objects.create(artwork=artwork, state=state, **{"begun_on": dt.date(2022, 2, 14), **fields})


def make_stored_file(**fields: Any) -> StoredFile:
    number = next(counter)
    defaults = {
        "sha256": f"{number:064x}",
        "size_bytes": 1000,
        "path": f"masters/{number}/image.tif",
        "original_name": "image.tif",
        "media_type": "image/tiff",
    }
    return StoredFile.objects.create(**{**defaults, **fields})


def make_image(face: Face, brought_in_by: Person, campaign: Campaign | None = None, **fields: Any) -> TechnicalImage:
    defaults = {
        "modality": "VIS",
        "visibility": Visibility.STUDY,
        "status": ImageStatus.READ,
        "width_px": 8000,
        "height_px": 6000,
        "stated_um_per_px": 80.0,
        "title": f"image {next(counter)}",
    }
    campaign = campaign or make_campaign(face.artwork)
    return TechnicalImage.objects.create(
        face=face, campaign=campaign, brought_in_by=brought_in_by, **{**defaults, **fields}
    )


def make_registration(image: TechnicalImage, frame: Frame, **fields: Any) -> Registration:
    frame_map = FrameMap.from_stated_scale(0.08, image_size_px=(image.width_px, image.height_px))
    defaults = {
        "version": 1,
        "method": "stated_scale",
        "status": "accepted",
        "map": frame_map.to_json(),
        "software_version": "test",
        "made_by": image.brought_in_by,
    }
    return Registration.objects.create(image=image, frame=frame, **{**defaults, **fields})


def write_picture(folder: Path, *, width_px: int = 320, height_px: int = 240, dtype: str = "uint8") -> Path:
    """Write an RGB picture whose values tell where they are, 100 micrometres a pixel."""
    rows, columns = np.mgrid[0:height_px, 0:width_px]
    top = np.iinfo(dtype).max
    planes = [columns * top // max(width_px - 1, 1), rows * top // max(height_px - 1, 1), (rows + columns) % 256]
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"picture_{next(counter)}.tif"
    pixels = np.stack(planes, axis=-1).astype(dtype)
    tifffile.imwrite(path, pixels, photometric="rgb", resolution=(254, 254), resolutionunit="INCH")
    return path


def bring_in(path: Path, face: Face, person: Person, **slip: Any) -> TechnicalImage:
    """Bring a picture in and do the jobs that follow, as a worker would."""
    wanted = {"modality": "VIS", "state": "before", "um_per_px": 100.0, **slip}
    image = bring_in_image(Incoming(path=path, name=path.name), Slip(**wanted), face=face, person=person).image
    run_jobs_here(image)
    image.refresh_from_db()
    return image


def make_annotation(
    face: Face, author: Person, *, image: TechnicalImage | None = None, shape_mm: Any = None, **words: str
) -> Annotation:
    """Draw an annotation as the service does; a face without a frame gets one."""
    if not face.frames.exists():
        make_frame(face)
    return draw_annotation(
        face,
        shape_mm=shape_mm if shape_mm is not None else shapely.LineString([(10.0, 20.0), (13.0, 24.0)]),
        words=Words(**{"title": "Crack along the join", "observation": "a dark line", **words}),
        author=author,
        drawn_on=DrawnOn(image) if image else None,
    )
