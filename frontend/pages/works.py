"""The first page: the works that are open to the reader."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from imaging.access import artworks_open_to, images_open_to, studies_open_to
from imaging.services.thumbnails import thumbnail_addresses

__all__ = ["show_works"]


def show_works(request: HttpRequest) -> HttpResponse:
    """List works with a small picture each; strangers see the public ones."""
    artworks = list(artworks_open_to(request.user).select_related("study").order_by("inventory_number"))
    pictures = thumbnail_addresses(images_open_to(request.user).filter(face__artwork__in=artworks, face__kind="front"))
    rows = [
        {
            "artwork": artwork,
            "picture": next((url for image, url in pictures if image.face.artwork_id == artwork.pk), None),
        }
        for artwork in artworks
    ]
    return render(request, "works.html", {"rows": rows, "studies": studies_open_to(request.user)})
