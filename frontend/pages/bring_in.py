"""The page where images are brought in: a delivery slip, one row a file."""

from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.utils.translation import get_language
from django.views.decorators.http import require_GET

from frontend.pages.forms import rights_choices
from imaging.access import access_artwork, campaigns_open_to, images_open_to, require_role
from imaging.models import Modality, Role, TreatmentState, Visibility

__all__ = ["show_bring_in"]


@require_GET
def show_bring_in(request: HttpRequest, artwork_id: str) -> HttpResponse:
    """Show the slip; what arrived before stands below it."""
    artwork = access_artwork(request.user, artwork_id)
    require_role(request.user, artwork.study, needed=Role.CONTRIBUTOR)
    images = images_open_to(request.user).filter(face__artwork=artwork).select_related("campaign", "master", "face")
    context = {
        "artwork": artwork,
        "recent": images.order_by("-brought_in_at")[:20],
        "data": {
            "artwork": str(artwork.pk),
            "faces": [{"id": str(face.pk), "label": face.get_kind_display()} for face in artwork.faces.all()],
            "modalities": [{"code": code, "label": str(label)} for code, label in Modality.choices],
            "states": [{"code": code, "label": str(label)} for code, label in TreatmentState.choices],
            "visibilities": [{"code": code, "label": str(label)} for code, label in Visibility.choices],
            "rights": [{"uri": uri, "label": str(label)} for uri, label in rights_choices()],
            "campaigns": [
                {"id": str(campaign.pk), "state": campaign.state, "label": str(campaign)}
                for campaign in campaigns_open_to(request.user).filter(artwork=artwork)
            ],
            "upload_url": "/uploads/",
            "image_url": "/images/{id}/",
            "csrf_token": get_token(request),
            "language": get_language(),
        },
    }
    return render(request, "bring_in.html", context)
