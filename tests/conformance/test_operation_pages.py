"""The pages on operations and codes: equal to what the service says, and open to more of it."""

import copy
import re

import pytest

from loomwright.conformance.operation_pages import CODES_PAGE, pages
from loomwright.conformance.specification import FOLDER
from loomwright.web.openapi import openapi_document
from loomwright.web.operations import OPERATIONS
from loomwright.web.problem_codes import CODES, ProblemCode

PAGES = pages()
DOCUMENT = openapi_document(OPERATIONS)
RENEWAL = "renew them: python -m loomwright.conformance.operation_pages"


def test_files_equal_what_the_service_says() -> None:
    there = {
        f"operations/{page.name}": page.read_text("utf-8")
        for page in (FOLDER / "operations").glob("*.md")
    }
    there[CODES_PAGE] = (FOLDER / CODES_PAGE).read_text("utf-8")
    assert there == PAGES, RENEWAL


@pytest.mark.parametrize("path", DOCUMENT["paths"])
def test_page_names_every_method_status_and_member(path: str) -> None:
    name = path.removeprefix("/v1/").replace("/", "-").replace(".", "-")
    page = PAGES[f"operations/{name}.md"]
    for method, operation in DOCUMENT["paths"][path].items():
        assert f"| {method.upper()} | `{path}` |" in page
        answers = page.split(f"## Answers to {method.upper()}\n")[1].split("\n## ")[0]
        assert set(re.findall(r"^\| (\w+) \|", answers, re.MULTILINE)) >= set(
            operation["responses"]
        )
        for parameter in operation.get("parameters", ()):
            assert f"| `{parameter['name']}` |" in page
        content = operation.get("requestBody", {}).get("content", {})
        for media_type, described in content.items():
            if media_type != "application/json":
                assert described["schema"]["description"] in page
                continue
            schema = DOCUMENT["components"]["schemas"][described["schema"]["$ref"].split("/")[-1]]
            assert schema["properties"]
            for member in schema["properties"]:
                assert f"| `{member}` |" in page


def test_page_of_codes_names_each_with_its_action() -> None:
    for name, code in CODES.items():
        assert f"| `{name}` | {code.status} | {code.title} | {code.action} |" in PAGES[CODES_PAGE]


def test_new_operation_and_code_appear() -> None:
    document = copy.deepcopy(DOCUMENT)
    document["paths"]["/v1/size-shunt/{shunt_id}"] = {
        "summary": "Applies to all its methods.",
        "put": {
            "operationId": "size_shunt",
            "summary": "Size a shunt.",
            "parameters": [{"$ref": "#/components/parameters/shunt"}],
            "requestBody": {
                "content": {
                    "application/xml": {"schema": {"type": "string"}},
                    "application/json": {
                        "schema": {
                            "type": "object",
                            "required": ["current"],
                            "properties": {
                                "current": {
                                    "type": ["number", "null"],
                                    "minimum": 1,
                                    "x-unit": "A",
                                },
                                "kind": {"oneOf": [{"const": "bar"}, {"type": "boolean"}]},
                            },
                        }
                    },
                }
            },
            "responses": {
                "200": {"description": "A | B"},
                "418": {"$ref": "#/components/responses/teapot"},
                "422": {
                    "description": "`rate`, `teapot`",
                    "content": {
                        "application/problem+json": {
                            "examples": {"one": {"value": {"code": "rate"}}, "two": {"value": 2}}
                        }
                    },
                },
                "429": {"description": "Too many.", "content": {"application/problem+json": {}}},
                "default": {"description": "Anything else."},
            },
        },
    }
    document["components"]["parameters"] = {"shunt": {"name": "as", "in": "query", "schema": {}}}
    document["components"]["responses"] = {
        "teapot": {"description": "`teapot`", "content": {"application/problem+json": {}}}
    }
    codes = {
        "teapot": ProblemCode(418, "No coffee here", "Ask elsewhere."),
        "other_teapot": ProblemCode(418, "No tea either", "Go home."),
        "rate": ProblemCode(429, "Too many", "Wait."),
    }
    made = pages(document, codes)
    page = made["operations/size-shunt-shunt-id.md"]
    for line in (
        "| `current` | number from 1 up in `A` or `null` | yes |  |",
        "| `kind` | `bar` or `true` or `false` | no |  |",
        "| `as` | value | no |  |",
        "| 200 |  | A \\| B | Use it. |  |",
        "| 418 | `teapot` | No coffee here | Ask elsewhere. | not unchanged |",
        # Examples go before what the description names.
        "| 422 | `rate` | Too many | Wait. | not unchanged |",
        "| 429 | `rate` | Too many | Wait. | after `Retry-After` seconds |",
        "| default |  | Anything else. | Use it. |  |",
    ):
        assert line in page.splitlines(), page
    assert "| 422 | `teapot` |" not in page
    # The response names one of the two codes of its status.
    assert "other_teapot" not in page
    assert "| `other_teapot` | 418 |" in made[CODES_PAGE]
    assert (
        "[size-shunt-shunt-id](size-shunt-shunt-id.md): Size a shunt."
        in made["operations/README.md"]
    )
