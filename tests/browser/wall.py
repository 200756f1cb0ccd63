"""The examination page as the tests handle it: opened at a view, asked for places, photographed."""

from __future__ import annotations

import io
import json
import re
from dataclasses import dataclass
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from playwright.sync_api import Page

__all__ = [
    "Placing",
    "address_of_view",
    "examination_of",
    "face_of",
    "image_named",
    "open_view",
    "picture",
    "placing",
    "settle",
]

DRAWN = "() => performance.getEntriesByName('first-full-view').length > 0"
# What lies over the picture would be measured with it; only the pixels of the painting are wanted.
BARE = (
    "() => document.querySelectorAll('.picture-over, .marks-layer, #marks')"
    ".forEach((element) => { element.style.visibility = 'hidden'; })"
)
STILL_MS = 150
MOST_LOOKS = 100


@dataclass(frozen=True)
class Placing:
    """Where the painting stands on the page, by the address and the rectangle of the picture."""

    centre_mm: tuple[float, float]
    mm_per_px: float
    turn_deg: float
    is_mirrored: bool
    left: float
    top: float
    width: float
    height: float

    def screen_px(self, place_mm: tuple[float, float]) -> tuple[float, float]:
        """Return where a place lies in the window, by the rule that the address stands for."""
        across = (place_mm[0] - self.centre_mm[0]) * (-1 if self.is_mirrored else 1) / self.mm_per_px
        down = (place_mm[1] - self.centre_mm[1]) / self.mm_per_px
        turn = np.radians(self.turn_deg)
        x = across * np.cos(turn) - down * np.sin(turn)
        y = across * np.sin(turn) + down * np.cos(turn)
        return float(self.left + self.width / 2 + x), float(self.top + self.height / 2 + y)

    def place_mm(self, x: float, y: float) -> tuple[float, float]:
        """Return the place on the work under a point of the window."""
        turn = np.radians(self.turn_deg)
        right, low = x - self.left - self.width / 2, y - self.top - self.height / 2
        across = (right * np.cos(turn) + low * np.sin(turn)) * (-1 if self.is_mirrored else 1)
        down = -right * np.sin(turn) + low * np.cos(turn)
        return (
            float(self.centre_mm[0] + across * self.mm_per_px),
            float(self.centre_mm[1] + down * self.mm_per_px),
        )


def face_of(page: Page) -> str:
    """Return the id of the only face that the person can see."""
    faces = page.request.get("/api/v1/faces/").json()["results"]
    assert len(faces) >= 1, "no face is open to this person"
    return str(faces[0]["id"])


def examination_of(page: Page) -> dict[str, Any]:
    """Return the data that the examination page is sent to this person, without opening it."""
    text = page.request.get(f"/faces/{face_of(page)}/examine/").text()
    found = re.search(r'<script id="examination-data" type="application/json">(.*?)</script>', text, re.DOTALL)
    assert found, "the examination page embeds no data"
    data: dict[str, Any] = json.loads(found[1])
    return data


def open_view(page: Page, **query: Any) -> None:
    """Open the examination page at a view and wait until it is drawn."""
    page.goto(f"/faces/{face_of(page)}/examine/?{urlencode(query)}")
    page.wait_for_function(DRAWN)


def image_named(data: dict[str, Any], modality: str, state: str = "before") -> dict[str, Any]:
    """Return the newest open image of a modality and a state."""
    found = [
        image
        for image in data["images"]
        if image["modality"] == modality and image["state"] == state and not image["is_closed"]
    ]
    assert found, f"no open image of {modality} {state}"
    return max(found, key=lambda image: image["version"])


def address_of_view(page: Page) -> dict[str, str]:
    """Return the view that the address holds once it has come to rest."""
    before = ""
    for _ in range(MOST_LOOKS):
        page.wait_for_timeout(STILL_MS * 2)
        if page.url == before and "mm-per-px" in before:
            return {name: values[0] for name, values in parse_qs(urlsplit(page.url).query).items()}
        before = page.url
    raise AssertionError(f"the address does not come to rest: {page.url}")


def placing(page: Page) -> Placing:
    """Return how the painting stands now."""
    view = address_of_view(page)
    box = page.locator("#painting").bounding_box()
    assert box is not None
    return Placing(
        centre_mm=(float(view["x"]), float(view["y"])),
        mm_per_px=float(view["mm-per-px"]),
        turn_deg=float(view.get("turn", 0)),
        is_mirrored=view.get("mirrored") == "1",
        left=box["x"],
        top=box["y"],
        width=box["width"],
        height=box["height"],
    )


def settle(page: Page) -> NDArray[np.float64]:
    """Return the window as levels 0 to 255 (rows, columns, 3), once two looks in a row are the same."""
    before = None
    for _ in range(MOST_LOOKS):
        seen = np.asarray(Image.open(io.BytesIO(page.screenshot())).convert("RGB")).astype(np.float64)
        if before is not None and np.array_equal(before, seen):
            return seen
        before = seen
        page.wait_for_timeout(STILL_MS)
    raise AssertionError("the page does not come to rest")


def picture(page: Page) -> NDArray[np.float64]:
    """Return the window without what lies over the painting, as grey levels (rows, columns)."""
    page.evaluate(BARE)
    grey: NDArray[np.float64] = settle(page).mean(axis=2)
    return grey
