"""Members, guests and tokens: who comes in, and how that ends."""

import datetime as dt

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.utils import timezone

from imaging.errors import FieldRefusedError, InvitationEndedError, UnfitStateError
from imaging.models import Invitation, Person, Role
from imaging.services.people import (
    accept_invitation,
    add_member,
    change_role,
    create_study,
    invitation_by_secret,
    invite_guest,
    remove_member,
    revoke_invitation,
)
from imaging.services.tokens import make_api_token, person_of_api_token, revoke_api_token
from tests.factories import make_person

pytestmark = pytest.mark.django_db


@pytest.fixture
def lead():
    return make_person("Odile Marchwood")


@pytest.fixture
def study(lead):
    return create_study("Ostervale study", founder=lead)


def test_the_link_of_an_invitation_is_kept_only_as_a_digest(study, lead):
    invitation, secret = invite_guest(study, guest_name="Rafe Ellingsund", days=7, invited_by=lead)
    assert secret not in str(Invitation.objects.values().get(pk=invitation.pk))
    assert invitation_by_secret(secret) == invitation


def test_opening_a_link_twice_gives_the_same_guest(study, lead):
    invitation, _ = invite_guest(study, guest_name="Rafe Ellingsund", days=7, invited_by=lead)
    assert accept_invitation(invitation) == accept_invitation(invitation)


@pytest.mark.parametrize("change", [{"revoked_at": "now"}, {"expires_at": "past"}])
def test_an_ended_link_opens_nothing(study, lead, change):
    invitation, secret = invite_guest(study, guest_name="Rafe Ellingsund", days=7, invited_by=lead)
    times = {"now": timezone.now(), "past": timezone.now() - dt.timedelta(seconds=1)}
    Invitation.objects.filter(pk=invitation.pk).update(**{name: times[word] for name, word in change.items()})
    with pytest.raises(InvitationEndedError, match="not valid any more"):
        invitation_by_secret(secret)


def test_looking_at_a_link_signs_nobody_in(study, lead):
    _, secret = invite_guest(study, guest_name="Rafe Ellingsund", days=7, invited_by=lead)
    client = Client()
    assert client.get(f"/invited/{secret}/").status_code == 200
    assert not Person.objects.filter(invitation__isnull=False).exists()


def test_closing_a_link_signs_its_guest_out(study, lead):
    invitation, secret = invite_guest(study, guest_name="Rafe Ellingsund", days=7, invited_by=lead)
    client = Client()
    client.post(f"/invited/{secret}/")
    assert client.get("/me/").status_code == 200
    revoke_invitation(invitation)
    assert client.get("/me/").status_code == 302


@pytest.mark.parametrize("days", [0, 367])
def test_a_link_lasts_a_day_to_a_year(study, lead, days):
    with pytest.raises(FieldRefusedError, match="1 to 366 days"):
        invite_guest(study, guest_name="Rafe Ellingsund", days=days, invited_by=lead)


def test_a_study_keeps_a_lead(study, lead):
    membership = lead.memberships.get(study=study)
    with pytest.raises(UnfitStateError, match="the last lead"):
        remove_member(membership)
    with pytest.raises(UnfitStateError, match="the last lead"):
        change_role(membership, role=Role.READER, site=None)


def test_a_new_member_gets_an_account_without_a_password(study):
    membership = add_member(study, email="mirel@example.org", name="Mirel Adeyo", role=Role.CONTRIBUTOR)
    assert not membership.person.has_usable_password()


def test_a_member_is_added_once(study):
    add_member(study, email="mirel@example.org", name="Mirel Adeyo", role=Role.CONTRIBUTOR)
    with pytest.raises(UnfitStateError, match="a member already"):
        add_member(study, email="MIREL@EXAMPLE.ORG".lower(), name="Mirel Adeyo", role=Role.LEAD)


def test_a_token_acts_for_its_owner_until_it_is_revoked(lead):
    token, secret = make_api_token(lead, days=1)
    assert person_of_api_token(secret) == (lead, token)
    revoke_api_token(token)
    assert person_of_api_token(secret) is None


def test_a_wrong_token_is_refused_and_not_ignored(api):
    api.credentials(HTTP_AUTHORIZATION="Bearer wrong")
    answer = api.get("/api/v1/artworks/")
    assert (answer.status_code, answer["Content-Type"]) == (401, "application/problem+json")


# ORCID, "Structure of the ORCID Identifier"; check characters by ISO 7064 MOD 11-2.
@pytest.mark.parametrize("orcid", ["0000-0002-1825-0097", "0000-0002-1694-233X", "0000-0000-0000-0001"])
def test_a_right_orcid_is_taken(orcid):
    Person(email="a@example.org", name="A", orcid=orcid, password="x").full_clean()


@pytest.mark.parametrize("orcid", ["0000-0002-1825-0098", "0000-0002-1694-2330", "0000000218250097", "x"])
def test_a_wrong_orcid_is_refused_with_the_rule(orcid):
    with pytest.raises(ValidationError, match="sixteen digits in groups of four"):
        Person(email="a@example.org", name="A", orcid=orcid, password="x").full_clean()


def test_nobody_signs_up_alone():
    assert b"<form" not in Client().get("/account/signup/").content
