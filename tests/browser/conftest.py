"""The service, a browser and watched pages, for tests that see pages as people do."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from artefacts import kept_pdf, kept_screenshot
from browsing import (
    DESK,
    LONGEST_WAIT_MS,
    PHONE,
    Complaints,
    NewPage,
    launched,
    violations,
    watched_pages,
)
from playwright.sync_api import Browser, Page, expect

from served import served

# A third of it, as it is without this, is too short on a busy machine.
expect.set_options(timeout=LONGEST_WAIT_MS)


@pytest.fixture(scope="session")
def service_url(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of the service under its own server, without a slash at the end."""
    with served(tmp_path_factory.mktemp("served") / "server.log") as address:
        yield address


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """The browser, for the tests of a file.

    While it is there an event loop counts as running in this thread, so that ``asyncio.run`` would
    fail in whatever file comes next in this process. A start takes half a second.
    """
    with launched() as browser:
        yield browser


@pytest.fixture
def complaints() -> Complaints:
    """What the pages of this test complain of; ``complaints.allow(text)`` allows some of it."""
    return Complaints()


@pytest.fixture
def new_page(browser: Browser, complaints: Complaints) -> Iterator[NewPage]:
    """What opens further pages: ``new_page(**DESK, locale="de-DE")``, each in its own context.

    All pages of a test are watched: it fails at its end if any complained of what is not allowed.
    """
    with watched_pages(browser, complaints) as new_page:
        yield new_page


@pytest.fixture
def page(new_page: NewPage) -> Page:
    """A page on a desk, 1280 by 900; ``page.emulate_media(color_scheme="dark")`` makes it dark."""
    return new_page(**DESK)


@pytest.fixture
def phone_page(new_page: NewPage) -> Page:
    """A page on a telephone, 360 by 780 at two dots a pixel, touched by fingers."""
    return new_page(**PHONE)


@pytest.fixture(scope="session")
def axe_violations() -> Callable[[Page], list[str]]:
    """What returns a line for each violation of accessibility on a page, as it is shown now."""
    return violations


@pytest.fixture
def keep_screenshot(
    record_property: Callable[[str, object], None],
) -> Callable[[Page, str], Path]:
    """What keeps a picture of a whole page for people to look at, and returns its path."""

    def keep(page: Page, name: str) -> Path:
        path = kept_screenshot(page, name)
        record_property("kept", str(path))
        return path

    return keep


@pytest.fixture
def keep_pdf(record_property: Callable[[str, object], None]) -> Callable[[bytes, str], Path]:
    """What keeps a printed document for people to look at, and returns its path."""

    def keep(content: bytes, name: str) -> Path:
        path = kept_pdf(content, name)
        record_property("kept", str(path))
        return path

    return keep
