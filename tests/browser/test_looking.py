"""Looking and comparing: sign in, wipe, fade, keep the place, come back by the address."""

import numpy as np
import pytest
from playwright.sync_api import expect

from tests.browser.wall import address_of_view, examination_of, image_named, open_view, picture, placing, settle

__all__: list[str] = []

SCREENS = ["desktop", "phone"]


def test_a_stranger_is_led_to_the_sign_in(visit, demo):
    page = visit()
    page.goto("/")
    page.get_by_role("main").get_by_role("link", name="Sign in").click()
    page.get_by_label("E-mail address").fill(demo.email("korvander"))
    page.get_by_label("Password").first.fill(demo.secret("korvander"))
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("link", name="Blue Jug with Three Walnuts")).to_be_visible()


def test_a_wrong_password_says_so(visit, demo):
    page = visit()
    page.goto("/account/login/")
    page.get_by_label("E-mail address").fill(demo.email("teasdale"))
    page.get_by_label("Password").first.fill("not-the-password")
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("alert")).to_contain_text("not correct")


@pytest.mark.parametrize("screen", SCREENS)
def test_the_wipe_shows_a_on_one_side_and_b_on_the_other(visit, screen):
    page = visit("korvander", screen=screen)
    data = examination_of(page)
    a, b = image_named(data, "VIS")["id"], image_named(data, "XR")["id"]
    place = {"x": 320, "y": 240, "mm-per-px": 0.5}
    open_view(page, **place, a=a, b="")
    only_a = picture(page)
    open_view(page, **place, a=b, b="")
    only_b = picture(page)
    open_view(page, **place, a=a, b=b, by="wipe", stick="320_240_90")
    both = picture(page)
    now = placing(page)
    left, right = region(now, -60, only_a.shape), region(now, 60, only_a.shape)
    sides = {
        "left": "a" if difference(both, only_a, left) < difference(both, only_b, left) else "b",
        "right": "a" if difference(both, only_a, right) < difference(both, only_b, right) else "b",
    }
    assert set(sides.values()) == {"a", "b"}, f"an upright stick leaves {sides}"
    assert difference(both, only_a, left) + difference(both, only_b, right) < 1 or (
        difference(both, only_b, left) + difference(both, only_a, right) < 1
    )


def test_the_fade_mixes_both_images_by_its_share(visit):
    page = visit("korvander")
    data = examination_of(page)
    a, b = image_named(data, "VIS")["id"], image_named(data, "XR")["id"]
    seen = {}
    for fade in (0, 0.5, 1):
        open_view(page, x=320, y=240, **{"mm-per-px": 0.5}, a=a, b=b, by="fade", fade=fade)
        seen[fade] = picture(page)
    now = placing(page)
    here = region(now, 0, seen[0].shape)
    between = np.abs(seen[0.5][here] - (seen[0][here] + seen[1][here]) / 2).mean()
    assert between < 1.5, f"half a fade lies {between:.1f} levels beside the mean of both images"


@pytest.mark.parametrize("screen", SCREENS)
def test_the_place_stays_when_the_image_changes(visit, screen):
    page = visit("korvander", screen=screen)
    data = examination_of(page)
    infrared, radiograph = image_named(data, "IRR"), image_named(data, "XR")
    open_view(page, x=231.5, y=187.25, **{"mm-per-px": 0.2}, turn=12, a=image_named(data, "VIS")["id"])
    before = address_of_view(page)
    for image in (radiograph, infrared):
        page.locator(f".spot[data-image='{image['id']}']").click()
        settle(page)
        after = address_of_view(page)
        assert after["b"] == image["id"]
        assert {key: after[key] for key in ("x", "y", "mm-per-px", "turn")} == {
            key: before[key] for key in ("x", "y", "mm-per-px", "turn")
        }


def test_the_address_brings_the_view_back(visit):
    page = visit("korvander")
    data = examination_of(page)
    open_view(
        page,
        **{"x": 410, "y": 205, "mm-per-px": 0.15, "turn": 8, "by": "wipe", "stick": "415.00_210.00_61.0"},
        a=image_named(data, "VIS")["id"],
        b=image_named(data, "UVL")["id"],
    )
    page.get_by_role("button", name="Nearer").click()
    page.locator(".stick-pad").press("Shift+ArrowRight")
    address_of_view(page)
    before, seen = page.url, picture(page)
    page.reload()
    page.wait_for_function("() => performance.getEntriesByName('first-full-view').length > 0")
    address_of_view(page)
    assert page.url == before
    wall = region(placing(page), 0, seen.shape)
    assert np.abs(picture(page) - seen)[wall].max() <= 8, "the painting looks different after a reload"


def region(now, beside_mm, shape):
    """Return a slice of the window 40 x 40 mm large, some way beside the middle."""
    x, y = now.screen_px((now.centre_mm[0] + beside_mm, now.centre_mm[1]))
    half = 20 / now.mm_per_px
    rows = slice(int(max(0, y - half)), int(min(shape[0], y + half)))
    return rows, slice(int(max(0, x - half)), int(min(shape[1], x + half)))


def difference(one, other, where):
    """Return the mean difference of levels in a region."""
    return float(np.abs(one[where] - other[where]).mean())
