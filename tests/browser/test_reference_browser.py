"""The reference and the pages of the specification in a browser, with the real service."""

import json
import urllib.request
from collections.abc import Callable
from pathlib import Path
from urllib.parse import urldefrag, urljoin, urlsplit

import pytest
from browsing import DESK, PHONE, NewPage
from playwright.sync_api import Page, Request, expect

PAGES = ("/reference", "/plugin/", "/plugin/operations/", "/plugin/http", "/v1/problems")
METHODS = {"get", "put", "post", "delete", "patch"}
LISTED = """[...document.querySelectorAll('.opblock-summary')].map(each => [
    each.querySelector('.opblock-summary-method').textContent.toLowerCase(),
    each.querySelector('.opblock-summary-path').dataset.path])"""
LINKS = "[...document.querySelectorAll('a[href]')].map(link => link.href)"
HELD = "[...document.querySelectorAll('[id]')].map(each => each.id)"


def read(address: str, accept: str = "application/json") -> bytes:
    request = urllib.request.Request(address, headers={"Accept": accept})
    with urllib.request.urlopen(request, timeout=60) as response:
        content: bytes = response.read()
        return content


def opened(page: Page, address: str) -> list[str]:
    """Open a page, and return what is asked for elsewhere than of the service, also later."""
    elsewhere: list[str] = []

    def note(asked: Request) -> None:
        # What stands in the address itself is fetched from nowhere.
        if urlsplit(asked.url).scheme != "data" and not asked.url.startswith(origin):
            elsewhere.append(asked.url)

    parts = urlsplit(address)
    origin = f"{parts.scheme}://{parts.netloc}/"
    page.on("request", note)
    page.goto(address)
    if parts.path == "/reference":
        expect(page.locator(".opblock").first).to_be_visible()
    return elsewhere


def test_the_reference_lists_every_operation(
    service_url: str, page: Page, keep_screenshot: Callable[[Page, str], Path]
) -> None:
    elsewhere = opened(page, f"{service_url}/reference")
    stated = json.loads(read(f"{service_url}/v1/openapi.json"))
    wanted = [
        [method, path] for path, item in stated["paths"].items() for method in METHODS & item.keys()
    ]
    assert sorted(page.evaluate(LISTED)) == sorted(wanted)
    assert elsewhere == []
    keep_screenshot(page, "reference-desk")


def test_what_is_tried_out_is_answered(
    service_url: str, page: Page, keep_screenshot: Callable[[Page, str], Path]
) -> None:
    elsewhere = opened(page, f"{service_url}/reference")
    operation = page.locator(".opblock-post", has=page.locator('[data-path="/v1/size-conductor"]'))
    operation.locator(".opblock-summary-control").click()
    operation.get_by_role("button", name="Try it out").click()
    with page.expect_response("**/v1/size-conductor") as answered:
        operation.get_by_role("button", name="Execute").click()
    assert answered.value.status == 200
    expect(operation.locator(".live-responses-table .response-col_status").last).to_contain_text(
        "200"
    )
    size = answered.value.json()["conductor"]["size"]
    expect(operation.locator(".live-responses-table")).to_contain_text(f'"size": "{size}"')
    assert elsewhere == []
    keep_screenshot(page, "reference-tried-out")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_pages_are_accessible_and_fit(
    service_url: str,
    new_page: NewPage,
    axe_violations: Callable[[Page], list[str]],
    keep_screenshot: Callable[[Page, str], Path],
    scheme: str,
) -> None:
    # Each width in one of the schemes, as colours and widths do not touch one another.
    options = DESK if scheme == "light" else {**PHONE, "device_scale_factor": 1}
    page = new_page(**options, color_scheme=scheme)
    for path in PAGES:
        assert opened(page, f"{service_url}{path}") == []
        assert axe_violations(page) == [], path
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), path
        name = path.strip("/").replace("/", "-")
        keep_screenshot(page, f"page-{name}-{scheme}")


def test_links_of_the_pages_lead_somewhere(service_url: str, page: Page) -> None:
    """From the specification on, every page of the service that is linked to, and each anchor."""
    held: dict[str, set[str]] = {}
    wanted: set[str] = set()
    left = [f"{service_url}/plugin/"]
    while left:
        address = left.pop()
        if address in held:
            continue
        response = page.goto(address)
        assert response is not None
        assert response.status == 200, address
        held[address] = set(page.evaluate(HELD))
        for link in page.evaluate(LINKS):
            whole = urljoin(address, link)
            if not whole.startswith(f"{service_url}/"):
                assert urlsplit(whole).scheme == "https", whole
                continue
            wanted.add(whole)
            path = urlsplit(whole).path
            # Files are downloaded or shown as text; they have no links.
            if path.startswith("/plugin/") and "." not in path.rpartition("/")[2]:
                left.append(urldefrag(whole).url)
    assert len(held) > 20
    for link in sorted(wanted):
        address, anchor = urldefrag(link)
        if address in held:
            assert not anchor or anchor in held[address], link
        else:
            assert read(address, "text/html, */*"), link
