"""The OpenAPI document: the file equals what the service says, and says all that it must."""

import re
from pathlib import Path

import openapi_spec_validator
import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from drawn_requests import client, document, number_form, request_name, resolved
from loomwright.units import GREATEST_TEXT_LENGTH, KINDS
from loomwright.web.openapi_file import openapi_yaml
from loomwright.web.operations import OPERATIONS

FILE = Path(__file__).parents[2] / "openapi" / "loomwright.yaml"
RENEWAL = "renew it: python -m loomwright.web.openapi_file > openapi/loomwright.yaml"

UNIT_SUFFIXES = (
    "a", "ah", "c", "d", "db", "h", "j", "k", "m", "mm", "mm2", "mv", "ohm", "percent", "px", "rpm",
    "s", "v", "w",
)  # fmt: skip
# Ratios, counts and numbers whose unit stands beside them.
DIMENSIONLESS = {
    "ambient_rating_factor": "permitted current over rated current",
    "bundled_conductors": "count",
    "coil_count": "count",
    "current_multiple": "current over rated current",
    "deviation": "of a reading; its unit is the member unit",
    "entry": "place in a list",
    "expected": "of a reading; its unit is the member unit",
    "factor": "on a load or an internal resistance",
    "far_end_fault_elasticity": "relative change over relative change",
    "greatest_driver_power_share": "power over that of the load",
    "greatest_factor": "power over that of the request",
    "high": "efficiency, or of an input, a result or a reading whose unit is the member unit",
    "if_first": "of a reading; its unit is the member unit",
    "if_second": "of a reading; its unit is the member unit",
    "iterations": "count",
    "labour_hours": "in hours, as the name says",
    "least_driver_power_share": "power over that of the load",
    "least_margin": "damage time over opening time",
    "likely": "efficiency",
    "likely_output_elasticity": "relative change over relative change",
    "limit": "efficiency",
    "loading_factor": "continuous load over rated current",
    "low": "efficiency, or of an input, a result or a reading whose unit is the member unit",
    "lower_elasticity": "relative change over relative change",
    "near_source_fault_elasticity": "relative change over relative change",
    "nominal": "of an input or a result; its unit is the member unit",
    "normalised_error": "deviation over half an interval",
    "greatest_power_factor": "power over power",
    "line": "number of a line of the bill",
    "number": "number of the line",
    "parallel_runs": "count",
    "present": "what is there, in the unit of the member unit",
    "power_fraction": "mean power over full sine power",
    "power_share": "power over that of the load",
    "probability": "of a cause",
    "quotes": "count",
    "ratio_greatest": "voltage ratio",
    "ratio_least": "voltage ratio",
    "reading": "of a meter; its unit is the member unit",
    "resistance_ratio": "resistance over resistance",
    "result": "of a step of the working; its unit is the member unit",
    "rows": "count",
    "row": "number of the row of a table",
    "separation": "difference over its standard deviation",
    "silent_coils": "count",
    "sizing_rounds": "count",
    "standard_uncertainty": "of a result or a reading; its unit is the member unit",
    "status": "HTTP status",
    "step": "number of the step",
    "unpriced": "count",
    "upper_elasticity": "relative change over relative change",
    "voltage_drop_elasticity": "relative change over relative change",
    "wiring_count": "count",
    "within_limits_count": "count",
    "wanted": "what is wanted, in the unit of the member unit",
}
SCHEMAS = document()["components"]["schemas"]
ANSWERS = sorted(name for name in SCHEMAS if name.endswith("Answer") or name.startswith("Problem"))


def test_file_equals_what_the_service_makes():
    assert FILE.read_text("utf-8") == openapi_yaml(), RENEWAL


def test_service_gives_the_same_document():
    response = client().get("/v1/openapi.json")
    assert response.content_type == "application/json"
    assert response.get_json() == yaml.safe_load(openapi_yaml())


def test_document_is_valid():
    openapi_spec_validator.validate(document())


@pytest.mark.parametrize("operation", OPERATIONS, ids=lambda operation: operation.name)
def test_operation_has_its_verbs(operation):
    methods = set(document()["paths"][operation.url])
    if operation.request is None:
        assert methods == {"get"}
    else:
        assert methods == ({"get", "post"} if operation.with_query else {"post"})


def test_every_path_and_identifier_is_listed_once():
    assert set(document()["paths"]) == {operation.url for operation in OPERATIONS}
    identifiers = [
        method["operationId"] for path in document()["paths"].values() for method in path.values()
    ]
    assert len(identifiers) == len(set(identifiers))


def is_numeric(schema):
    """Tell whether a value of the schema is a number, a list of numbers, or one of both or null."""
    schema = resolved(schema)
    types = schema.get("type", ())
    if {"number", "integer"} & set([types] if isinstance(types, str) else types):
        return True
    if "items" in schema and is_numeric(schema["items"]):
        return True
    return any(is_numeric(form) for form in schema.get("anyOf", ()))


@pytest.mark.parametrize("name", ANSWERS)
def test_number_of_an_answer_ends_in_its_unit(name):
    for field, schema in SCHEMAS[name]["properties"].items():
        if is_numeric(schema) and field not in DIMENSIONLESS:
            assert field.rpartition("_")[2] in UNIT_SUFFIXES, f"{name}.{field}"


def test_every_dimensionless_name_is_in_use():
    used = {
        field
        for name in ANSWERS
        for field, schema in SCHEMAS[name]["properties"].items()
        if is_numeric(schema)
    }
    assert set(DIMENSIONLESS) <= used


def objects_of(schema, found):
    """Collect every object schema below a schema, components included, each once."""
    if isinstance(schema, list):
        for entry in schema:
            objects_of(entry, found)
    elif isinstance(schema, dict):
        if "$ref" in schema:
            name = schema["$ref"].rpartition("/")[2]
            if name not in found:
                found[name] = SCHEMAS[name]
                objects_of(SCHEMAS[name], found)
            return
        if schema.get("type") == "object" and schema not in found.values():
            found[f"#{len(found)}"] = schema
        for key, value in schema.items():
            if key not in ("if", "then", "else", "not", "examples", "enum", "default"):
                objects_of(value, found)


def request_objects():
    found = {}
    for operation in OPERATIONS:
        if operation.request is not None:
            reference = {"$ref": f"#/components/schemas/{request_name(operation.name)}"}
            objects_of(reference, found)
    return found


def test_requests_take_no_unknown_fields():
    found = request_objects()
    assert len(found) > 4
    properties = SCHEMAS[request_name("check-price-book")]["properties"]
    on_trial = [properties[name] for name in ("price_book", "price_book_csv")]
    loose = []
    for name, schema in found.items():
        # What is on trial may hold anything; what is wrong with it is the answer.
        if schema in on_trial:
            continue
        # A component that is a choice between objects is closed in each of them.
        if schema.get("type") == "object" and schema.get("additionalProperties") is not False:
            loose.append(name)
    assert loose == []


def patterns_by_kind():
    """Return the patterns of quantity text in the whole document, by the units they accept."""
    found = {}

    def walk(value):
        if isinstance(value, list):
            for entry in value:
                walk(entry)
        elif isinstance(value, dict):
            if "x-accepted-units" in value and "anyOf" in value:
                text = next(form for form in value["anyOf"] if form["type"] == "string")
                assert number_form(value) is not None
                assert text["maxLength"] == GREATEST_TEXT_LENGTH
                assert value["x-unit"] == value["x-accepted-units"][0]
                found.setdefault(tuple(value["x-accepted-units"]), set()).add(text["pattern"])
            for entry in value.values():
                walk(entry)

    walk(document())
    return found


def test_every_kind_in_use_states_one_pattern():
    found = patterns_by_kind()
    known = {kind.units: {kind.pattern} for kind in KINDS.values()}
    assert found.items() <= known.items()
    assert len(found) >= 7


# What the patterns consist of has one meaning in ECMA 262 and in Python; only the dollar differs,
# which in Python also stands before a last line end.
ECMA_TOKENS = re.compile(
    r"\^|\$|\(\?:|\)|\||\[0-9\]|\[\+-\]|\[eE\]|\\\.|\+|\?|\{[0-9],[0-9]\}|[A-Za-z ]"
)


def in_ecma_sense(pattern):
    """Return a Python pattern that matches what the pattern matches under ECMA 262."""
    assert ECMA_TOKENS.sub("", pattern) == "", pattern
    return re.compile(pattern.removesuffix("$") + r"\Z")


def texts_near(kind):
    """Return quantity texts, nearly right ones, and anything."""
    number = st.from_regex(r"[+-]?[0-9]{0,3}\.?[0-9]{0,3}([eE][+-]?[0-9]{0,4})?", fullmatch=True)
    unit = st.sampled_from([*kind.units, "", "Ohm", "metre", "°C", "kA", "m ", "m\n", "V"])
    right = st.from_regex(kind.pattern.removesuffix("$") + r"\Z", alphabet=st.characters())
    near = st.tuples(number, st.sampled_from(["", " ", "  ", "\t", "\u00a0"]), unit).map("".join)
    return st.one_of(right, near, st.text(max_size=GREATEST_TEXT_LENGTH)).filter(
        lambda text: len(text) <= GREATEST_TEXT_LENGTH
    )


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.key)
def test_pattern_matches_what_the_service_accepts(kind):
    pattern = in_ecma_sense(kind.pattern)

    @settings(max_examples=300)
    @given(texts_near(kind))
    def same(text):
        assert (pattern.search(text) is not None) == (kind.si_of_text(text) is not None), text

    same()


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.key)
@pytest.mark.parametrize(
    "text",
    ["5{0}\n", "\u0665 {0}", "5\u00a0{0}", "5  {0}", " 5 {0}", "5.{0}", "5e {0}", "+-5 {0}", "{0}"],
)
def test_near_miss_is_refused_by_both(kind, text):
    text = text.format(kind.stated_unit)
    assert in_ecma_sense(kind.pattern).search(text) is None
    assert kind.si_of_text(text) is None


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.key)
@pytest.mark.parametrize("text", ["5{0}", "5 {0}", "+.5 {0}", "-0.50e-03 {0}", "1e400 {0}"])
def test_right_form_is_read_by_both(kind, text):
    text = text.format(kind.stated_unit)
    assert in_ecma_sense(kind.pattern).search(text) is not None
    assert kind.si_of_text(text) is not None


def test_the_links_of_a_bill_lead_to_answers():
    """Runtime expressions of OpenAPI 3.1, 4.8.20.4: the whole body, or a JSON pointer into it."""
    operation = document()["paths"]["/v1/build-bill-of-materials"]["post"]
    links = operation["responses"]["200"]["links"]
    body = operation["requestBody"]["content"]["application/json"]["examples"]
    request = next(iter(body.values()))["value"]
    billed = client().post("/v1/build-bill-of-materials", json=request).json
    assert links["work_order_of_the_job"]["requestBody"] == "$request.body"
    order = client().post("/v1/build-work-order", json=request)
    assert order.status_code == 200
    # The order is of this very bill.
    assert order.json["labour_duration"] == billed["labour_duration"]
    assert order.json["title"] == billed["title"]
    assert links["check_of_the_book_for_the_job"]["requestBody"] == {"jobs": ["$request.body#/job"]}
    checked = client().post("/v1/check-price-book", json={"jobs": [request["job"]]})
    assert checked.status_code == 200
