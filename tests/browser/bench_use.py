"""What tests do with the bench page, and what the service says to the same request."""

import json
import urllib.request
from typing import Any

from playwright.sync_api import Locator, Page, expect

PLAN, DRAW = "**/v1/plan-installation", "**/v1/draw-installation"
LENGTH = "field:/job/circuits/0/route/0/length"
LONGEST_ANSWER_S = 60.0


def field(page: Page, identifier: str) -> Locator:
    """Return the element of an identifier, which may hold any sign."""
    return page.locator(f'[id="{identifier}"]')


def enter(page: Page, identifier: str, text: str) -> None:
    """Enter a text, and wait until the service has answered to it."""
    with page.expect_response(PLAN):
        field(page, identifier).fill(text)


def load_demo_job(page: Page, address: str, name: str) -> None:
    """Open the page and load a demo job by its button, until its price and its drawing are there.

    A drawing that is still asked for would be given up at the next entry.
    """
    page.goto(f"{address}/")
    page.locator("#demo-what").select_option(name)
    page.locator("#demo-load").click()
    expect(page.locator("#result-total")).to_be_visible()
    expect(page.locator("#drawing img")).to_be_visible()


def answered(address: str, operation: str, body: dict[str, Any], accept: str) -> bytes:
    """Return the content of an answer in a form."""
    request = urllib.request.Request(
        f"{address}/v1/{operation}",
        json.dumps(body).encode(),
        {"Content-Type": "application/json", "Accept": accept},
    )
    with urllib.request.urlopen(request, timeout=LONGEST_ANSWER_S) as response:
        assert response.headers.get_content_type() == accept
        content: bytes = response.read()
        return content


def posted(address: str, operation: str, body: dict[str, Any]) -> dict[str, Any]:
    """Return the JSON document of an answer."""
    document: dict[str, Any] = json.loads(answered(address, operation, body, "application/json"))
    return document


def plan_of(answer: dict[str, Any], name: str = "recommended") -> dict[str, Any]:
    """Return a plan of an answer."""
    found: dict[str, Any]
    (found,) = (each for each in answer["plans"] if each["name"] == name)
    return found


def total_of(answer: dict[str, Any], name: str = "recommended") -> str:
    """Return the total of a plan as the page shows it."""
    return f"{plan_of(answer, name)['bill']['total']} {answer['currency']}"
