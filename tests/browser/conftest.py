"""One running demo, one Chromium, and visitors with accounts, screens and rooms of their own."""

import os
import re
import tempfile
from collections.abc import Callable, Generator, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, StorageState, sync_playwright
from playwright.sync_api import Error as BrowserError

from frontend.processes.system_package import chromium_path
from tests.browser.running_installation import (
    Installation,
    found_installation,
    start_installation,
    wait_until_published,
)

__all__ = ["Visit", "browser", "demo", "visit"]

# Chromium's own sandbox does not start for root, and there is no graphics card to draw with.
OPTIONS = ["--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-sync"]
SCREENS: dict[str, dict[str, Any]] = {
    "desktop": {"viewport": {"width": 1440, "height": 900}},
    "phone": {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True},
}
PATIENCE_MS = 30_000
ROOM_KEY = "mahlstick.room"

Visit = Callable[..., Page]
OPENED: pytest.StashKey[list[Page]] = pytest.StashKey()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark everything here, so that no file can forget it."""
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.browser)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Show what the pages of a failed test looked like: a picture of each beside the report."""
    report = yield
    if report.when == "call" and report.failed:
        for number, page in enumerate(item.stash.get(OPENED, [])):
            file = Path(tempfile.mkdtemp(prefix="mahlstick-failed-")) / f"{item.name}-{number}.png"
            try:
                page.screenshot(path=file)
            except BrowserError as problem:
                report.sections.append(("page", f"{page.url} could not be photographed: {problem}"))
            else:
                report.sections.append(("page", f"{page.url}\nphotographed in {file}"))
    return report


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Installation]:
    """Return the running demo with all its pictures: one's own, or the one of MAHLSTICK_BROWSER_DATA."""
    running = os.environ.get("MAHLSTICK_BROWSER_DATA")
    if running:
        yield found_installation(Path(running))
        return
    data = tmp_path_factory.mktemp("demo") / "var"
    data.mkdir()
    with start_installation(data) as installation:
        wait_until_published(installation)
        yield installation


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Return one Chromium for all tests."""
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(
            executable_path=chromium_path(), chromium_sandbox=False, args=OPTIONS, timeout=120_000
        )
        yield chromium
        chromium.close()


@pytest.fixture(scope="session")
def signed_in(demo: Installation, browser: Browser) -> Callable[[str], StorageState]:
    """Return what a browser keeps of a signed-in person; everybody signs in once, by the pages."""
    kept: dict[str, StorageState] = {}

    def state_of(person: str) -> StorageState:
        if person not in kept:
            context = browser.new_context(base_url=demo.address)
            come_in(context.new_page(), demo, person)
            kept[person] = context.storage_state()
            context.close()
        return kept[person]

    return state_of


def come_in(page: Page, demo: Installation, person: str) -> None:
    """Sign in with a password, or enter by the link of a guest."""
    page.set_default_timeout(PATIENCE_MS)
    secret = demo.secret(person)
    if secret.startswith("/invited/"):
        page.goto(secret)
        page.get_by_role("button", name="Come in").click()
    else:
        page.goto("/account/login/")
        page.get_by_label("E-mail address").fill(demo.email(person))
        page.get_by_label("Password").first.fill(secret)
        page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(lambda url: "/account/login" not in url and "/invited/" not in url)


@pytest.fixture
def visit(
    demo: Installation, browser: Browser, signed_in: Callable[[str], StorageState], request: pytest.FixtureRequest
) -> Iterator[Visit]:
    """Open pages as somebody; a test fails when a page reports an error that it was not told of.

    `tolerated` is a pattern of reports that belong to the story, such as the 412 of a conflict.
    """
    contexts, reports = [], []

    def open_page(
        person: str | None = None, *, screen: str = "desktop", room: str | None = None, tolerated: str | None = None
    ) -> Page:
        state = signed_in(person) if person else None
        context = browser.new_context(base_url=demo.address, storage_state=state, **SCREENS[screen])
        contexts.append(context)
        context.set_default_timeout(PATIENCE_MS)
        if room:
            context.add_init_script(f"localStorage.setItem('{ROOM_KEY}', '{room}')")
        page = context.new_page()
        request.node.stash.setdefault(OPENED, []).append(page)

        def report(words: str) -> None:
            if not (tolerated and re.search(tolerated, words)):
                reports.append(words)

        page.on("console", lambda said: report(f"{said.text} ({page.url})") if said.type == "error" else None)
        page.on("pageerror", lambda error: report(f"{error} ({page.url})"))
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert reports == [], "pages reported errors or broke the content security policy"
