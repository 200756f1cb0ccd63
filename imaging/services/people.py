"""Taking part: members, invitation links and guests."""

import datetime as dt
import secrets

from django.contrib.sessions.models import Session
from django.db import transaction
from django.utils import timezone

from imaging.errors import FieldRefusedError, InvitationEndedError, UnfitStateError
from imaging.models import Invitation, Membership, Person, Role, Site, Study
from imaging.services.tokens import digest_of

__all__ = [
    "accept_invitation",
    "add_member",
    "change_role",
    "create_study",
    "invitation_by_secret",
    "invite_guest",
    "remove_member",
    "revoke_invitation",
    "site_named",
]

#: A link for a guest never lasts longer than this.
_LONGEST_INVITATION_DAYS = 366


@transaction.atomic
def create_study(name: str, *, founder: Person, site: Site | None = None, summary: str = "") -> Study:
    """Return a new study led by its founder."""
    study = Study.objects.create(name=name, summary=summary)
    Membership.objects.create(study=study, person=founder, role=Role.LEAD, site=site)
    return study


@transaction.atomic
def invite_guest(study: Study, *, guest_name: str, days: int, invited_by: Person) -> tuple[Invitation, str]:
    """Return an invitation and the secret of its link, which cannot be shown again."""
    if not guest_name.strip():
        raise FieldRefusedError(field="guest_name", given="empty", needed="the guest's name: comments carry it")
    if not 1 <= days <= _LONGEST_INVITATION_DAYS:
        raise FieldRefusedError(field="days", given=days, needed=f"1 to {_LONGEST_INVITATION_DAYS} days")
    secret = secrets.token_urlsafe(24)
    invitation = Invitation.objects.create(
        study=study,
        guest_name=guest_name.strip(),
        token_digest=digest_of(secret),
        invited_by=invited_by,
        expires_at=timezone.now() + dt.timedelta(days=days),
    )
    return invitation, secret


def invitation_by_secret(secret: str) -> Invitation:
    """Return the invitation of a link; one that ended, was revoked or never was gets the same answer."""
    invitation = Invitation.objects.select_related("study").filter(token_digest=digest_of(secret)).first()
    if invitation is None or not invitation.is_valid:
        raise InvitationEndedError
    return invitation


@transaction.atomic
def accept_invitation(invitation: Invitation, *, language: str = "en") -> Person:
    """Return the guest of an invitation, the same person each time the link is opened."""
    invitation = Invitation.objects.select_for_update().get(pk=invitation.pk)
    if not invitation.is_valid:
        raise InvitationEndedError
    guest = invitation.guests.first()
    if guest is None:
        guest = Person(name=invitation.guest_name, invitation=invitation, language=language)
        guest.set_unusable_password()
        guest.save()
    return guest


@transaction.atomic
def revoke_invitation(invitation: Invitation) -> None:
    """End a link now and sign its guest out everywhere."""
    if invitation.revoked_at is None:
        invitation.revoked_at = timezone.now()
        invitation.save(update_fields=["revoked_at"])
    guest_ids = {str(guest.pk) for guest in invitation.guests.all()}
    for session in Session.objects.filter(expire_date__gt=timezone.now()).iterator():
        if session.get_decoded().get("_auth_user_id") in guest_ids:
            session.delete()


@transaction.atomic
def site_named(name: str) -> Site | None:
    """Return the site of a name, making it if it is new; None for an empty name."""
    return Site.objects.get_or_create(name=name.strip())[0] if name.strip() else None


@transaction.atomic
def add_member(study: Study, *, email: str, name: str, role: Role, site: Site | None = None) -> Membership:
    """Add a person to a study, making the account when the address is new; its password is set by mail or a lead."""
    person, is_new = Person.objects.get_or_create(email=Person.objects.normalize_email(email), defaults={"name": name})
    if is_new:
        person.set_unusable_password()
        person.save()
    if Membership.objects.filter(study=study, person=person).exists():
        raise UnfitStateError(
            noun="person", state="a member already", needed="not yet in the study", remedy="Change the role instead."
        )
    return Membership.objects.create(study=study, person=person, role=role, site=site)


@transaction.atomic
def change_role(membership: Membership, *, role: Role, site: Site | None) -> Membership:
    """Change what a member may do; the last lead stays lead."""
    _refuse_losing_last_lead(membership, remains_lead=role == Role.LEAD)
    membership.role, membership.site = role, site
    membership.save(update_fields=["role", "site"])
    return membership


@transaction.atomic
def remove_member(membership: Membership) -> None:
    """End a person's part in a study; what they said stays."""
    _refuse_losing_last_lead(membership, remains_lead=False)
    membership.delete()


def _refuse_losing_last_lead(membership: Membership, *, remains_lead: bool) -> None:
    """Refuse to leave a study without a lead."""
    Study.objects.select_for_update().get(pk=membership.study_id)
    others = Membership.objects.filter(study=membership.study_id, role=Role.LEAD).exclude(pk=membership.pk)
    if membership.role == Role.LEAD and not remains_lead and not others.exists():
        raise UnfitStateError(
            noun="member", state="the last lead", needed="one of several leads", remedy="Make somebody else lead first."
        )
