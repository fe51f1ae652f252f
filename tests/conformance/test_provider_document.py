"""The OpenAPI document of providers: valid, and at one with pages, runner and right documents."""

import re
from typing import Any

import openapi_spec_validator
import pytest
import yaml
from conformance_samples import sample_documents
from jsonschema import Draft202012Validator

from loomwright.conformance.specification import FOLDER
from loomwright.providers.provider import KINDS

DOCUMENT = yaml.safe_load((FOLDER / "provider.yaml").read_text("utf-8"))
SCHEMAS = DOCUMENT["components"]["schemas"]
PAGE = (FOLDER / "provider.md").read_text("utf-8")


def schema_of(path: str) -> Any:
    """Name of the schema of the document under a path."""
    content = DOCUMENT["paths"][path]["get"]["responses"]["200"]["content"]
    return content["application/json"]["schema"]["$ref"].rpartition("/")[2]


def validator(name: str) -> Draft202012Validator:
    return Draft202012Validator({**DOCUMENT, "$ref": f"#/components/schemas/{name}"})


def test_document_is_valid() -> None:
    openapi_spec_validator.validate(DOCUMENT)


def test_paths_are_those_of_page_and_runner() -> None:
    of_runner = {f"/price-books/{{name}}{path}" for path in KINDS.values()} | {"/capabilities"}
    assert set(DOCUMENT["paths"]) == of_runner
    assert set(re.findall(r"`\{base\}(/[^`]+)`", PAGE)) == of_runner
    assert all(set(item) <= {"get", "parameters"} for item in DOCUMENT["paths"].values())


def test_kinds_are_those_of_the_runner() -> None:
    assert SCHEMAS["Capabilities"]["properties"]["serves"]["items"]["enum"] == list(KINDS)


@pytest.mark.parametrize("kind", ["capabilities", *KINDS])
def test_right_document_follows_and_one_without_its_member_does_not(kind: str) -> None:
    path = "/capabilities" if kind == "capabilities" else f"/price-books/{{name}}{KINDS[kind]}"
    name = schema_of(path)
    document = sample_documents()[kind]
    validator(name).validate(document)
    for member in SCHEMAS[name]["required"]:
        less = {key: value for key, value in document.items() if key != member}
        assert not validator(name).is_valid(less), member
