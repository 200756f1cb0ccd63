"""Every page, in every room, on both screens: accessible, and in the colours that the room promises."""

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe

from frontend.pages.page_list import PAGES
from tests.browser.every_page import open_listed, places_of
from tests.browser.wall import settle

__all__: list[str] = []

ROOMS = ["neutral", "paper", "dark", "red"]
# Web Content Accessibility Guidelines 2.2, levels A and AA, as axe-core names its rules.
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"], "resultTypes": ["violations"]}
PICTURES = (
    "() => [...document.querySelectorAll('img, canvas, .picture, .plain-view')]"
    ".map((element) => element.getBoundingClientRect().toJSON())"
)
ENTER_ROOM = (
    "(room) => { document.documentElement.dataset.room = room; document.dispatchEvent(new Event('mahlstick-room')); }"
)


@pytest.mark.parametrize("screen", ["desktop", "phone"])
@pytest.mark.parametrize("name", [listed.name for listed in PAGES])
def test_a_page_is_accessible_and_true_to_its_room(visit, demo, name, screen):
    listed = next(listed for listed in PAGES if listed.name == name)
    places = places_of(visit("marchwood"), demo)
    tolerated = "404" if name == "not-found" else None
    page = visit(None if listed.is_for_anybody else "marchwood", screen=screen, tolerated=tolerated)
    open_listed(page, listed, places)
    faults = {}
    for room in ROOMS:
        page.evaluate(ENTER_ROOM, room)
        seen = settle(page)
        faults[room] = violations(page) + colour_faults(page, seen, room)
    width = page.evaluate("() => document.documentElement.scrollWidth - innerWidth")
    assert {room: found for room, found in faults.items() if found} == {}
    assert width <= 0, f"the page is {width} px wider than the screen"


def violations(page):
    """Return what axe finds, one line each."""
    found = Axe().run(page, options=RULES).response["violations"]
    return [f"{rule['id']}: {node['target']} {node['failureSummary']}" for rule in found for node in rule["nodes"]]


def colour_faults(page, seen, room):
    """Return what breaks the promise of a room: grey in the neutral one, nothing but red in the red one."""
    if room == "red":
        stray = seen[..., 1:].max(axis=2) > 0
        return [f"{int(stray.sum())} pixels with green or blue, first at {first(stray)}"] if stray.any() else []
    if room != "neutral":
        return []
    coloured = np.ptp(seen, axis=2) > 0
    for box in page.evaluate(PICTURES):
        rows = slice(max(0, int(box["top"]) - 1), max(0, int(box["bottom"]) + 2))
        coloured[rows, max(0, int(box["left"]) - 1) : max(0, int(box["right"]) + 2)] = False
    return [f"{int(coloured.sum())} coloured pixels, first at {first(coloured)}"] if coloured.any() else []


def first(mask):
    """Return the place of the first pixel of a mask."""
    y, x = np.argwhere(mask)[0]
    return f"x {x}, y {y}"
