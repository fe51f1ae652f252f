"""Texts for people say what is meant in words: no text of an answer holds a key of the service."""

import json
import re
from collections.abc import Iterator
from typing import Any

import pytest

from drawn_requests import client, document
from loomwright.jobs.demo_library import DEMO_JOBS, demo_job, demo_price_book
from loomwright.web.examples import EXAMPLES
from loomwright.web.openapi_examples import FILE
from recording import BODIES

JSON = "application/json"
# What stands in quotes is repeated as it was sent.
KEY = re.compile(r"(?<!['\w])[A-Za-z][A-Za-z0-9]*_\w+")
# Read by people though they may be one word; any other member is if it has several.
TEXTS = {
    "advice",
    "checks",
    "conductor_reason",
    "description",
    "detail",
    "fuse_reason",
    "message",
    "purpose",
    "reason",
    "text",
    "title",
}
# Where keys and signs stand on purpose, by the last member or the last two.
EXCEPTIONS = {
    "working/formula": "signs of quantities, such as R_loop",
    "working/source": "keys of publications in ``sources``, several in one text",
    "circuits/before": "a part by its keys, as ``size`` and ``fuse_type`` name it",
    "circuits/after": "a part by its keys, as ``size`` and ``fuse_type`` name it",
    "rows/detail": "of a pair at fault: pointers to its members, and what is wrong with each",
    "substitutes/replaced": "a part by its keys, as ``size`` and ``fuse_type`` name it",
    "substitutes/offered": "a part by its keys, as ``size`` and ``fuse_type`` name it",
    "substitutes/reason": "one of a closed list, by which programs tell why",
    "svg": "a picture, whose elements have identifiers",
}
JOB_OPERATIONS = ("build-bill-of-materials", "build-work-order", "plan-installation")


def keys_of(request: Any) -> Iterator[str]:
    """Yield what the parts of a request are called by whoever wrote it."""
    if isinstance(request, dict):
        for name, member in request.items():
            if name == "key":
                yield member
            else:
                yield from keys_of(member)
    elif isinstance(request, list):
        for member in request:
            yield from keys_of(member)


def texts_of(answer: Any, *place: str) -> Iterator[tuple[str, str]]:
    """Yield the texts for people of an answer, each behind its last two members."""
    if isinstance(answer, dict):
        for name, member in answer.items():
            yield from texts_of(member, *place[-1:], name)
    elif isinstance(answer, list):
        for member in answer:
            yield from texts_of(member, *place)
    elif isinstance(answer, str) and (" " in answer or place[-1] in TEXTS):
        yield "/".join(place), answer


def keys_told(answer: Any, known: set[str]) -> list[tuple[str, str]]:
    """Return the texts for people of an answer with a key that is none of those known."""
    return [
        (place, text)
        for place, text in texts_of(answer)
        if not EXCEPTIONS.keys() & {place, place.rpartition("/")[2]}
        and not known.issuperset(KEY.findall(text))
    ]


def answered(operation: str, body: Any) -> Any:
    response = client().post(f"/v1/{operation}", json=body, headers={"Accept": JSON})
    assert response.status_code == 200, response.get_data(as_text=True)
    return response.get_json()


def far_job(name: str) -> dict[str, Any]:
    """A demo job whose first circuit asks for more than any conductor of its series gives."""
    job = demo_job(name)
    job["circuits"][0]["allowed_voltage_drop_percent"] = 0.1
    return job


def unfused_job(name: str) -> dict[str, Any]:
    """A demo job with a type of fuse for its first circuit that ends far below its current."""
    job = demo_job(name)
    job["circuits"][0]["fuse_types"] = ["iso_8820_3_c_1_to_2_a"]
    return job


def poor_book() -> dict[str, Any]:
    """The demo price book without all that most jobs need."""
    book = demo_price_book()
    return {**book, "parts": book["parts"][:1], "labour": book["labour"][:1], "kits": []}


@pytest.mark.parametrize(
    ("answer", "told"),
    [
        ({"steps": [{"text": "fit the fuse (iso_8820_3_c)"}]}, ["steps/text"]),
        ({"circuits": [{"conductor_reason": "no_conductor"}]}, ["circuits/conductor_reason"]),
        ({"tools": [{"purpose": "sae_j1284"}]}, ["tools/purpose"]),
        ({"steps": [{"checks": ["hold", "see heat_shrink"]}]}, ["steps/checks"]),
        # What the caller calls a circuit, a key in a member for programs, and an exception.
        ({"lines": [{"reason": "my_feed: holds the fuse", "kind": "fuse_holder"}]}, []),
        ({"working": [{"formula": "E / R_loop"}]}, []),
    ],
)
def test_a_key_is_seen_in_texts_for_people_alone(answer: Any, told: list[str]) -> None:
    assert [place for place, _ in keys_told(answer, {"my_feed"})] == told


def test_no_text_of_a_recorded_answer_holds_a_key() -> None:
    record = json.loads(FILE.read_text("utf-8"))["answers"]
    answers = {name: forms[JSON] for name, forms in record.items() if JSON in forms}
    assert set(answers) >= {*EXAMPLES, *BODIES} - {"price-packages"}
    known = set(keys_of([EXAMPLES, BODIES]))
    assert keys_told(answers, known) == []


def test_problems_name_members_of_a_request_and_no_other_key() -> None:
    members = {
        name
        for schema in document()["components"]["schemas"].values()
        for name in schema.get("properties", {})
    }
    problems = [entry["value"] for entry in json.loads(FILE.read_text("utf-8"))["problems"]]
    assert len(problems) > 50
    # Whoever reads an error has to find the members in what was sent.
    named = set(keys_of([EXAMPLES, BODIES, demo_price_book()]))
    assert keys_told(problems, members | named) == []


@pytest.mark.parametrize("operation", sorted(EXAMPLES))
def test_no_text_of_an_explained_example_holds_a_key(operation: str) -> None:
    for body in EXAMPLES[operation].values():
        answer = answered(operation, {**body, "explain": True})
        assert keys_told(answer, set(keys_of(body))) == []


@pytest.mark.parametrize("name", DEMO_JOBS)
@pytest.mark.parametrize("operation", JOB_OPERATIONS)
def test_no_text_of_a_demo_job_holds_a_key(operation: str, name: str) -> None:
    known = set(keys_of([demo_job(name), demo_price_book()["difficulty"]]))
    for body in (
        {"job": demo_job(name)},
        {"job": demo_job(name), "price_book": poor_book()},
        {"job": far_job(name)},
        {"job": unfused_job(name)},
    ):
        assert keys_told(answered(operation, body), known) == []


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_why_a_circuit_is_not_sized_is_told_in_words(name: str) -> None:
    far = answered("build-bill-of-materials", {"job": far_job(name)})["circuits"][0]
    assert far["conductor_verdict"] == "no_conductor_meets_criteria"
    assert far["conductor_reason"] == "no conductor meets criteria"
    unfused = answered("build-bill-of-materials", {"job": unfused_job(name)})["circuits"][0]
    assert unfused["fuse_verdict"] in ("breaking_capacity_too_low", "no_rating_fits")
    assert unfused["fuse_reason"] in ("breaking capacity too low", "no rating fits")
