"""What the fixtures of the browser are made of: pages that are watched, and the rules of access.

The browser is Debian's Chromium without a window. It reaches the loopback and nothing else, so that
a page that fetches anything from elsewhere is found out.
"""

import os
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from typing import Any, Protocol
from urllib.parse import urlsplit

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import (
    Browser,
    BrowserContext,
    ConsoleMessage,
    Page,
    Request,
    sync_playwright,
)

from left_out import chromium_command

# [CSS pixels] of a desk and of a telephone.
DESK: dict[str, Any] = {"viewport": {"width": 1280, "height": 900}}
PHONE: dict[str, Any] = {
    "viewport": {"width": 360, "height": 780},
    "device_scale_factor": 2,
    "has_touch": True,
    "is_mobile": True,
}
# The same on any machine, whatever its own language, time zone and theme.
ALIKE: dict[str, Any] = {"locale": "en-GB", "timezone_id": "UTC", "color_scheme": "light"}
# A page that needs longer than that to do anything is a failure [ms].
LONGEST_WAIT_MS = 15_000
# Of every page.
ICON = "/assets/mark.svg"
# Web Content Accessibility Guidelines 2.1, levels A and AA, and what axe-core advises beyond.
RULES = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice")
_ARGUMENTS = (
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1, EXCLUDE localhost",
    "--no-proxy-server",
)


class NewPage(Protocol):
    """Opens a watched page in a context of its own."""

    def __call__(self, **options: Any) -> Page:
        """Return a page; ``options`` are those of a context beside or in place of ``ALIKE``."""


class Complaints:
    """What the pages of a test complain of, and what of it the test allows.

    Errors on the console, errors that no script caught and requests that failed. A status of 400
    and above is an error on the console.
    """

    def __init__(self) -> None:
        self.found: list[str] = []
        self._allowed: list[str] = []

    def allow(self, text: str) -> None:
        """Allow each complaint that contains a text; one that never comes fails the test too."""
        self._allowed.append(text)

    def watch(self, context: BrowserContext) -> None:
        """Note the complaints of all pages of a context, also of those that it opens itself."""
        context.on("console", self._note_said)
        context.on("weberror", lambda thrown: self.found.append(f"script: {thrown.error}"))
        context.on("requestfailed", self._note_lost)

    def _note_said(self, said: ConsoleMessage) -> None:
        where = said.location["url"]
        # The browser asks for it by itself, once and at a time of its own, also beside JSON.
        if said.type == "error" and urlsplit(where).path != "/favicon.ico":
            self.found.append(f"console: {said.text} ({where})")

    def _note_lost(self, lost: Request) -> None:
        address = urlsplit(lost.url)
        # The icon too is asked for at a time of its own, and given up when the page is left. The
        # browser's own viewer of PDF is no part of any page.
        is_left = lost.failure == "net::ERR_ABORTED" and (
            address.path == ICON or address.scheme in {"chrome", "chrome-extension"}
        )
        if not is_left:
            self.found.append(f"request: {lost.method} {lost.url}: {lost.failure}")

    def faults(self) -> list[str]:
        """Return what came and is not allowed, and what is allowed and did not come."""
        unexpected = [
            found for found in self.found if not any(text in found for text in self._allowed)
        ]
        missing = [
            f"allowed, but did not come: {text}"
            for text in self._allowed
            if not any(text in found for found in self.found)
        ]
        return unexpected + missing


@contextmanager
def launched() -> Iterator[Browser]:
    """Yield the browser; afterwards neither it nor its driver is left."""
    command = chromium_command()
    assert command is not None, "Chromium is not here (on Debian: apt-get install chromium)"
    # The sandbox refuses to work for root.
    sandbox = ("--no-sandbox",) if os.geteuid() == 0 else ()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=command, args=[*_ARGUMENTS, *sandbox], timeout=60_000
        )
        try:
            yield browser
        finally:
            browser.close()


@contextmanager
def watched_pages(browser: Browser, complaints: Complaints) -> Iterator[NewPage]:
    """Yield what opens pages; afterwards they are closed and may have complained of nothing."""
    contexts = ExitStack()
    opened: list[BrowserContext] = []

    def new_page(**options: Any) -> Page:
        context = browser.new_context(**{**ALIKE, **options})
        contexts.callback(context.close)
        opened.append(context)
        context.set_default_timeout(LONGEST_WAIT_MS)
        complaints.watch(context)
        return context.new_page()

    with contexts:
        yield new_page
        # Events come in order: what was said before this answer has been noted by then.
        for page in [page for context in opened for page in context.pages]:
            page.evaluate("0")
        # Before the end, which breaks off whatever a page still asks for.
        faults = complaints.faults()
    assert not faults, "\n".join(faults)


def violations(page: Page) -> list[str]:
    """Return what axe-core finds against ``RULES`` on a page as it is shown, a line each.

    A line has the weight, the rule, what it asks for, the element, and what is wrong with it. What
    axe-core cannot judge by itself is not among them.
    """
    options = {"runOnly": {"type": "tag", "values": RULES}, "resultTypes": ["violations"]}
    found = Axe().run(page, options=options).response["violations"]
    return [
        f"{rule['impact']} {rule['id']}: {rule['help']}: "
        f"{' '.join(map(str, node['target']))}: {' '.join(node['failureSummary'].split())}"
        for rule in found
        for node in rule["nodes"]
    ]
