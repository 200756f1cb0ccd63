"""Entering a study, a work and its faces, and correcting a work."""

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from frontend.pages.forms import StudyForm, WorkForm
from frontend.pages.people import signed_in
from imaging.access import access_artwork, access_study, artworks_open_to, require_role
from imaging.errors import FieldRefusedError, RoleNeededError
from imaging.models import FaceKind, Role
from imaging.services.people import create_study
from imaging.services.works import add_face, correct_work, enter_work

__all__ = ["add_work_face", "correct_artwork", "enter_artwork", "enter_study"]


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def enter_study(request: HttpRequest) -> HttpResponse:
    """Make a study and lead it; guests cannot."""
    person = signed_in(request)
    if person.is_guest:
        raise RoleNeededError(given="guest", needed="an account of your own", study=_("this installation"))
    form = StudyForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        study = create_study(**form.cleaned_data, founder=person)
        return redirect("study", study.pk)
    return render(request, "enter_study.html", {"form": form}, status=400 if form.errors else 200)


@require_http_methods(["GET", "HEAD", "POST"])
def enter_artwork(request: HttpRequest, study_id: str) -> HttpResponse:
    """Enter a work of a study (contributors)."""
    study = access_study(request.user, study_id)
    require_role(request.user, study, needed=Role.CONTRIBUTOR)
    works = artworks_open_to(request.user).filter(study=study)
    form = WorkForm(request.POST if request.method == "POST" else None, works=works)
    if request.method == "POST" and form.is_valid():
        try:
            artwork = enter_work(study, form.cleaned_data)
        except FieldRefusedError as error:
            form.add_error(error.field, str(error))
        else:
            return redirect("artwork", artwork.pk)
    context = {"form": form, "study": study, "artwork": None}
    return render(request, "enter_work.html", context, status=400 if form.errors else 200)


@require_http_methods(["GET", "HEAD", "POST"])
def correct_artwork(request: HttpRequest, artwork_id: str) -> HttpResponse:
    """Correct what is stated about a work (contributors)."""
    artwork = access_artwork(request.user, artwork_id)
    require_role(request.user, artwork.study, needed=Role.CONTRIBUTOR)
    works = artworks_open_to(request.user).filter(study=artwork.study_id).exclude(pk=artwork.pk)
    form = WorkForm(request.POST if request.method == "POST" else None, works=works, instance=artwork)
    if request.method == "POST" and form.is_valid():
        try:
            correct_work(access_artwork(request.user, artwork_id), form.cleaned_data)
        except FieldRefusedError as error:
            form.add_error(error.field, str(error))
        else:
            messages.success(request, _("Kept. The words before stay in the history."))
            return redirect("artwork", artwork.pk)
    context = {"form": form, "study": artwork.study, "artwork": artwork, "faces": FaceKind.choices}
    return render(request, "enter_work.html", context, status=400 if form.errors else 200)


@require_POST
def add_work_face(request: HttpRequest, artwork_id: str) -> HttpResponse:
    """Add a side of the work (contributors)."""
    artwork = access_artwork(request.user, artwork_id)
    require_role(request.user, artwork.study, needed=Role.CONTRIBUTOR)
    kind = request.POST.get("kind", "")
    if kind not in FaceKind.values:
        raise FieldRefusedError(field="kind", given=kind or "empty", needed="a side from the list")
    face = add_face(artwork, FaceKind(kind))
    return redirect(f"/works/{artwork.pk}/?face={face.pk}")
