"""The JSON Schema of jobs and price books against the readers that take them, both ways.

What the schema allows the reader takes, but for reasons between members that no schema can say;
what the reader refuses for its form the schema refuses too.
"""

import copy
import re
from collections.abc import Callable, Iterator
from typing import Any

import orjson
import pytest
import schemathesis
from flask.testing import FlaskClient
from hypothesis import given, settings
from jsonschema import Draft202012Validator

from loomwright.jobs.demo_library import DEMO_JOBS, demo_job, demo_price_book
from loomwright.pricing.members import Number, Record, Records
from loomwright.units import KINDS
from loomwright.web.app import create_app
from loomwright.web.problem_codes import CODES
from loomwright.web.schemas.bill_request import REQUEST, request_components

URL = "/v1/build-bill-of-materials"
CSV = "/price_book_csv/"
Document = dict[str, Any]
Path = tuple[str | int, ...]
# Why a document may be refused though the schema allows it.
BETWEEN_MEMBERS = (
    # The schema gives the form of a decimal string; its bounds stand in x-least and x-greatest.
    r"A decimal from \S+ to \S+ is needed\.",
    r"The same value stands earlier in the list; it is unique\.",
    r"A source has the same key; keys are unique in a job\.",
    r"No source and no circuit of the job has this key\.",
    r"No circuit of the job has this key\.",
    r"The circuit feeds neither equipment nor a branch\.",
    r"The circuit feeds itself in a ring; start at a source\.",
    r"This circuit feeds a distribution block; name a branch of it\.",
    r"The branches of .* share one block and so one fuse type\.",
    r"State the loads of one circuit all as current or all as power\.",
    r"With the circuits before it \S+ %; 30 % is the most\.",
    # A size against the series of the job, where the circuit states none of its own.
    r"Not of what stands beside it\. One of these is needed: .*",
    # The voltage of a source against the system voltage of the vehicle.
    r"From \S+ to \S+ V fits a \S+ V system\.",
    # Of a supply: what follows from the kind of battery or the system voltage; what has to rise.
    r"A battery of kind other needs it\.",
    r"State internal_resistance with kind other\.",
    r"The states of charge do not rise\.",
    r"The voltage does not rise with the charge\.",
    r"It reaches from 0 to 100 % of charge\.",
    r"It lies below idle_speed\.",
    r"The rated current lies below that at the low speed\.",
    r"Its test voltage does not fit a \S+ V system\.",
    r"The speeds do not rise\.",
    r"The output falls with the speed\.",
    r"It leaves nothing of \S+ V\.",
    # Keys of a signal path, bands and ranges.
    r"A take-off has the same key; take-offs and sums are one set\.",
    r"No take-off (and no sum )?has this key\.",
    r"No (input|equipment of the job) has this key\.",
    r"This input has a connection already; join the signals in a sum\.",
    r"No connection leads to this input\.",
    r"The band ends above where it begins\.",
    r"The range ends where it begins or above\.",
    # Keys that name other members of a price book, days, quantities and amounts.
    r"No tax has this key\. The book has: .*",
    r"No tax category has this key\. The book has: .*",
    r"No part of the book has this key\.",
    r"A part has this key; it is unique among parts and kits\.",
    r"Price breaks rise in quantity; this one falls\.",
    r'A calendar date such as "2031-04-30" is needed\.',
    r"It lies before valid_from\.",
    r"It has a discount already\.",
    r"An amount in [A-Z]{3} has at most \d decimals\.",
)
_ALLOWED = re.compile("|".join(f"(?:{reason})" for reason in BETWEEN_MEMBERS))


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return create_app().test_client()


@pytest.fixture(scope="module")
def request_schema() -> Draft202012Validator:
    root = f"#/components/schemas/{REQUEST.name}"
    return Draft202012Validator({"$ref": root, "components": {"schemas": request_components()}})


def faults_of(client: FlaskClient, document: object) -> dict[str, str]:
    """Post a document that must be refused; faults by pointer."""
    response = client.post(URL, data=orjson.dumps(document), content_type="application/json")
    assert response.status_code == 422, response.get_data(as_text=True)[:300]
    return {error["pointer"]: error["message"] for error in response.get_json()["errors"]}


def with_numbers_only(schema: Any) -> Any:
    """The same schema without quantities as text, whose range JSON Schema cannot say."""
    if isinstance(schema, list):
        return [with_numbers_only(item) for item in schema]
    if not isinstance(schema, dict):
        return schema
    if "x-accepted-units" in schema:
        return schema["anyOf"][0]
    return {name: with_numbers_only(value) for name, value in schema.items()}


def generated() -> Any:
    """Strategy of request bodies that the schema allows."""
    document = create_app().test_client().get("/v1/openapi.json").get_json()
    for content in document["paths"][URL]["post"]["requestBody"]["content"].values():
        # Examples would be drawn too; the schema alone is on trial.
        del content["examples"]
    job = document["components"]["schemas"]["Job"]["properties"]
    for member in ("signal", "supply"):
        # On trial in test_signal.py and test_assess_supply.py; here they take minutes to draw.
        del job[member]
    loaded = schemathesis.openapi.from_dict(with_numbers_only(document))
    return loaded[URL]["POST"].as_strategy().map(lambda case: without_line_ends(case.body))


def without_line_ends(value: Any) -> Any:
    """Texts without a last line end: ``$`` allows one in Python, and none in ECMA 262."""
    if isinstance(value, dict):
        return {name: without_line_ends(item) for name, item in value.items()}
    if isinstance(value, list):
        return [without_line_ends(item) for item in value]
    return value.removesuffix("\n") if isinstance(value, str) else value


GENERATED = generated()
CLIENT = create_app().test_client()


@settings(max_examples=25)
@given(GENERATED)
def test_what_the_schema_allows_is_refused_for_reasons_between_members_only(body: Document) -> None:
    response = CLIENT.post(URL, data=orjson.dumps(body), content_type="application/json")
    if response.status_code == 200:
        return
    problem = response.get_json()
    assert response.status_code == 422, problem
    if problem["code"] == "invalid_request":
        odd = [error for error in problem["errors"] if not _ALLOWED.fullmatch(error["message"])]
        # To the schema a CSV table is any text.
        assert [error for error in odd if not error["pointer"].startswith(CSV)] == []


def repaired(body: Document) -> Document:
    """The document with its cross-references set right and nothing else changed."""
    body = copy.deepcopy(body)
    body.pop("pricing", None)
    job = body["job"]
    job["vehicle"].pop("difficulty", None)
    # Tests of signal paths and of supplies set right what refers to one another there.
    job.pop("signal", None)
    job.pop("supply", None)
    system = job["vehicle"]["system_voltage"]
    for index, source in enumerate(job["power_sources"]):
        volts = float(str(source.get("system_voltage", system)).removesuffix(" V"))
        source.update(key=f"source {index}", source_voltage=1.05 * volts)
    for index, circuit in enumerate(job["circuits"]):
        circuit.update(key=f"circuit {index}", fed_from="source 0")
        if "series" not in circuit.get("conductor", {"series": ""}):
            circuit["conductor"].pop("smallest_size", None)
    for index, item in enumerate(job["equipment"]):
        item["key"] = f"equipment {index}"
        if "circuit" in item:
            item["circuit"] = "circuit 0"
            item.pop("load_power", None)
            item["load_current"] = 2.5
    load = {"description": "load", "what": "other", "load_power": 30}
    loads = [{"key": key, "circuit": key, **load} for key in (c["key"] for c in job["circuits"])]
    loaded = any("circuit" in item for item in job["equipment"])
    job["equipment"] = (job["equipment"] + loads[1 if loaded else 0 :])[-100:]
    if not any(item.get("circuit") == "circuit 0" for item in job["equipment"]):
        job["equipment"][0] = loads[0]
    return {"job": job, **_repaired_book(body)}


def _repaired_book(body: Document) -> Document:
    if "price_book" not in body:
        return {}
    book = body["price_book"]
    for name in ("rules", "tax_categories", "difficulty", "kits", *_DATES):
        book.pop(name, None)
    for index, tax in enumerate(book.get("taxes", ())):
        tax.update(key=f"tax {index}", percent="21")
    for index, part in enumerate(book.get("parts", ())):
        for name in ("tax_category", "price_breaks", "packs", *_DATES):
            part.pop(name, None)
        part.update(key=f"part {index}", sale_increment="0.5")
    for index, operation in enumerate(book.get("labour", ())):
        operation.pop("tax_category", None)
        operation.update(key=f"operation {index}", standard_hours="0.25")
    return {"price_book": book}


_DATES = ("valid_from", "valid_until")


@settings(max_examples=25)
@given(GENERATED)
def test_what_the_schema_allows_is_taken_once_its_references_hold(body: Document) -> None:
    response = CLIENT.post(URL, data=orjson.dumps(repaired(body)), content_type="application/json")
    if response.status_code != 200:
        problem = response.get_json()
        # A job may still lie outside the models; that is the engineering's to say.
        assert response.status_code == 422, problem
        assert problem["code"] != "invalid_request", problem["errors"]
        assert problem["code"] in CODES
        assert problem["errors"][0]["pointer"].startswith("/job/circuits/")


def numbers_of(record: Record | Records) -> Iterator[Number]:
    for member in record.members.values():
        if isinstance(member, Number):
            yield member
        elif isinstance(member, Record | Records):
            yield from numbers_of(member)


def test_the_unit_of_a_rule_is_the_stated_unit_of_its_quantity() -> None:
    rules = [rule for rule in numbers_of(REQUEST) if rule.quantity]
    assert len(rules) > 10
    assert all(rule.unit == KINDS[rule.quantity].stated_unit for rule in rules)


def small_book() -> Document:
    """The demo book with one part for each form of attribute and two operations."""
    book = demo_price_book()
    first = {part["kind"]: part for part in reversed(book["parts"])}
    parts = [first[kind] for kind in ("conductor", "fuse", "grommet")]
    return {**book, "parts": parts, "kits": [], "labour": book["labour"][:2]}


def bodies() -> Iterator[tuple[str, Document]]:
    for name in DEMO_JOBS:
        yield name, {"job": demo_job(name)}
    yield "price_book", {"job": demo_job("combustion_car"), "price_book": small_book()}


BODIES = dict(bodies())


def places(value: object, path: Path = ()) -> Iterator[tuple[Path, Any]]:
    """Every value of a document with its path, the root left out."""
    items = value.items() if isinstance(value, dict) else enumerate(value)  # type: ignore[arg-type]
    for name, item in items:
        yield (*path, name), item
        if isinstance(item, dict | list):
            yield from places(item, (*path, name))


def pointer(path: Path) -> str:
    return "".join(f"/{str(step).replace('~', '~0').replace('/', '~1')}" for step in path)


def changed(body: Document, path: Path, change: Callable[[Any, Any], None]) -> Document:
    """A copy with a change made to the holder of a place."""
    body = copy.deepcopy(body)
    holder: Any = body
    for step in path[:-1]:
        holder = holder[step]
    change(holder, path[-1])
    return body


def assign(value: object) -> Callable[[Any, Any], None]:
    def change(holder: Any, name: Any) -> None:
        holder[name] = value

    return change


def remove(holder: Any, name: Any) -> None:
    del holder[name]


@pytest.fixture
def refused(
    client: FlaskClient, request_schema: Draft202012Validator
) -> Callable[[Document, Path], None]:
    """See a document refused by schema and service, the latter by the pointer of the mutation."""

    def see(document: Document, path: Path) -> None:
        assert not request_schema.is_valid(document), pointer(path)
        assert pointer(path) in faults_of(client, document), pointer(path)

    return see


@pytest.mark.parametrize("name", BODIES)
def test_the_demo_documents_are_allowed(
    client: FlaskClient, request_schema: Draft202012Validator, name: str
) -> None:
    request_schema.validate(BODIES[name])
    assert client.post(URL, json=BODIES[name]).status_code == 200


Refused = Callable[[Document, Path], None]
# One of two is required; which of both is missing is said at the first.
_ALTERNATIVES = {
    "cold_cranking_current": "source_resistance",
    "source_resistance": "source_resistance",
    "load_power": "load_current",
    "load_current": "load_current",
    ("battery", "cold_cranking_current"): "internal_resistance",
    ("battery", "internal_resistance"): "internal_resistance",
    ("converter", "greatest_power"): "greatest_current",
    ("turn_on", "fuse_rating"): "greatest_current",
    ("turn_on", "greatest_current"): "greatest_current",
}


@pytest.mark.parametrize("name", BODIES)
def test_each_required_member_is_missed(
    client: FlaskClient, request_schema: Draft202012Validator, name: str
) -> None:
    missed = 0
    for path, _ in places(BODIES[name]):
        if isinstance(path[-1], int):
            continue
        document = changed(BODIES[name], path, remove)
        if request_schema.is_valid(document):
            # Optional by the schema: only a reference may now be missing.
            response = client.post(URL, json=document)
            if response.status_code == 422:
                assert all(
                    _ALLOWED.fullmatch(error["message"]) for error in response.get_json()["errors"]
                ), pointer(path)
            continue
        missed += 1
        own = _ALTERNATIVES.get(str(path[-1]), path[-1])
        named = (*path[:-1], _ALTERNATIVES.get(tuple(path[-2:]), own))
        assert pointer(named) in faults_of(client, document), pointer(path)
    assert missed > 20


@pytest.mark.parametrize("name", BODIES)
def test_an_unknown_member_is_refused_in_every_object(refused: Refused, name: str) -> None:
    objects = [path for path, value in places(BODIES[name]) if isinstance(value, dict)]
    assert len(objects) > 8
    for path in objects:
        document = changed(BODIES[name], (*path, "colr"), assign("red"))
        refused(document, (*path, "colr"))


@pytest.mark.parametrize("name", BODIES)
@pytest.mark.parametrize(
    "value", [None, [], {}, "NaN", "", " ", "\x00", "inf", "1e308", "\u202e"], ids=repr
)
def test_a_value_of_another_form_is_refused_everywhere(
    refused: Refused, name: str, value: object
) -> None:
    for path, held in places(BODIES[name]):
        empty = isinstance(value, list | dict)
        is_text = isinstance(held, str)
        if isinstance(held, type(value)) and empty:
            continue
        if is_text and isinstance(value, str) and value in ("NaN", "inf", "1e308"):
            # It is text; whether it names anything is another matter.
            continue
        named = path
        refused(changed(BODIES[name], path, assign(value)), named)


@pytest.mark.parametrize("name", BODIES)
@pytest.mark.parametrize("value", [True, False, -1, 1e308, -1e308, 1e-300, 2.5e5, "-1 m"], ids=repr)
def test_a_number_out_of_range_or_a_truth_value_is_refused(
    refused: Refused, request_schema: Draft202012Validator, name: str, value: object
) -> None:
    tried = 0
    for path, held in places(BODIES[name]):
        if isinstance(held, bool) or not isinstance(held, int | float):
            continue
        document = changed(BODIES[name], path, assign(value))
        if path[-3:-1] == () or ("attributes" in path and value in (1e-300, 2.5e5)):
            continue  # attributes of parts are catalogue figures from 0 to a million
        if value in (1e-300, 2.5e5) and request_schema.is_valid(document):
            continue  # members whose least value is 0, or whose greatest is a million
        if value == -1 and path[-1] == "potential":
            continue  # of either sign
        tried += 1
        if value == "-1 m" and request_schema.is_valid(document):
            continue  # the form is right, and the range of text is not in the schema
        refused(document, path)
    assert tried


@pytest.mark.parametrize("name", BODIES)
def test_a_number_is_no_text_and_a_text_no_number(refused: Refused, name: str) -> None:
    for path, held in places(BODIES[name]):
        if isinstance(held, str):
            refused(changed(BODIES[name], path, assign(5)), path)
            refused(changed(BODIES[name], path, assign("x" * 201)), path)


@pytest.mark.parametrize("text", ["-1 m", "0 m", "101 m", "1e300 ft", "1e999 m", "0.5 in 3"])
def test_a_length_as_text_meets_the_same_range(client: FlaskClient, text: str) -> None:
    body = copy.deepcopy(BODIES["truck_24v"])
    body["job"]["circuits"][0]["route"][0]["length"] = text
    assert list(faults_of(client, body)) == ["/job/circuits/0/route/0/length"]


@pytest.mark.parametrize("text", ["1.5 m", "150 cm", "1500 mm", "1500mm"])
def test_a_length_in_any_unit_gives_the_same_answer(client: FlaskClient, text: str) -> None:
    body = copy.deepcopy(BODIES["truck_24v"])
    expected = client.post(URL, json=body).data
    body["job"]["circuits"][0]["route"][0]["length"] = text
    assert client.post(URL, json=body).data == expected


@pytest.mark.parametrize(("bound", "text"), [(100.0, "10000 cm"), (0.01, "10 mm"), (0.01, "1 cm")])
def test_a_bound_is_met_in_every_unit(client: FlaskClient, bound: float, text: str) -> None:
    body = copy.deepcopy(BODIES["truck_24v"])
    answers = []
    for value in (bound, text):
        body["job"]["circuits"][0]["route"][0]["length"] = value
        response = client.post(URL, json=body)
        assert response.status_code == 200
        answers.append(response.data)
    assert answers[0] == answers[1]
