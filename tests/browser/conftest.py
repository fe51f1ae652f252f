"""A browser on the service under its own server."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, sync_playwright

from served import served

CHROMIUM = "/usr/bin/chromium"


@pytest.fixture(scope="session")
def service_url(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with served(tmp_path_factory.mktemp("service") / "log") as url:
        yield url


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield started
        started.close()


def _page(browser: Browser, width: int) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": width, "height": 800})
    yield context.new_page()
    context.close()


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    yield from _page(browser, 1280)


@pytest.fixture
def phone_page(browser: Browser) -> Iterator[Page]:
    yield from _page(browser, 360)


@pytest.fixture
def axe_violations() -> Callable[[Page], list[dict[str, Any]]]:
    def found(page: Page) -> list[dict[str, Any]]:
        violations: list[dict[str, Any]] = Axe().run(page).response["violations"]
        return violations

    return found


@pytest.fixture
def keep_screenshot(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Page, str], Path]:
    folder = tmp_path_factory.getbasetemp() / "screenshots"

    def keep(page: Page, name: str) -> Path:
        folder.mkdir(exist_ok=True)
        path = folder / f"{name}.png"
        page.screenshot(path=path, full_page=True)
        return path

    return keep
