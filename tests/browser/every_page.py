"""The pages of page_list.py with the places of the running demo filled in."""

from __future__ import annotations

from playwright.sync_api import Page

from frontend.pages.page_list import ListedPage
from tests.browser.running_installation import Installation
from tests.browser.wall import examination_of, face_of, image_named

__all__ = ["DRAWN", "open_listed", "places_of"]

DRAWN = "() => !document.getElementById('painting') || performance.getEntriesByName('first-full-view').length > 0"
FILLED = (
    "() => [...document.querySelectorAll('mahlstick-bring-in, mahl-point-sheet')].every((e) => e.childElementCount)"
)


def places_of(page: Page, demo: Installation) -> dict[str, str]:
    """Return an image, its registration, its face and so on, as the person sees them."""
    data = examination_of(page)
    image = image_named(data, "XR")
    artwork = data["artwork"]["id"]
    annotations = page.request.get(f"/api/v1/annotations/?face={face_of(page)}").json()["results"]
    return {
        "face": data["face"]["id"],
        "artwork": artwork,
        "frame": data["frame"]["id"],
        "image": image["id"],
        "registration": image["registration"]["id"],
        "annotation": annotations[0]["id"],
        "study": page.request.get(f"/api/v1/artworks/{artwork}").json()["study"],
        "invitation": demo.secret("ellingsund"),
    }


def open_listed(page: Page, listed: ListedPage, places: dict[str, str]) -> None:
    """Open a page and wait until what it draws is drawn."""
    page.goto(listed.address.format_map(places))
    page.wait_for_function(DRAWN)
    page.wait_for_function(FILLED)
