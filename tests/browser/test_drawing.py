"""Say what is seen: by mouse, keys and finger; kept, listed, and given away as a valid Web Annotation."""

import math
import re
from urllib.parse import unquote

import pytest
import shapely
from playwright.sync_api import expect

from tests.browser.wall import examination_of, image_named, open_view, placing, settle
from tests.standards.web_annotation_rules import faults_of

__all__: list[str] = []

JSON_LD = 'application/ld+json; profile="http://www.w3.org/ns/anno.jsonld"'
MM_PER_PX = 0.25


@pytest.fixture
def open_for_drawing(visit):
    """Open a quiet place of the visible image, alone on the wall; return the page and how it stands."""

    def open_page(person="korvander", *, screen="desktop", tolerated=None, mm_per_px=MM_PER_PX):
        page = visit(person, screen=screen, tolerated=tolerated)
        image = image_named(examination_of(page), "VIS")
        open_view(page, x=430, y=330, **{"mm-per-px": mm_per_px}, a=image["id"], b="")
        settle(page)
        return page, placing(page)

    return open_page


def word_key(page, word):
    """Return the key on the ledge that starts a drawing."""
    return page.locator("#tools").get_by_role("button", name=word, exact=True)


def say_and_keep(page, seen):
    """Write the observation, keep it, and return the path of the annotation's own page."""
    page.get_by_label("Seen").fill(seen)
    page.get_by_label("probable").check()
    page.get_by_role("button", name="Keep", exact=True).last.click()
    link = page.get_by_role("link", name="its own page, to cite")
    expect(link).to_be_visible()
    return link.get_attribute("href")


def corners_of(page, path):
    """Return the millimetres kept, as another program reads them from the Web Annotation by Well-Known Text."""
    document = page.request.get(path, headers={"Accept": JSON_LD}).json()
    assert faults_of(document) == []
    fragments = {
        selector["value"]
        for target in document["target"]
        for selector in target["selector"]
        if selector.get("value", "").startswith("mm=")
    }
    assert len(fragments) == 1, f"targets differ in their millimetres: {fragments}"
    return list(shapely.from_wkt(unquote(fragments.pop()).removeprefix("mm=")).coords)


def assert_within_one_pixel(corners_mm, drawn_mm, mm_per_px):
    assert len(corners_mm) == len(drawn_mm)
    for kept, drawn in zip(corners_mm, drawn_mm, strict=True):
        off_px = math.dist(kept, drawn) / mm_per_px
        assert off_px <= 1, f"kept at {kept}, drawn at {drawn} mm: {off_px:.2f} screen pixels apart"


def test_a_line_drawn_by_mouse_is_listed_and_leaves_as_a_web_annotation(open_for_drawing):
    page, now = open_for_drawing()
    places_mm = [(400.0, 320.0), (440.0, 331.0), (462.5, 318.0)]
    word_key(page, "Crack").click()
    for place_mm in places_mm:
        page.mouse.click(*now.screen_px(place_mm))
    page.mouse.click(*now.screen_px(places_mm[-1]))
    path = say_and_keep(page, "A fine dark line, drawn with the mouse.")
    assert_within_one_pixel(corners_of(page, path), places_mm, MM_PER_PX)

    page.get_by_role("button", name="Close this record").click()
    listed = page.locator(".mark-row").filter(has_text="Crack")
    expect(listed.last).to_be_visible()
    page.goto(path)
    expect(page.get_by_text("A fine dark line, drawn with the mouse.")).to_be_visible()


def test_a_line_is_drawn_by_keys_alone(open_for_drawing):
    page, now = open_for_drawing()
    crack = word_key(page, "Crack")
    crack.focus()
    page.keyboard.press("Enter")
    expect(page.locator("#painting")).to_be_focused()
    page.keyboard.press("Enter")
    for _ in range(20):
        page.keyboard.press("Shift+ArrowRight")
    for _ in range(8):
        page.keyboard.press("Shift+ArrowDown")
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    expect(page.get_by_label("Seen")).to_be_focused()
    page.keyboard.type("A short line, drawn with the keys.")
    page.keyboard.press("Control+Home")
    keep = page.get_by_role("button", name="Keep", exact=True)
    for _ in range(12):
        page.keyboard.press("Tab")
        if keep.evaluate("(key) => key === document.activeElement"):
            break
    page.keyboard.press("Enter")
    path = page.get_by_role("link", name="its own page, to cite").get_attribute("href")
    x_mm, y_mm = now.centre_mm
    drawn_mm = [(x_mm, y_mm), (x_mm + 20 * MM_PER_PX, y_mm + 8 * MM_PER_PX)]
    assert_within_one_pixel(corners_of(page, path), drawn_mm, MM_PER_PX)


def test_a_line_is_drawn_by_touch(open_for_drawing):
    page, now = open_for_drawing("adeyo", screen="phone")
    places_mm = [(420.0, 325.0), (445.0, 338.0)]
    page.get_by_role("button", name="Say", exact=True).tap()
    word_key(page, "Contour").tap()
    now = placing(page)
    for place_mm in places_mm:
        page.touchscreen.tap(*now.screen_px(place_mm))
    page.get_by_role("button", name="Done").first.tap()
    path = say_and_keep(page, "A contour, drawn with a finger.")
    assert_within_one_pixel(corners_of(page, path), places_mm, now.mm_per_px)


def test_a_tenth_of_a_millimetre_cannot_be_resolved(open_for_drawing):
    """The visible image has 0.25 mm a pixel at this size, and three pixels are the least that is measured."""
    page, now = open_for_drawing(mm_per_px=0.02)
    x_mm, y_mm = now.centre_mm
    word_key(page, "Length").click()
    page.mouse.click(*now.screen_px((x_mm, y_mm)))
    page.mouse.move(*now.screen_px((x_mm + 0.1, y_mm)))
    sentence = page.locator(".saying .cannot-resolve")
    expect(sentence).to_contain_text("Less than 3 pixels")
    assert not page.locator(".saying .value").count(), "a length that cannot be resolved is never a number"


def test_a_change_made_elsewhere_meanwhile_is_shown_and_nothing_is_lost(open_for_drawing, visit):
    page, now = open_for_drawing("korvander", tolerated="412")
    word_key(page, "Crack").click()
    for place_mm in [(405.0, 345.0), (450.0, 348.0), (450.0, 348.0)]:
        page.mouse.click(*now.screen_px(place_mm))
    path = say_and_keep(page, "A line reshaped at the desk and on the phone.")

    page.get_by_role("button", name="Change the shape").click()
    page.get_by_label("Corner 1, x in millimetres").fill("401.5")
    page.keyboard.press("Tab")

    other = visit("korvander", screen="phone")
    open_view(other, mark=path.rsplit("/", 1)[1], **{"x": 430, "y": 330, "mm-per-px": MM_PER_PX})
    other.get_by_role("button", name="Change the shape").click()
    other.get_by_label("Corner 2, y in millimetres").fill("360")
    other.keyboard.press("Tab")
    other.get_by_role("button", name="Keep", exact=True).last.click()
    expect(other.get_by_role("button", name="Change the shape")).to_be_visible()

    page.get_by_role("button", name="Keep", exact=True).last.click()
    conflict = page.locator(".saying").get_by_role("alert")
    expect(conflict).to_contain_text("Ilse Korvander")
    expect(page.get_by_label("Corner 1, x in millimetres")).to_have_value(re.compile("^401.5"))
    kept = page.request.get(f"/api/v1{path}").json()
    assert kept["geometry"]["coordinates"][1][1] == pytest.approx(360), "the first change was overwritten"
    assert kept["geometry"]["coordinates"][0][0] == pytest.approx(405, abs=MM_PER_PX)

    conflict.get_by_role("button", name="Read theirs").click()
    expect(page.get_by_role("button", name="Change the shape")).to_be_visible()
