"""The artwork page: the entry of the work, and which image of it exists in which state."""

import dataclasses
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from annotations.access import annotations_open_to
from annotations.models import Certainty
from frontend.pages.examination import SHORT_ORDER, short_label, state_key
from imaging.access import (
    access_artwork,
    images_known_to,
    images_open_to,
    jobs_open_to,
    role_in_study,
)
from imaging.compute.rights import rights_label
from imaging.models import Artwork, Campaign, Face, Job, JobStatus, Role, TechnicalImage
from imaging.services.framing import current_frame
from imaging.services.registering import current_registration
from imaging.services.thumbnails import thumbnail_address

__all__ = ["show_artwork"]


@dataclasses.dataclass
class _Cell:
    """One image in the table of coverage."""

    image: TechnicalImage
    is_open: bool
    is_replaced: bool
    picture: str | None
    job: Job | None
    uncertainty_mm: float | None
    point_count: int


def show_artwork(request: HttpRequest, artwork_id: str) -> HttpResponse:
    """Show the entry, the table of one face and what waits to be done."""
    artwork = access_artwork(request.user, artwork_id)
    faces = list(artwork.faces.all())
    wanted = request.GET.get("face")
    face = next((face for face in faces if str(face.pk) == wanted), faces[0] if faces else None)
    role = role_in_study(request.user, artwork.study_id)
    context: dict[str, Any] = {
        "artwork": artwork,
        "faces": faces,
        "face": face,
        "frame": current_frame(face) if face else None,
        "rights": rights_label(artwork.rights_uri),
        "may_bring_in": role in (Role.CONTRIBUTOR, Role.LEAD),
        **(_coverage(request, artwork, face) if face else {}),
        "marks": _marks_by_certainty(request, face) if face else [],
    }
    return render(request, "artwork.html", context)


def _coverage(request: HttpRequest, artwork: Artwork, face: Face) -> dict[str, Any]:
    """Return the table: campaigns down, modalities across, images in the cells; closed ones only for members."""
    known = list(images_known_to(request.user).filter(face=face).select_related("campaign__site"))
    open_ids = set(images_open_to(request.user).filter(face=face).values_list("pk", flat=True))
    codes = [code for code in SHORT_ORDER if any(image.modality == code for image in known)]
    running = {
        job.image_id: job
        for job in jobs_open_to(request.user)
        .filter(image__face=face, status__in=[JobStatus.RUNNING, JobStatus.WAITING, JobStatus.STOPPED])
        .order_by("wanted_at")
    }
    cells = [_make_cell(image, known, open_ids=open_ids, running=running) for image in known]
    rows = [{**row, "cells": [_cells_at(cells, row["key"], code) for code in codes]} for row in _rows_of(known)]
    return {"codes": [{"code": code, "label": short_label(code)} for code in codes], "rows": rows}


def _rows_of(images: list[TechnicalImage]) -> list[dict[str, Any]]:
    """Return the treatment states of images, oldest first, each with its campaigns."""
    groups: dict[str, dict[Any, Campaign]] = {}
    for image in images:
        groups.setdefault(state_key(image.campaign), {})[image.campaign_id] = image.campaign
    rows = [(key, sorted(group.values(), key=_begun)) for key, group in groups.items()]
    rows.sort(key=lambda row: _begun(row[1][0]))
    return [{"key": key, "campaigns": campaigns} for key, campaigns in rows]


def _begun(campaign: Campaign) -> str:
    """Return the first day of a campaign for sorting; undated ones come first."""
    return str(campaign.begun_on or "")


def _cells_at(cells: list[_Cell], key: str, code: str) -> list[_Cell]:
    """Return the images of one row and modality, the newest version first."""
    here = [cell for cell in cells if state_key(cell.image.campaign) == key and cell.image.modality == code]
    return sorted(here, key=lambda cell: (cell.is_replaced, -cell.image.version))


def _make_cell(
    image: TechnicalImage, known: list[TechnicalImage], *, open_ids: set[Any], running: dict[Any, Job]
) -> _Cell:
    """Return what one cell says about one image."""
    is_open = image.pk in open_ids
    registration = current_registration(image) if is_open else None
    quality = registration.quality if registration else {}
    return _Cell(
        image=image,
        is_open=is_open,
        is_replaced=any(other.supersedes_id == image.pk for other in known),
        picture=thumbnail_address(image) if is_open else None,
        job=running.get(image.pk) if is_open else None,
        uncertainty_mm=quality.get("check_p95_mm"),
        point_count=quality.get("check_count", 0),
    )


def _marks_by_certainty(request: HttpRequest, face: Face) -> list[dict[str, Any]]:
    """Return how many marks there are of each certainty, counted after the door."""
    marks = list(annotations_open_to(request.user).filter(face=face).values_list("certainty", flat=True))
    return [
        {"value": certainty.value, "label": certainty.label, "count": marks.count(certainty.value)}
        for certainty in Certainty
    ]
