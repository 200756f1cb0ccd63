"""Photograph every page of a running server, on a desktop and on a phone."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from playwright.sync_api import Browser, Page, ViewportSize, sync_playwright
from playwright.sync_api import Error as BrowserError

from frontend.installation.progress import Progress
from frontend.pages.page_list import PAGES, ListedPage

__all__ = ["Photograph", "photograph_pages"]

_SCREENS = {"1440x900": ViewportSize(width=1440, height=900), "390x844": ViewportSize(width=390, height=844)}
_PHONE = "390x844"
_SETTLE_MS = 20_000
_CALM_MS = 600
_IS_DRAWN = "() => !document.getElementById('painting') || performance.getEntriesByName('first-full-view').length > 0"
_OPTIONS = ["--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-sync"]


@dataclass(frozen=True)
class Photograph:
    """One picture taken, or the reason why not."""

    page: str
    screen: str
    file: str
    problem: str = ""


def photograph_pages(
    folder: Path, *, address: str, sign_in: tuple[str, str], places: dict[str, str], chromium: str
) -> list[Photograph]:
    """Write `PAGE-SCREEN.png` for every page; places fill the names in the pages' addresses."""
    folder.mkdir(parents=True, exist_ok=True)
    taken: list[Photograph] = []
    with sync_playwright() as playwright, Progress("Taking screenshots") as progress:
        # Chromium's own sandbox does not start for root; the pages are this project's own.
        browser = playwright.chromium.launch(executable_path=chromium, chromium_sandbox=False, args=_OPTIONS)
        for screen in _SCREENS:
            tab = _signed_in_tab(browser, screen, address=address, sign_in=sign_in)
            stranger = _new_tab(browser, screen)
            for listed in PAGES:
                progress.update(len(taken) / (len(PAGES) * len(_SCREENS)), listed.name)
                shown = stranger if listed.is_for_anybody else tab
                taken.append(
                    _photograph(shown, listed, folder / f"{listed.name}-{screen}.png", address + listed.address, places)
                )
        browser.close()
    return taken


def _new_tab(browser: Browser, screen: str) -> Page:
    context = browser.new_context(
        viewport=_SCREENS[screen], ignore_https_errors=True, has_touch=screen == _PHONE, is_mobile=screen == _PHONE
    )
    return context.new_page()


def _signed_in_tab(browser: Browser, screen: str, *, address: str, sign_in: tuple[str, str]) -> Page:
    tab = _new_tab(browser, screen)
    tab.goto(f"{address}/account/login/")
    email, password = sign_in
    tab.fill("input[name=login]", email)
    tab.fill("input[name=password]", password)
    tab.press("input[name=password]", "Enter")
    tab.wait_for_url(lambda url: "/account/login" not in url)
    return tab


def _photograph(tab: Page, listed: ListedPage, file: Path, address: str, places: dict[str, str]) -> Photograph:
    screen = file.stem.removeprefix(f"{listed.name}-")
    try:
        full_address = address.format_map(places)
    except KeyError as missing:
        return Photograph(listed.name, screen, "", f"the data hold no {missing.args[0]} to show")
    try:
        tab.goto(full_address, wait_until="load")
        # An event stream stays open, so a page that has one never falls silent; a moment is enough.
        tab.wait_for_timeout(_CALM_MS)
        is_drawn = _wait_for_view(tab)
        tab.screenshot(path=file)
    except BrowserError as problem:
        return Photograph(listed.name, screen, "", str(problem).splitlines()[0])
    return Photograph(listed.name, screen, file.name, "" if is_drawn else "the view was not drawn in time")


def _wait_for_view(tab: Page) -> bool:
    """Wait until the painting, if the page shows one, is drawn; tell whether it is."""
    for _ in range(_SETTLE_MS // _CALM_MS):
        if tab.evaluate(_IS_DRAWN):
            return True
        tab.wait_for_timeout(_CALM_MS)
    return False
