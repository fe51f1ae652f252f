"""Errors as one short line where text, CSV or XML is asked for, and under status 200 on demand."""

import csv
import io
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from werkzeug.exceptions import TooManyRequests

from drawn_requests import client, query_of
from loomwright.web.app import create_app
from loomwright.web.examples import EXAMPLES
from loomwright.web.forms.errors import GREATEST_LINE, error_line
from loomwright.web.problem_codes import CODES
from loomwright.web.problems import ProblemError

GOOD = {"series": "awg", "load_current": 20, "supply_voltage": 12.6, "length": 4.5}
# Query, status, and what the line says.
WRONG = [
    ({"length": "4,5"}, 422, "length: a comma is not read, write 4.5; give a number in m from"),
    ({"length": "x", "joints": "y"}, 422, "(and 1 more fault)"),
    ({"length": "x", "joints": "y", "zone": "z"}, 422, "(and 2 more faults)"),
    ({"series": "gauge"}, 422, "series: give one of: awg, iso_6722, metric, sae"),
    ({"lenght": "4"}, 422, "lenght: unknown; the fields are "),
    ({"ambient_temperature": "120"}, 422, "ambient_temperature: segment 0 is at 120 C and"),
    ({"route": "[{"}, 422, "route: give a list"),
]


def line_of(response):
    """Return the line of an error, taken out of its form."""
    body = response.get_data(as_text=True)
    if response.mimetype == "text/csv":
        assert response.content_type == "text/csv; charset=utf-8; header=absent"
        ((line,),) = csv.reader(io.StringIO(body, newline=""), strict=True)
    elif response.mimetype == "application/xml":
        root = ElementTree.fromstring(body)
        assert (root.tag, len(root)) == ("error", 0)
        line = root.text
    else:
        assert response.content_type == "text/plain; charset=utf-8"
        line = body
    assert line.startswith("Error: ")
    assert len(line) <= GREATEST_LINE
    assert line.isprintable()
    return line


@pytest.mark.parametrize("name", ["text", "csv", "xml"])
@pytest.mark.parametrize(("wrong", "status", "said"), WRONG)
def test_error_is_a_line_under_its_own_status_or_under_200(name, wrong, status, said):
    query = {**GOOD, **wrong, "as": name}
    plain = client().get("/v1/size-conductor", query_string=query)
    assert plain.status_code == status
    assert said in line_of(plain)
    assert plain.headers["Cache-Control"] == "no-store"
    shown = client().get("/v1/size-conductor", query_string=query | {"errors": "text"})
    assert shown.status_code == 200
    assert shown.get_data() == plain.get_data()
    assert shown.content_type == plain.content_type
    assert shown.headers["Cache-Control"] == "no-store"
    same = client().get("/v1/size-conductor", query_string=query | {"errors": "status"})
    assert (same.status_code, same.get_data()) == (status, plain.get_data())


@pytest.mark.parametrize("more", [{}, {"as": "json"}, {"as": "nonsense"}])
def test_without_such_a_form_the_switch_gives_text(more):
    query = {**GOOD, "length": "x", **more}
    problem = client().get("/v1/size-conductor", query_string=query)
    assert problem.content_type == "application/problem+json"
    shown = client().get("/v1/size-conductor", query_string=query | {"errors": "text"})
    assert shown.status_code == 200
    assert line_of(shown) == error_line(problem.get_json())


@pytest.mark.parametrize("operation", EXAMPLES)
def test_switch_changes_no_answer(operation):
    query = query_of(next(iter(EXAMPLES[operation].values())))
    plain = client().get(f"/v1/{operation}", query_string=query)
    switched = client().get(f"/v1/{operation}", query_string=query | {"errors": "text"})
    assert switched.get_data() == plain.get_data()
    # Each answer has an identifier of its own.
    ours, theirs = dict(switched.headers), dict(plain.headers)
    assert ours.pop("X-Request-Id") != theirs.pop("X-Request-Id")
    assert ours == theirs


@pytest.mark.parametrize(
    ("accept", "mimetype"),
    [
        ("text/plain", "text/plain"),
        ("text/csv", "text/csv"),
        ("application/xml", "application/xml"),
        ("application/xml;q=0.5, text/csv", "text/csv"),
        ("*/*", "application/problem+json"),
        ("application/json", "application/problem+json"),
        ("application/problem+json, text/plain;q=0.5", "application/problem+json"),
        ("text/plain;q=0.2, application/json", "application/problem+json"),
        ("image/png", "application/problem+json"),
        ("text/html", "application/problem+json"),
    ],
)
def test_accept_chooses_the_form_of_an_error(accept, mimetype):
    headers = {"Accept": accept}
    posted = client().post("/v1/size-conductor", json={}, headers=headers)
    lost = client().get("/v1/nothing", headers=headers)
    refused = client().put("/v1/size-fuse", headers=headers)
    bill = client().post("/v1/build-bill-of-materials", data="x", headers=headers)
    for response in (posted, lost, refused, bill):
        assert response.status_code >= 400
        assert response.vary.as_set() == {"accept", "accept-encoding"}
    assert lost.mimetype == mimetype
    # Who posts or errs in the method is a program, and reads every fault of a document.
    for response in (posted, refused, bill):
        assert response.mimetype == "application/problem+json"


def test_address_that_is_none_is_told_in_a_cell():
    shown = client().get("/v1/size-conducter?as=text&errors=text")
    assert shown.status_code == 200
    assert "Look up the paths" in line_of(shown)


def test_header_fields_of_the_status_stay():
    response = client().put("/v1/size-conductor?as=text")
    assert response.status_code == 405
    assert "GET" in response.headers["Allow"]
    limited = create_app()

    @limited.get("/v1/limited")
    def too_many():
        raise TooManyRequests(retry_after=7)

    @limited.get("/v1/locked")
    def locked():
        raise ProblemError("key_required", "No key.")

    @limited.get("/v1/broken")
    def broken():
        raise RuntimeError("the secret of the house")

    own = limited.test_client()
    for url, status, header in (
        ("/v1/limited", 429, ("Retry-After", "7")),
        ("/v1/locked", 401, ("WWW-Authenticate", 'Bearer realm="loomwright"')),
        ("/v1/broken", 500, ("Vary", "Accept, Accept-Encoding")),
    ):
        plain = own.get(f"{url}?as=text")
        assert plain.status_code == status
        assert plain.headers[header[0]] == header[1]
        shown = own.get(f"{url}?as=text&errors=text")
        assert (shown.status_code, shown.headers["Cache-Control"]) == (200, "no-store")
        assert line_of(shown) == line_of(plain)
        assert "secret" not in line_of(plain)


def test_switch_is_for_reading_only():
    response = client().post("/v1/size-conductor?errors=text", json={})
    assert response.status_code == 422
    response = client().delete("/v1/size-conductor?errors=text&as=text")
    assert response.status_code == 405
    assert response.mimetype == "application/problem+json"


@given(
    st.sampled_from(sorted(CODES)),
    st.text(max_size=400),
    st.lists(st.tuples(st.text(max_size=30), st.text(max_size=400)), max_size=3),
)
def test_line_is_short_and_printable_whatever_it_says(code, detail, faults):
    document = {
        "detail": detail,
        "action": CODES[code].action,
        "errors": [{"pointer": f"/{where}", "message": message} for where, message in faults],
    }
    line = error_line(document)
    assert line.startswith("Error: ")
    assert len(line) <= GREATEST_LINE
    assert line.isprintable()


@pytest.mark.parametrize("code", CODES)
def test_line_without_a_field_says_what_to_do(code):
    document = {"detail": "It failed.", "action": CODES[code].action, "errors": []}
    assert error_line(document) == f"Error: It failed. {CODES[code].action}"
