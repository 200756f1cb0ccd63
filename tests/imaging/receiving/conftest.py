"""A study with a work to bring pictures into."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from imaging.models import Role
from imaging.services.job_runs import run_job_here
from imaging.services.master_files import Incoming
from imaging.services.receiving import bring_in_image
from imaging.services.slips import read_slip
from imaging.services.tasks import HANDLERS
from tests.factories import make_artwork, make_face, make_member, make_study


@pytest.fixture
def studio(db):
    """Return a study with a lead, a contributor, a work of 640 x 480 mm and its front."""
    study = make_study()
    work = make_artwork(study, inventory_number="OH 0417", width_mm=640.0, height_mm=480.0)
    return SimpleNamespace(
        study=study,
        lead=make_member(study, Role.LEAD),
        contributor=make_member(study, Role.CONTRIBUTOR),
        reader=make_member(study, Role.READER),
        work=work,
        face=make_face(work),
    )


@pytest.fixture
def bring_in(studio):
    """Return a function that brings a file in as the contributor."""

    def call(path, *, person=None, incoming=None, **fields):
        slip = read_slip({"modality": "VIS", "state": "before", **fields})
        incoming = incoming or Incoming(path=path, name=path.name)
        return bring_in_image(incoming, slip, face=studio.face, person=person or studio.contributor)

    return call


@pytest.fixture
def read(bring_in):
    """Return a function that brings a file in and runs its READ job here."""

    def call(path, **options):
        came = bring_in(path, **options)
        job = run_job_here(came.job, HANDLERS)
        came.image.refresh_from_db()
        return SimpleNamespace(image=came.image, job=job)

    return call
