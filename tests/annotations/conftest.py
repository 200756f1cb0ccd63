"""A small study: a face with an open image, one under embargo, and a person of every role."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from imaging.models import Face, Person, Role, Study, TechnicalImage, Visibility
from tests import factories


@dataclass
class Scene:
    study: Study
    face: Face
    image: TechnicalImage
    closed_image: TechnicalImage
    people: dict[str, Person]

    def client(self, who: str) -> APIClient:
        """Return an API client that this person is signed in with; a stranger is nobody."""
        client = APIClient()
        if who != "stranger":
            client.force_authenticate(self.people[who])
        return client


@pytest.fixture
def scene(db: None) -> Scene:
    study = factories.make_study()
    face = factories.make_face(factories.make_artwork(study))
    frame = factories.make_frame(face)
    lead = factories.make_member(study, Role.LEAD, name="Odile Marchwood")
    people = {
        "lead": lead,
        "author": factories.make_member(study, Role.CONTRIBUTOR, name="Tomaso Brenzi", orcid="0000-0002-1825-0097"),
        "contributor": factories.make_member(study, Role.CONTRIBUTOR, name="Mirel Adeyo"),
        "commenter": factories.make_member(study, Role.COMMENTER, name="Fenna Quist"),
        "reader": factories.make_member(study, Role.READER, name="Jun Teasdale"),
        "guest": factories.make_guest(study, invited_by=lead),
        "outsider": factories.make_member(factories.make_study(name="Another study"), Role.LEAD, name="Ilse Korvander"),
    }
    image = factories.make_image(face, lead, visibility=Visibility.GUESTS)
    factories.make_registration(image, frame)
    closed = factories.make_image(
        face, lead, visibility=Visibility.PUBLIC, embargo_until=timezone.localdate() + dt.timedelta(days=700)
    )
    factories.make_registration(closed, frame)
    return Scene(study, face, image, closed, people)
