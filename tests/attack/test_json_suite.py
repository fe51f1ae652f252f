"""Bodies that are JSON and bodies that are not, by a public list.

Source: JSONTestSuite (see ``lists/README.md``); RFC 8259 for what its names say.
"""

import json

import orjson
import pytest
from public_lists import OPERATIONS, example, json_cases

from drawn_requests import client

NOT_JSON = "The body is not JSON"


def posted(operation: str, body: bytes):
    return client().post(f"/v1/{operation}", data=body, content_type="application/json")


def problem_of(response, name: str):
    assert response.content_type == "application/problem+json", name
    assert 400 <= response.status_code < 500, (name, response.text)
    found = response.get_json()
    assert found["status"] == response.status_code
    return found


def cases(letter: str) -> dict[str, bytes]:
    return {name: body for name, body in json_cases().items() if name.startswith(f"{letter}_")}


def test_the_list_is_whole() -> None:
    """95, 188 and 35 files are in the archive that the list was taken from."""
    assert [len(cases(letter)) for letter in "yni"] == [95, 188, 35]


@pytest.mark.parametrize("operation", OPERATIONS)
def test_what_is_no_json_is_said_to_be_none(operation: str) -> None:
    for name, body in cases("n").items():
        found = problem_of(posted(operation, body), name)
        assert (found["status"], found["code"]) == (400, "malformed_body"), name
        assert found["detail"], name


@pytest.mark.parametrize("operation", OPERATIONS)
def test_what_is_json_is_read(operation: str) -> None:
    opened = orjson.dumps(example(operation)).removesuffix(b"}")
    for name, body in cases("y").items():
        response = posted(operation, body)
        if response.status_code != 200:
            assert NOT_JSON not in problem_of(response, name)["detail"], name
        else:
            # The only operation that needs nothing checks the book of the demo then.
            assert (operation, body) == ("check-price-book", b"{}"), name
        # As the value of a member it is told by its place, so that it was read to its end.
        within = problem_of(posted(operation, opened + b',"none of ours":' + body + b"}"), name)
        assert NOT_JSON not in within["detail"], name
        if "duplicated_key" not in name:
            assert [fault["pointer"] for fault in within["errors"]] == ["/none of ours"], name


@pytest.mark.parametrize("operation", OPERATIONS)
def test_what_may_be_either_is_refused_in_good_order(operation: str) -> None:
    for name, body in cases("i").items():
        problem_of(posted(operation, body), name)
        problem_of(posted(operation, b'{"none of ours": %b}' % body), name)


@pytest.mark.parametrize("kind", ["application/x-ndjson", "text/csv"])
def test_the_other_forms_of_a_batch_refuse_each_of_them(kind: str) -> None:
    for name, body in json_cases().items():
        response = client().post("/v1/price-packages", data=body, content_type=kind)
        assert problem_of(response, name)["status"] in (400, 413, 422), name


def test_the_names_of_the_list_are_right() -> None:
    """The parser of Python takes all that has to be taken, so that no case is mislabelled."""
    for body in cases("y").values():
        json.loads(body)
