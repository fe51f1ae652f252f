"""The interface as scripts of a page call it: from the service's own origin and from another."""

import json
import urllib.request
from decimal import Decimal
from typing import Any
from urllib.parse import urlsplit

import pytest
from browsing import DESK

from loomwright.jobs.demo_library import demo_job
from served import served

BODY = {"job": demo_job("van_second_battery")}
# Runs in the page: fetches, and returns what a script may see of the answer.
POST = """async ([address, body]) => {
    const answer = await fetch(address, {
        method: "POST",
        headers: {"Content-Type": "application/json"},
        body: JSON.stringify(body),
    });
    return {
        status: answer.status,
        type: answer.headers.get("Content-Type"),
        id: answer.headers.get("X-Request-Id"),
        document: await answer.json(),
    };
}"""
# The same, but tells how it failed.
POST_OR_FAIL = f"""async (given) => {{
    try {{
        return await ({POST})(given);
    }} catch (error) {{
        return `${{error.name}}: ${{error.message}}`;
    }}
}}"""


def posted(address: str, body: dict[str, Any]) -> dict[str, Any]:
    """Return the document that Python gets."""
    request = urllib.request.Request(
        address, json.dumps(body).encode(), {"Content-Type": "application/json"}
    )
    with urllib.request.urlopen(request, timeout=60) as response:
        document: dict[str, Any] = json.load(response)
        return document


def by_name(address: str) -> str:
    """Return the same server under its name, which for a browser is another origin."""
    return f"http://localhost:{urlsplit(address).port}"


def test_a_plan_costs_the_same_in_the_browser(service_url, page):
    page.goto(f"{service_url}/v1/health")
    answer = page.evaluate(POST, [f"{service_url}/v1/plan-installation", BODY])
    assert (answer["status"], answer["type"]) == (200, "application/json")
    own = posted(f"{service_url}/v1/plan-installation", BODY)
    totals = [plan["bill"]["total"] for plan in answer["document"]["plans"]]
    assert totals == [plan["bill"]["total"] for plan in own["plans"]]
    assert all(Decimal(total) > 0 for total in totals)
    # JavaScript has one kind of number, so that 1.0 comes back as 1: equal all the same.
    assert answer["document"] == own


def test_a_faulty_job_is_a_problem_document_that_scripts_can_read(service_url, page, complaints):
    complaints.allow("status of 422")
    page.goto(f"{service_url}/v1/health")
    answer = page.evaluate(POST, [f"{service_url}/v1/plan-installation", {"job": {}}])
    assert (answer["status"], answer["type"]) == (422, "application/problem+json")
    assert answer["document"]["status"] == 422


def test_a_page_of_another_origin_is_refused(service_url, page, complaints):
    complaints.allow("blocked by CORS policy")
    complaints.allow("net::ERR_FAILED")
    page.goto(f"{by_name(service_url)}/v1/health")
    said = page.evaluate(POST_OR_FAIL, [f"{service_url}/v1/plan-installation", BODY])
    assert said == "TypeError: Failed to fetch"


@pytest.fixture(scope="module")
def shared_url(service_url, tmp_path_factory):
    """The address of a service that pages of the other one may call."""
    log = tmp_path_factory.mktemp("shared") / "server.log"
    with served(log, LOOMWRIGHT_CORS_ORIGINS=service_url) as address:
        yield address


def test_a_page_of_a_listed_origin_may_call(service_url, shared_url, page):
    page.goto(f"{service_url}/v1/health")
    answer = page.evaluate(POST, [f"{shared_url}/v1/plan-installation", BODY])
    assert answer["status"] == 200
    assert len(answer["id"]) == 32
    assert answer["document"] == posted(f"{service_url}/v1/plan-installation", BODY)


def test_a_page_of_an_origin_that_is_not_listed_is_refused(shared_url, new_page, complaints):
    complaints.allow("blocked by CORS policy")
    complaints.allow("net::ERR_FAILED")
    page = new_page(**DESK)
    page.goto(f"{by_name(shared_url)}/v1/health")
    said = page.evaluate(POST_OR_FAIL, [f"{shared_url}/v1/plan-installation", BODY])
    assert said == "TypeError: Failed to fetch"
