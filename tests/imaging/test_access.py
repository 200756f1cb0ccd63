"""Who may know of an image, see it, change it. The whole table is in tests/frontend; these say why."""

import datetime as dt

import pytest
from django.contrib.auth.models import AnonymousUser
from django.utils import timezone

from imaging.access import access_image, images_known_to, images_open_to, require_role, sheet_lines_known_to
from imaging.errors import ImageClosedError, NotFoundError, RoleNeededError
from imaging.models import Role, Visibility
from tests.factories import make_artwork, make_face, make_guest, make_image, make_member, make_study

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast():
    study = make_study()
    owner, lead = make_member(study), make_member(study, Role.LEAD, name="Odile Marchwood")
    return {
        "face": make_face(make_artwork(study)),
        "owner": owner,
        "lead": lead,
        "reader": make_member(study, Role.READER),
        "guest": make_guest(study, invited_by=lead),
        "study": study,
    }


def tomorrow():
    return timezone.localdate() + dt.timedelta(days=1)


def test_an_embargo_closes_an_image_to_guests_as_if_it_were_not_there(cast):
    image = make_image(cast["face"], cast["owner"], visibility=Visibility.GUESTS, embargo_until=tomorrow())
    with pytest.raises(NotFoundError, match="no image"):
        access_image(cast["guest"], image.pk)
    assert not images_known_to(cast["guest"]).exists()


def test_a_member_is_told_until_when_an_image_is_closed_and_whom_to_ask(cast):
    image = make_image(cast["face"], cast["owner"], embargo_until=tomorrow())
    with pytest.raises(ImageClosedError, match=rf"before {tomorrow()}.*Ask Odile Marchwood"):
        access_image(cast["reader"], image.pk)


@pytest.mark.parametrize("name", ["owner", "lead"])
def test_an_embargo_does_not_close_an_image_to_its_owner_and_the_leads(cast, name):
    image = make_image(cast["face"], cast["owner"], embargo_until=tomorrow())
    assert access_image(cast[name], image.pk) == image


def test_an_embargo_ends_on_its_day(cast):
    make_image(cast["face"], cast["owner"], embargo_until=timezone.localdate())
    assert images_open_to(cast["reader"]).count() == 1


def test_a_guest_loses_everything_when_the_link_is_revoked(cast):
    make_image(cast["face"], cast["owner"], visibility=Visibility.GUESTS)
    guest = cast["guest"]
    assert images_open_to(guest).count() == 1
    guest.invitation.revoked_at = timezone.now()
    assert not images_open_to(guest).exists()


def test_a_guest_loses_everything_when_the_link_ends(cast):
    make_image(cast["face"], cast["owner"], visibility=Visibility.GUESTS)
    cast["guest"].invitation.expires_at = timezone.now() - dt.timedelta(seconds=1)
    assert not images_open_to(cast["guest"]).exists()


def test_a_private_image_is_hidden_even_from_leads(cast):
    make_image(cast["face"], cast["owner"], visibility=Visibility.PRIVATE)
    assert not images_known_to(cast["lead"]).exists()


def test_a_person_who_left_the_study_no_longer_sees_what_they_brought_in(cast):
    make_image(cast["face"], cast["owner"], visibility=Visibility.PRIVATE)
    cast["owner"].memberships.all().delete()
    assert not images_open_to(cast["owner"]).exists()


def test_strangers_see_only_what_is_public(cast):
    public = make_image(cast["face"], cast["owner"], visibility=Visibility.PUBLIC)
    make_image(cast["face"], cast["owner"], visibility=Visibility.GUESTS)
    assert list(images_open_to(AnonymousUser())) == [public]


@pytest.mark.parametrize("identifier", ["no-such", "00000000-0000-0000-0000-000000000000", ""])
def test_absent_and_misspelt_get_the_same_answer(cast, identifier):
    with pytest.raises(NotFoundError, match=r"There is no image .* that is open to you"):
        access_image(cast["lead"], identifier)


def test_a_role_includes_the_ones_before_it(cast):
    require_role(cast["lead"], cast["study"], needed=Role.CONTRIBUTOR)
    with pytest.raises(RoleNeededError, match="as reader; this needs the role contributor"):
        require_role(cast["reader"], cast["study"], needed=Role.CONTRIBUTOR)


def test_the_sheet_of_an_image_is_silent_about_a_twin_that_is_hidden(cast):
    twin = make_image(cast["face"], cast["owner"], visibility=Visibility.PRIVATE)
    image = make_image(cast["face"], cast["owner"])
    image.ingest_sheet = [{"code": "duplicate", "image": str(twin.pk)}, {"code": "depth"}]
    assert [line["code"] for line in sheet_lines_known_to(cast["owner"], image)] == ["duplicate", "depth"]
    assert [line["code"] for line in sheet_lines_known_to(cast["reader"], image)] == ["depth"]
