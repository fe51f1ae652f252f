"""Every example of the OpenAPI document is what the service answers, and keeps its schema."""

import json
import re

import jsonschema
import pytest
from referencing import Registry, Resource
from referencing.jsonschema import DRAFT202012

from drawn_requests import client, document
from loomwright.web.openapi_examples import FILE
from loomwright.web.operations import OPERATIONS
from loomwright.web.problem_codes import CODES
from recording import PAGE, recorded

HERE = "urn:document"
RENEWAL = (
    "renew it: python tests/recording.py, then "
    "python -m loomwright.web.openapi_file > openapi/loomwright.yaml"
)
METHODS = [
    (path, method, described)
    for path, methods in document()["paths"].items()
    for method, described in methods.items()
]


@pytest.fixture(scope="module")
def answered():
    return json.loads(json.dumps(recorded()))


@pytest.mark.parametrize("part", ["answers", "problems", "lines"])
def test_record_equals_what_the_service_answers_now(answered, part):
    assert json.loads(FILE.read_text("utf-8"))[part] == answered[part], RENEWAL


def example_value(example):
    if "$ref" in example:
        return document()["components"]["examples"][example["$ref"].rpartition("/")[2]]["value"]
    return example["value"]


def is_binary(content):
    return content["schema"].get("format") == "binary"


def faults(schema, value):
    """Return what a validator (Draft 2020-12) that knows the whole document finds."""
    registry = Registry().with_resource(
        HERE, Resource(contents=document(), specification=DRAFT202012)
    )
    # References within the document are taken from its own address.
    absolute = json.loads(json.dumps(schema).replace('"#/', f'"{HERE}#/'))
    validator = jsonschema.Draft202012Validator(absolute, registry=registry)
    return [error.message[:300] for error in validator.iter_errors(value)]


@pytest.mark.parametrize(
    ("path", "method", "described"), METHODS, ids=[d["operationId"] for _, _, d in METHODS]
)
def test_every_example_keeps_its_schema(path, method, described):
    if method == "post":
        for media_type, body in described["requestBody"]["content"].items():
            assert is_binary(body) or body["examples"], media_type
            for example in body.get("examples", {}).values():
                assert faults(body["schema"], example_value(example)) == []
    for status, response in described["responses"].items():
        for media_type, content in response.get("content", {}).items():
            for name, example in content.get("examples", {}).items():
                found = faults(content["schema"], example_value(example))
                assert found == [], (path, status, media_type, name)


@pytest.mark.parametrize("operation", OPERATIONS, ids=lambda operation: operation.name)
def test_every_form_of_every_answer_has_an_example(operation):
    for described in document()["paths"][operation.url].values():
        for media_type, content in described["responses"]["200"]["content"].items():
            # No bytes can stand in a document of text, and no page for people in one for programs;
            # their schema says what they hold.
            if is_binary(content) or (media_type == PAGE and not operation.pages):
                assert len(content["schema"]["description"]) > 20
            else:
                assert content["examples"], (operation.name, media_type)


def test_every_problem_response_has_an_example_of_its_status():
    for path, method, described in METHODS:
        for status, response in described["responses"].items():
            content = response.get("content", {}).get("application/problem+json")
            if content is None:
                assert status in ("200", "304")
                continue
            assert content["examples"], (path, method, status)
            for code, example in content["examples"].items():
                value = example_value(example)
                assert (value["code"], str(value["status"])) == (code, status)


def test_every_code_has_an_example():
    table = document()["x-problem-codes"]
    assert set(table) == set(CODES)
    for code, entry in table.items():
        example = entry["example"]
        value = example_value(example) if "$ref" in example else example
        assert value["code"] == code
        assert faults({"$ref": "#/components/schemas/Problem"}, value) == []


def test_operations_are_described():
    document_tags = {tag["name"]: tag["description"] for tag in document()["tags"]}
    summaries = set()
    for _, _, described in METHODS:
        assert re.fullmatch("[a-z][a-z0-9_]*", described["operationId"])
        assert set(described["tags"]) <= set(document_tags)
        assert len(described["description"]) > len(described["summary"]) > 10
        summaries.add(described["summary"])
    assert len(summaries) == len(OPERATIONS)
    assert all(len(text) > 20 for text in document_tags.values())


def test_documented_headers_are_sent():
    body = next(
        iter(
            document()["paths"]["/v1/size-conductor"]["post"]["requestBody"]["content"][
                "application/json"
            ]["examples"].values()
        )
    )["value"]
    response = client().post("/v1/size-conductor", json=body)
    headers = document()["paths"]["/v1/size-conductor"]["post"]["responses"]["200"]["headers"]
    assert set(headers) >= {"X-Request-Id", "Cache-Control", "Vary"}
    for name, reference in headers.items():
        described = document()["components"]["headers"][reference["$ref"].rpartition("/")[2]]
        # What tells that a version ends is sent once it does.
        if name not in ("Deprecation", "Sunset"):
            assert faults(described["schema"], response.headers[name]) == []


def test_operations_and_methods_are_counted(record_property):
    record_property(
        "summary",
        f"OpenAPI document: {len(OPERATIONS)} operations, {len(METHODS)} operations x methods",
    )
    assert len(METHODS) >= len(OPERATIONS)
