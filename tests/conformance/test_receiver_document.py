"""The OpenAPI document of receivers: valid, its example right, and what is sent follows it."""

import http.client
import json
from typing import Any
from urllib.parse import urlsplit

import openapi_spec_validator
import pytest
import yaml
from conformance_samples import SPECIFICATION, sample, serving
from jsonschema import Draft202012Validator

from loomwright.conformance.deliveries import delivery
from loomwright.conformance.specification import FOLDER

DOCUMENT = yaml.safe_load((FOLDER / "receiver.yaml").read_text("utf-8"))
receiver = sample("receiver")


def validator(name: str) -> Draft202012Validator:
    """Validator for a component schema."""
    return Draft202012Validator({**DOCUMENT, "$ref": f"#/components/schemas/{name}"})


def answer(url: str, method: str, path: str, body: bytes | None = None) -> tuple[int, str, Any]:
    """Status, media type and document of an answer."""
    connection = http.client.HTTPConnection(urlsplit(url).netloc, timeout=30)
    headers = {"Content-Type": "application/json"} if body else {}
    connection.request(method, path, body, headers)
    response = connection.getresponse()
    document = json.loads(response.read())
    connection.close()
    return response.status, response.getheader("Content-Type") or "", document


def test_document_is_valid() -> None:
    openapi_spec_validator.validate(DOCUMENT)


def test_example_is_a_right_delivery() -> None:
    example = DOCUMENT["components"]["examples"]["OneLine"]["value"]
    validator("Delivery").validate(example)
    body = json.dumps(example, separators=(",", ":")).encode()
    receiver.check(example["quote_id"], "application/json", body)
    page = (FOLDER / "delivery.md").read_text("utf-8")
    assert body.decode() in page


def test_deliveries_of_the_runner_follow_the_document() -> None:
    made = json.loads(delivery({}, "a title").body)
    validator("Delivery").validate(made)


@pytest.mark.parametrize("name", ["specification", "quote_id", "reference", "bill"])
def test_document_asks_for_each_member(name: str) -> None:
    made = json.loads(delivery({}, "a title").body)
    del made[name]
    assert not validator("Delivery").is_valid(made)


def test_sample_answers_as_the_document_says() -> None:
    made = delivery({}, "a title")
    wrong = delivery({"id_of": "else"}, "a title")
    put = DOCUMENT["paths"]["/quotes/{quote_id}"]["put"]["responses"]
    with serving(receiver.server()) as url:
        status, kind, document = answer(url, "GET", "/capabilities")
        assert (status, kind) == (200, "application/json")
        validator("Capabilities").validate(document)
        for path, body, expected in (
            (made.path, made.body, 201),
            (made.path, made.body, 200),
            (wrong.path, wrong.body, 422),
            (made.path, b"{", 400),
        ):
            status, kind, document = answer(url, "PUT", path, body)
            assert status == expected
            stated = put[str(status)]
            if status >= 400:
                assert stated == {"$ref": "#/components/responses/Refused"}
                assert kind == "application/problem+json"
                validator("Problem").validate(document)


def test_document_and_pages_name_the_same_statuses() -> None:
    page = (FOLDER / "delivery.md").read_text("utf-8")
    stated = set(DOCUMENT["paths"]["/quotes/{quote_id}"]["put"]["responses"])
    tables = [line for line in page.splitlines() if line.startswith("| ")]
    listed = {word.strip() for line in tables for word in line.split("|")[1].split(",")}
    assert stated <= listed
    demanded = {
        word
        for entry in SPECIFICATION.of_role("receiver")
        if entry.page == "receiver.md"
        for word in entry.sentence.replace(".", " ").split()
        if word.isdigit() and len(word) == 3
    }
    assert demanded <= stated
