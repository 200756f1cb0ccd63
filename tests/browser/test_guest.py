"""A guest comes in by a link and learns nothing of images under embargo, on any page and by any address."""

import re

import pytest
from playwright.sync_api import expect

from tests.browser.running_installation import SCENARIO
from tests.browser.wall import examination_of, face_of, image_named, open_view

__all__: list[str] = []

CLOSED = [image for image in SCENARIO["images"] if image.get("embargoed")]


@pytest.fixture
def closed_images(visit):
    """Return the images under embargo as a lead sees them."""
    page = visit("marchwood")
    return [image_named(examination_of(page), image["modality"], image["state"]) for image in CLOSED]


def test_a_guest_sees_the_pictures_open_to_guests(visit):
    page = visit("ellingsund")
    page.goto("/")
    page.get_by_role("link", name="Blue Jug with Three Walnuts").click()
    expect(page.get_by_role("heading", name="Blue Jug with Three Walnuts")).to_be_visible()
    open_view(page)
    assert {image["modality"] for image in examination_of(page)["images"]} == {"VIS", "IRR", "XR", "UVL", "RAK", "MAC"}


def test_no_page_tells_a_guest_of_closed_images(visit, closed_images):
    page = visit("ellingsund")
    face = face_of(page)
    artwork = page.request.get("/api/v1/artworks/").json()["results"][0]["id"]
    pages = [
        "/",
        f"/works/{artwork}/",
        f"/faces/{face}/examine/",
        f"/faces/{face}/annotations/",
        f"/api/v1/faces/{face}",
        "/api/v1/images/",
        "/api/v1/campaigns/",
        "/api/v1/registrations/",
        f"/api/v1/annotations/?face={face}",
        "/api/v1/jobs/",
    ]
    for path in pages:
        text = page.request.get(path).text()
        for image in closed_images:
            assert image["id"] not in text, f"{path} names the closed image {image['id']}"
            assert image["tile_url"].split("/")[2] not in text, f"{path} names its tiles"
        told = re.search(r"\bafter\b|\b2 Apr 2025\b|\b2025-04-02\b", visible_words(text))
        assert not told, f"{path} tells that there is a state after treatment: {told}"


def test_no_address_of_a_closed_image_answers_a_guest(visit, closed_images):
    page = visit("ellingsund")
    for image in closed_images:
        tile = image["tile_url"].format(z=0, x=0, y=0)
        window = f"/api/v1/images/{image['id']}/window?x_mm=0&y_mm=0&width_mm=40&height_mm=30&width_px=64&format="
        addresses = [tile, *(window + kind for kind in ("jpg", "png", "tif"))]
        addresses += [f"/images/{image['id']}/", f"/images/{image['id']}/points/", f"/api/v1/images/{image['id']}"]
        addresses += [f"/registrations/{image['registration']['id']}/"]
        answers = {address: page.request.get(address).status for address in addresses}
        assert set(answers.values()) == {404}, answers


def test_no_tile_or_thumbnail_of_a_closed_image_is_asked_for(visit, closed_images):
    page = visit("ellingsund")
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    open_view(page)
    page.get_by_role("button", name="Whole work").click()
    page.goto("/")
    page.goto(f"/works/{page.request.get('/api/v1/artworks/').json()['results'][0]['id']}/")
    secret = [image["id"] for image in closed_images] + [image["tile_url"].split("/")[2] for image in closed_images]
    assert [url for url in asked if any(part in url for part in secret)] == []


def visible_words(text):
    """Return a page without its marks and its words of code."""
    without_code = re.sub(r"<(script|style)\b(?! id=\"examination-data\").*?</\1>", " ", text, flags=re.DOTALL)
    return re.sub(r"<[^>]+>", " ", without_code)
