"""The examination page by keys alone: the order of the focus, and that it can be seen."""

import pytest

from tests.browser.wall import address_of_view, open_view, placing

__all__: list[str] = []

# Where the focus is, as the look of the page orders it: head line, painting, marks, tools, record.
REGION = """() => {
  const here = document.activeElement;
  const regions = {skip: '.skip-links', head: '.head-line', painting: '.picture-wall > :not(#marks)',
                   marks: '#marks', tools: '#tools', record: '#record'};
  const found = Object.entries(regions).find(([, selector]) => here.closest(selector));
  const style = getComputedStyle(here);
  // The ring of the painting lies over the pictures in it, not round it.
  const over = here.id === 'painting' ? getComputedStyle(document.querySelector('.picture-over'), '::after') : null;
  const ring = over ? over.content : 'none';
  const name = here.getAttribute('aria-label') || here.textContent.trim().slice(0, 40);
  return {region: found ? found[0] : null, name,
          isSeen: style.outlineStyle !== 'none' || style.boxShadow !== 'none' || ring !== 'none'};
}"""
ORDER = ["skip", "head", "painting", "marks", "tools", "record"]
MOST_STOPS = 120


def walk(page):
    """Press Tab from the top until the focus leaves the page; return every stop."""
    stops = []
    page.evaluate("() => document.activeElement.blur()")
    for _ in range(MOST_STOPS):
        page.keyboard.press("Tab")
        if page.evaluate("() => document.activeElement === document.body"):
            break
        stops.append(page.evaluate(REGION))
    return stops


@pytest.mark.parametrize("screen", ["desktop", "phone"])
def test_the_focus_goes_head_painting_marks_tools_record(visit, screen):
    page = visit("korvander", screen=screen)
    open_view(page)
    stops = walk(page)
    regions = [stop["region"] for stop in stops]
    assert None not in regions, f"stops outside every region: {stops}"
    visited = [region for region in ORDER if region in regions]
    assert [region for at, region in enumerate(regions) if at == 0 or regions[at - 1] != region] == visited
    assert {"head", "painting", "tools"} <= set(visited)
    unseen = [stop for stop in stops if not stop["isSeen"]]
    assert unseen == [], "the focus cannot be seen there"


def test_the_painting_is_moved_and_the_stick_slid_by_keys(visit):
    page = visit("korvander")
    open_view(page, x=320, y=240, **{"mm-per-px": 0.5})
    page.locator("#painting").focus()
    before = placing(page)
    page.keyboard.press("ArrowRight")
    page.keyboard.press("+")
    after = placing(page)
    assert after.centre_mm[0] > before.centre_mm[0]
    assert after.mm_per_px < before.mm_per_px
    stick = page.get_by_role("slider", name="Stick").first
    begun = [float(part) for part in address_of_view(page)["stick"].split("_")]
    stick.press("ArrowRight")
    stick.press("Shift+ArrowRight")
    stick.press("ArrowUp")
    x_mm, y_mm, angle_deg = (float(part) for part in address_of_view(page)["stick"].split("_"))
    slid_mm = ((x_mm - begun[0]) ** 2 + (y_mm - begun[1]) ** 2) ** 0.5
    assert slid_mm == pytest.approx(11.0, abs=0.02), "1 mm and, with Shift, 10 mm"
    assert abs(angle_deg - begun[2]) == pytest.approx(1.0, abs=0.05)
