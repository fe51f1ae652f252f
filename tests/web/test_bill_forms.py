"""Business documents of a bill over HTTP: which is asked for, and what is refused."""

import csv
import io
import json

import pytest
from icalendar import Calendar
from lxml import etree

from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from loomwright.web.app import create_app

URL = "/v1/build-bill-of-materials"
PAPERWORK = {
    "number": "0017",
    "seller": "Quayside Fitters (invented)",
    "customer": "Fleet office",
    "booking": {"start": "2031-05-06T08:00:00+02:00", "bay": "Bay 2"},
}
CLIENT = create_app().test_client()
MEDIA_TYPES = {
    "application/json": "application/json",
    "text/csv": "text/csv; charset=utf-8; header=present",
    "application/xml": "application/xml",
    "text/calendar": "text/calendar; charset=utf-8",
}


def body(**changes):
    document = {
        "job": demo_job(DEMO_JOBS[0]),
        "pricing": {"as_of": "2031-04-30"},
        "paperwork": PAPERWORK,
        **changes,
    }
    return {name: value for name, value in document.items() if value is not None}


def asked(accept, **changes):
    return CLIENT.post(URL, json=body(**changes), headers={"Accept": accept})


@pytest.mark.parametrize("accept", MEDIA_TYPES)
def test_each_form_is_given_by_its_media_type(accept):
    response = asked(accept)
    assert response.status_code == 200
    assert response.content_type == MEDIA_TYPES[accept]
    assert "Accept" in response.vary


def test_all_forms_state_the_same_total():
    answer = asked("application/json").get_json()
    rows = list(csv.DictReader(io.StringIO(asked("text/csv").get_data(as_text=True), newline="")))
    assert [row["total"] for row in rows if row["key"] == "total"] == [answer["total"]]
    quotation = etree.fromstring(asked("application/xml").data)
    assert quotation.findtext("{*}QuotedMonetaryTotal/{*}PayableAmount") == answer["total"]
    assert quotation.findtext("{*}ID") == "0017"
    (entry,) = Calendar.from_ical(asked("text/calendar").data).walk("VEVENT")
    assert entry["duration"].to_ical().decode() == answer["labour_duration"]


def test_paperwork_comes_back_in_the_answer_and_changes_no_price():
    answer, plain = (
        asked("application/json").get_json(),
        asked("application/json", paperwork=None).get_json(),
    )
    assert answer.pop("paperwork") == PAPERWORK
    assert plain.pop("paperwork") is None
    assert answer == plain


def test_what_is_not_stated_is_null_in_the_answer():
    answer = asked("application/json", paperwork={"seller": "S"}).get_json()
    assert answer["paperwork"] == {
        "number": None,
        "seller": "S",
        "customer": None,
        "booking": None,
    }


@pytest.mark.parametrize(
    ("accept", "pointers"),
    [
        ("application/xml", ["/paperwork/seller", "/pricing/as_of"]),
        ("text/calendar", ["/paperwork/booking", "/pricing/as_of"]),
    ],
)
def test_what_a_document_lacks_is_named(accept, pointers):
    response = asked(f"{accept}, application/problem+json;q=0.5", paperwork=None, pricing=None)
    assert response.status_code == 422
    problem = json.loads(response.data)
    assert problem["code"] == "paperwork_missing"
    assert [fault["pointer"] for fault in problem["errors"]] == pointers


@pytest.mark.parametrize("accept", ["application/xml", "text/calendar"])
def test_no_document_is_made_of_an_incomplete_bill(accept):
    book = {"name": "Bare", "currency": "EUR"}
    response = asked(accept, price_book=book)
    assert response.status_code == 422
    assert json.loads(response.data)["code"] == "bill_not_complete"
    # What is open can be seen in the other forms.
    assert asked("application/json", price_book=book).get_json()["verdict"] == "incomplete"
    assert '"unpriced",' in asked("text/csv", price_book=book).get_data(as_text=True)


@pytest.mark.parametrize(
    ("paperwork", "pointer"),
    [
        ({"seller": ""}, "/paperwork/seller"),
        ({"colour": "red"}, "/paperwork/colour"),
        ({"booking": {}}, "/paperwork/booking/start"),
        ({"booking": {"start": "2031-05-06 08:00"}}, "/paperwork/booking/start"),
        ({"number": 17}, "/paperwork/number"),
        ([], "/paperwork"),
    ],
)
def test_faults_of_the_paperwork_are_named(paperwork, pointer):
    response = asked("application/json", paperwork=paperwork)
    assert response.status_code == 422
    assert [fault["pointer"] for fault in response.get_json()["errors"]] == [pointer]


def test_cost_is_in_no_document():
    words = (b"cost", b"margin")
    for accept in ("text/csv", "application/xml", "text/calendar"):
        said = asked(accept).data.lower()
        assert not [word for word in words if word in said]


def test_a_form_that_there_is_not_is_refused_with_those_there_are():
    response = asked("application/msword")
    assert response.status_code == 406
    problem = response.get_json()
    assert problem["code"] == "not_acceptable"
    for media_type in MEDIA_TYPES:
        assert media_type in problem["detail"]
