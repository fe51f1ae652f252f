"""A number with a comma is refused with what to write instead, and never read as another."""

import json
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drawn_requests import client
from loomwright.decimal_comma import comma_advice
from loomwright.jobs.demo_library import demo_job

CONDUCTOR = {"series": "awg", "load_current": 20, "supply_voltage": 12.6, "length": 4.5}

# How the numbers are written in some country, and what to write here.
ADVICE = [
    ("41,25", "41.25"),
    ("41,25 ft", "41.25 ft"),
    ("41,25ft", "41.25ft"),
    ("-3,5 degC", "-3.5 degC"),
    ("0,5 V", "0.5 V"),
    ("0,125 m", "0.125 m"),
    ("1.234,5", "1234.5"),
    ("1,234.5 mm", "1234.5 mm"),
    ("1 234,5 mm", "1234.5 mm"),
    ("1\u202f234,5", "1234.5"),
    ("1'234,50", "1234.50"),
    ("1,234,567", "1234567"),
    ("1.234.567,8", "1234567.8"),
    # One of two; only the writer knows which.
    ("1,234", "1.234 or 1234"),
    ("12,500 m", "12.500 m or 12500 m"),
    ("1234,500", "1234.500"),
]


@pytest.mark.parametrize(("text", "instead"), ADVICE)
def test_writer_is_told_what_to_write(text, instead):
    assert comma_advice(text) == f"a comma is not read, write {instead}"


@pytest.mark.parametrize(
    "value",
    ["41.25", "5 m", "a,b", "[1,2]", ",", "", "5 m, 6 m", None, 5, True, ["4,5"], "4,5" * 20],
)
def test_anything_else_gets_no_advice(value):
    assert comma_advice(value) is None


def test_nonsense_with_commas_gets_no_false_advice():
    assert comma_advice("1.234,5,6") == "a comma is not read"


@given(st.from_regex(r"[0-9]{1,3}(\.[0-9]{3}){0,2},[0-9]{1,2}", fullmatch=True))
def test_advice_is_the_number_that_was_meant(text):
    meant = float(text.replace(".", "").replace(",", "."))
    written = comma_advice(text).removeprefix("a comma is not read, write ")
    assert re.fullmatch(r"[0-9]+\.[0-9]+", written)
    assert float(written) == meant


@given(st.text(max_size=50))
def test_no_text_breaks_it(text):
    advice = comma_advice(text)
    assert advice is None or advice.startswith("a comma is not read")


def message_for(response, pointer):
    assert response.status_code == 422, response.get_data(as_text=True)
    messages = [e["message"] for e in response.get_json()["errors"] if e["pointer"] == pointer]
    assert len(messages) == 1, response.get_json()
    return messages[0]


@pytest.mark.parametrize("name", ["length", "load_current", "supply_voltage"])
@pytest.mark.parametrize(("text", "instead"), [("41,25", "41.25"), ("1.234,5", "1234.5")])
def test_quantity_is_refused_in_json_and_in_a_query(name, text, instead):
    request = {**CONDUCTOR, name: text}
    for response in (
        client().post("/v1/size-conductor", json=request),
        client().get("/v1/size-conductor", query_string=request),
    ):
        message = message_for(response, f"/{name}")
        assert message.startswith(f"a comma is not read, write {instead}; give a number in ")


def test_quantity_with_unit_is_refused_in_json_and_in_a_query():
    request = {**CONDUCTOR, "length": "41,25 ft"}
    expected = "a comma is not read, write 41.25 ft; give a number in m from 0.01 to 100"
    posted = client().post("/v1/size-conductor", json=request)
    asked = client().get("/v1/size-conductor", query_string=request)
    assert message_for(posted, "/length").startswith(expected)
    assert message_for(asked, "/length").startswith(expected)


@pytest.mark.parametrize(
    ("name", "text"), [("allowed_voltage_drop_percent", "2,5"), ("joints", "1,0")]
)
def test_number_without_unit_is_refused_in_json_and_in_a_query(name, text):
    request = {**CONDUCTOR, name: text}
    written = text.replace(",", ".")
    for response in (
        client().post("/v1/size-conductor", json=request),
        client().get("/v1/size-conductor", query_string=request),
    ):
        message = message_for(response, f"/{name}")
        assert message.startswith(f"a comma is not read, write {written}; give a ")


def test_quantity_in_a_list_is_refused_in_json_and_in_a_query():
    request = {
        "fuse_ratings": ["7,5 A", 30],
        "supply_voltage": 12,
        "amplifier_class": "AB",
        "converter": "regulated",
        "load_impedance": 4,
    }
    query = {**request, "fuse_ratings": json.dumps(request["fuse_ratings"])}
    for response in (
        client().post("/v1/estimate-real-output", json=request),
        client().get("/v1/estimate-real-output", query_string=query),
    ):
        message = message_for(response, "/fuse_ratings/0")
        assert message.startswith("a comma is not read, write 7.5 A; ")


def test_quantity_of_a_job_is_refused():
    job = demo_job("van_second_battery")
    job["circuits"][0]["route"][0]["length"] = "1,25 m"
    response = client().post("/v1/build-bill-of-materials", json={"job": job})
    message = message_for(response, "/job/circuits/0/route/0/length")
    assert message == "A number in m is needed; a comma is not read, write 1.25 m."
