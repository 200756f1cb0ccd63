"""The examination page over a slow link: how long until the whole view is drawn at the zoom it needs.

Link: 1.5 Mbit/s down, 150 ms each way, nothing cached, set by the browser's own developer protocol. The figure is the
page's mark `first-full-view`, counted from the begin of the navigation; the median of several visits.
"""

from __future__ import annotations

import os
import statistics
import tempfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

from frontend.processes.system_package import chromium_path
from tests.benchmarks.row import Row
from tests.browser.conftest import OPTIONS, come_in
from tests.browser.running_installation import (
    Installation,
    found_installation,
    start_installation,
    wait_until_published,
)
from tests.browser.wall import DRAWN, face_of

__all__ = ["ROWS"]

BYTES_PER_S = 1.5e6 / 8
LATENCY_MS = 150
VISITS = 5
TARGET_S = 2.5
SCREEN = {"width": 1200, "height": 800}


def first_full_view() -> Iterator[Row]:
    """The default view of the demo's work, visible against infrared."""
    with _demo() as installation, sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=chromium_path(), chromium_sandbox=False, args=OPTIONS, timeout=120_000
        )
        times_s = [_visit(browser, installation) for _ in range(VISITS)]
        browser.close()
    yield Row("viewer first full view", statistics.median(times_s), "s", None, TARGET_S)


ROWS: dict[str, Callable[[], Iterable[Row]]] = {"first full view": first_full_view}


@contextmanager
def _demo() -> Iterator[Installation]:
    running = os.environ.get("MAHLSTICK_BROWSER_DATA")
    if running:
        yield found_installation(Path(running))
        return
    with tempfile.TemporaryDirectory() as folder:
        data = Path(folder) / "var"
        data.mkdir()
        with start_installation(data) as installation:
            wait_until_published(installation)
            yield installation


def _visit(browser: Browser, installation: Installation) -> float:
    """Open the page as somebody who has never been here, apart from the sign-in."""
    context = browser.new_context(base_url=installation.address, viewport=SCREEN)
    context.set_default_timeout(60_000)
    page = context.new_page()
    come_in(page, installation, "korvander")
    face = face_of(page)
    _slow_down(page)
    page.goto(f"/faces/{face}/examine/", wait_until="commit")
    page.wait_for_function(DRAWN)
    begun_ms = page.evaluate("() => performance.getEntriesByName('first-full-view')[0].startTime")
    context.close()
    return float(begun_ms) / 1000.0


def _slow_down(page: Page) -> None:
    session = page.context.new_cdp_session(page)
    session.send("Network.enable")
    session.send("Network.setCacheDisabled", {"cacheDisabled": True})
    conditions = {"offline": False, "latency": LATENCY_MS}
    rates = {"downloadThroughput": BYTES_PER_S, "uploadThroughput": BYTES_PER_S}
    session.send("Network.emulateNetworkConditions", {**conditions, **rates})
