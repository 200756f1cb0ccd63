"""The storage page: what takes space, and freeing it by explicit choice."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from imaging.access import images_open_to, require_role, role_in_study, studies_open_to
from imaging.models import Role
from imaging.services.storage import free_pieces, freeable_pieces, space_of_images

__all__ = ["show_storage"]


@require_http_methods(["GET", "HEAD", "POST"])
def show_storage(request: HttpRequest) -> HttpResponse:
    """Show space per image; leads may free what can be made again."""
    led = [study for study in studies_open_to(request.user) if role_in_study(request.user, study.pk) == Role.LEAD]
    images = images_open_to(request.user).filter(face__artwork__study__in=studies_open_to(request.user))
    if request.method == "POST":
        chosen = set(request.POST.getlist("piece"))
        pieces = [piece for piece in freeable_pieces(images) if piece.key in chosen]
        freed_bytes = sum(
            free_pieces([piece], freed_by=require_role(request.user, piece.study, needed=Role.LEAD)) for piece in pieces
        )
        messages.success(request, _("Freed %(megabytes)s MB.") % {"megabytes": round(freed_bytes / 1e6)})
        return redirect("storage")
    context = {"rows": space_of_images(images), "pieces": freeable_pieces(images) if led else [], "is_lead": bool(led)}
    return render(request, "storage.html", context)
