"""Pages of a study's people, of invitation links and of one's own data."""

from typing import Any

from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from frontend.pages.forms import InvitationForm, MemberForm, ProfileForm, TokenForm
from imaging.access import (
    access_api_token,
    access_invitation,
    access_membership,
    access_study,
    artworks_open_to,
    require_role,
    role_in_study,
)
from imaging.models import Person, Role, Study
from imaging.services.people import (
    accept_invitation,
    add_member,
    change_role,
    invitation_by_secret,
    invite_guest,
    remove_member,
    revoke_invitation,
    site_named,
)
from imaging.services.tokens import make_api_token, revoke_api_token

__all__ = [
    "add_study_member",
    "change_member",
    "end_invitation",
    "end_token",
    "enter_by_invitation",
    "invite_study_guest",
    "make_token",
    "show_me",
    "show_study",
    "signed_in",
]


def signed_in(request: HttpRequest) -> Person:
    """Return the person behind a page that only signed-in people reach."""
    assert isinstance(request.user, Person)
    return request.user


_MODEL_BACKEND = "django.contrib.auth.backends.ModelBackend"


@require_http_methods(["GET", "HEAD"])
def show_study(request: HttpRequest, study_id: str) -> HttpResponse:
    """Show who takes part; links for guests only to leads."""
    study = access_study(request.user, study_id)
    return render(request, "study.html", _study_context(request, study))


def _study_context(request: HttpRequest, study: Study, **shown: Any) -> dict[str, Any]:
    """Return what the page shows; forms come back with their errors."""
    role = role_in_study(request.user, study.pk)
    is_lead = role == Role.LEAD
    return {
        "study": study,
        "may_enter": role in (Role.CONTRIBUTOR, Role.LEAD),
        "is_lead": is_lead,
        "works": artworks_open_to(request.user).filter(study=study).order_by("inventory_number"),
        "memberships": study.memberships.select_related("person", "site").order_by("person__name"),
        "invitations": study.invitations.select_related("invited_by").order_by("-created_at") if is_lead else [],
        "roles": Role.choices,
        "member_form": MemberForm(),
        "invitation_form": InvitationForm(),
        **shown,
    }


@require_POST
def invite_study_guest(request: HttpRequest, study_id: str) -> HttpResponse:
    """Make a link for a guest and show it once."""
    study = access_study(request.user, study_id)
    lead = require_role(request.user, study, needed=Role.LEAD)
    form = InvitationForm(request.POST)
    if not form.is_valid():
        return render(request, "study.html", _study_context(request, study, invitation_form=form), status=400)
    _invitation, secret = invite_guest(study, **form.cleaned_data, invited_by=lead)
    link = request.build_absolute_uri(f"/invited/{secret}/")
    return render(request, "study.html", _study_context(request, study, new_link=link), status=201)


@require_POST
def end_invitation(request: HttpRequest, invitation_id: str) -> HttpResponse:
    """Revoke a link and sign its guest out."""
    invitation = access_invitation(request.user, invitation_id)
    revoke_invitation(invitation)
    messages.success(request, _("The link of %(name)s is closed.") % {"name": invitation.guest_name})
    return redirect("study", invitation.study_id)


@require_POST
def add_study_member(request: HttpRequest, study_id: str) -> HttpResponse:
    """Add a member."""
    study = access_study(request.user, study_id)
    require_role(request.user, study, needed=Role.LEAD)
    form = MemberForm(request.POST)
    if not form.is_valid():
        return render(request, "study.html", _study_context(request, study, member_form=form), status=400)
    membership = add_member(
        study,
        email=form.cleaned_data["email"],
        name=form.cleaned_data["name"],
        role=Role(form.cleaned_data["role"]),
        site=site_named(form.cleaned_data["site"]),
    )
    messages.success(request, _("%(name)s takes part now.") % {"name": membership.person})
    return redirect("study", study.pk)


@require_POST
def change_member(request: HttpRequest, membership_id: str) -> HttpResponse:
    """Change a member's role, or end the membership."""
    membership = access_membership(request.user, membership_id)
    require_role(request.user, membership.study, needed=Role.LEAD)
    if request.POST.get("do") == "remove":
        remove_member(membership)
    elif request.POST.get("role") in Role.values:
        change_role(membership, role=Role(request.POST["role"]), site=site_named(request.POST.get("site", "")))
    messages.success(request, _("Kept."))
    return redirect("study", membership.study_id)


@require_http_methods(["GET", "HEAD", "POST"])
def enter_by_invitation(request: HttpRequest, secret: str) -> HttpResponse:
    """Greet a guest by name; only the press of the key signs in, so that link previews do not."""
    invitation = invitation_by_secret(secret)
    if request.method != "POST":
        return render(request, "invited.html", {"invitation": invitation})
    guest = accept_invitation(invitation, language=request.LANGUAGE_CODE)
    login(request, guest, backend=_MODEL_BACKEND)
    request.session.set_expiry(invitation.expires_at)
    return redirect("works")


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def show_me(request: HttpRequest) -> HttpResponse:
    """Show and keep one's own name, ORCID and language, and list one's tokens."""
    person = signed_in(request)
    form = ProfileForm(request.POST if request.method == "POST" else None, instance=person)
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, _("Kept."))
        return redirect("me")
    return render(request, "me.html", _me_context(request, form=form), status=400 if form.errors else 200)


def _me_context(request: HttpRequest, **shown: Any) -> dict[str, Any]:
    """Return what one's own page shows."""
    person = signed_in(request)
    return {
        "form": ProfileForm(instance=person),
        "token_form": TokenForm(),
        "tokens": person.api_tokens.all(),
        "memberships": person.memberships.select_related("study", "site"),
        **shown,
    }


@login_required
@require_POST
def make_token(request: HttpRequest) -> HttpResponse:
    """Make an API token and show its secret once; guests get none."""
    person, form = signed_in(request), TokenForm(request.POST)
    if person.is_guest or not form.is_valid():
        return render(request, "me.html", _me_context(request, token_form=form), status=400)
    _token, secret = make_api_token(person, **form.cleaned_data)
    return render(request, "me.html", _me_context(request, new_secret=secret), status=201)


@login_required
@require_POST
def end_token(request: HttpRequest, token_id: str) -> HttpResponse:
    """Revoke one of one's tokens."""
    revoke_api_token(access_api_token(request.user, token_id))
    messages.success(request, _("The token is closed."))
    return redirect("me")
