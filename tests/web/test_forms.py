"""The forms of an answer: which one a request gets, and that each holds what JSON holds."""

import csv
import io
import json
import re
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drawn_requests import client, query_of
from loomwright.web.app import create_app
from loomwright.web.examples import EXAMPLES
from loomwright.web.forms.accept import best_media_type
from loomwright.web.forms.form import (
    FIELD_PATTERN,
    GREATEST_CHARACTERS,
    GREATEST_FIELD_LENGTH,
    RESERVED_PARAMETERS,
    Form,
    OperationForms,
)
from loomwright.web.forms.negotiation import AskedForm, asked_form
from loomwright.web.forms.registry import FORMS_BY_OPERATION
from loomwright.web.forms.shared_forms import JSON
from loomwright.web.operations import OPERATIONS

CALCULATORS = [
    operation.name
    for operation in OPERATIONS
    if operation.with_query and "text" in FORMS_BY_OPERATION[operation.name].by_name
]
OFFERED = ("application/json", "text/plain", "text/csv", "application/xml")
CONDUCTOR = {"series": "awg", "load_current": 20, "supply_voltage": 12.6, "length": 4.5}
TYPES = {
    "json": "application/json",
    "text": "text/plain; charset=utf-8",
    "csv": "text/csv; charset=utf-8; header=present",
    "xml": "application/xml",
}


def example(operation):
    return next(iter(EXAMPLES[operation].values()))


def get(operation, query, accept=None, **more):
    headers = {} if accept is None else {"Accept": accept}
    return client().get(f"/v1/{operation}", query_string=query | more, headers=headers)


def asked(operation="size-conductor", query=None, /, **more):
    """Return an answer with status 200 to the first example of an operation."""
    wanted = query_of(example(operation)) if query is None else query
    response = get(operation, wanted, **more)
    assert response.status_code == 200, response.get_data(as_text=True)
    return response


def document(operation):
    return json.loads(asked(operation).get_data())


# --- which form ---


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        ("", "application/json"),
        ("*/*", "application/json"),
        ("application/json", "application/json"),
        ("Application/JSON", "application/json"),
        ("application/json; charset=utf-8", "application/json"),
        ("application/json, text/plain, */*", "application/json"),
        ("text/plain", "text/plain"),
        ("text/*", "text/plain"),
        ("text/*;q=0.5, text/csv", "text/csv"),
        ("text/csv;q=0.3, application/xml;q=0.7", "application/xml"),
        ("text/csv, application/json", "application/json"),
        ("text/csv, */*;q=0.1", "text/csv"),
        # RFC 9110, 12.5.1: the most specific range that fits has precedence.
        ("*/*, application/json;q=0", "text/plain"),
        ("application/*;q=0.2, application/xml;q=0.1, text/*;q=0", "application/json"),
        ("text/*, text/plain;q=0.1, text/csv;q=0.2", "text/csv"),
        # One that is named goes before one that a wildcard covers.
        ("*/*, text/csv", "text/csv"),
        ("text/html, application/xml;q=0.9, */*;q=0.8", "application/xml"),
        ("text/csv; header=absent; q=0.9", "text/csv"),
        ("image/png", None),
        ("application/json;q=0", None),
        ("*/*;q=0", None),
        ("nonsense", None),
        ("application/problem+json", None),
        ("image/png, " * 40 + "text/csv", "text/csv"),
    ],
)
def test_accept_chooses_the_form(header, expected):
    assert best_media_type(header, OFFERED) == expected
    headers = {"Accept": header} if header else {}
    response = client().post("/v1/size-conductor", json=CONDUCTOR, headers=headers)
    assert response.status_code == (406 if expected is None else 200)
    if expected is not None:
        assert response.mimetype == expected
    assert response.vary.as_set() == {"accept", "accept-encoding"}


@given(st.text(max_size=60), st.permutations(OFFERED))
def test_any_header_chooses_one_of_those_offered_or_none(header, offered):
    assert best_media_type(header, tuple(offered)) in (*offered, None)


@given(st.dictionaries(st.sampled_from(OFFERED), st.integers(0, 1000), min_size=1))
def test_the_greatest_quality_wins(qualities):
    header = ", ".join(f"{name};q={quality / 1000:.3f}" for name, quality in qualities.items())
    best = best_media_type(header, OFFERED)
    if best is None:
        assert max(qualities.values()) == 0
    else:
        assert qualities[best] == max(qualities.values()) > 0


@pytest.mark.parametrize("operation", CALCULATORS)
@pytest.mark.parametrize("name", TYPES)
def test_as_goes_before_accept(operation, name):
    response = asked(operation, **{"as": name})
    assert response.content_type == TYPES[name]
    other = get(
        operation, query_of(example(operation)), "text/csv, image/png;q=0.1", **{"as": name}
    )
    assert other.content_type == TYPES[name]
    assert other.get_data() == response.get_data()
    by_accept = get(operation, query_of(example(operation)), TYPES[name].partition(";")[0])
    assert by_accept.get_data() == response.get_data()


@pytest.mark.parametrize(
    "operation", ["assess-supply", "solve-network", "build-bill-of-materials", "check-price-book"]
)
def test_operation_refuses_forms_that_it_has_not(operation):
    url = f"/v1/{operation}"
    assert client().post(url, json={}, headers={"Accept": "image/png"}).status_code == 406


def test_price_books_are_listed_as_json_only():
    assert client().get("/v1/price-books", headers={"Accept": "text/csv"}).status_code == 406
    response = client().get("/v1/price-books?field=price_books")
    assert response.status_code == 422
    assert response.get_json()["errors"] == [
        {"pointer": "/field", "message": "this answer is given whole"}
    ]


def test_query_of_a_post_is_not_looked_at():
    response = client().post("/v1/size-conductor?as=csv&errors=text", json=CONDUCTOR)
    assert response.content_type == "application/json"
    response = client().post("/v1/size-conductor?as=csv&errors=text", json={})
    assert (response.status_code, response.mimetype) == (422, "application/problem+json")


def test_forms_are_registered_for_every_operation_but_those_of_the_service():
    named = {operation.name for operation in OPERATIONS if operation.tag != "service"}
    assert set(FORMS_BY_OPERATION) == named
    for operation in OPERATIONS:
        forms = FORMS_BY_OPERATION.get(operation.name)
        if forms is not None:
            assert forms.answer is operation.answer
            assert forms.forms[0] is JSON
            assert len(forms.by_name) == len(forms.by_media_type) == len(forms.forms)
            if operation.with_query:
                drawn = {"json", "svg"}
                assert set(forms.by_name) == (set(TYPES) if forms.default_field else drawn)
                fields = set(operation.request().fields)
                assert not fields & RESERVED_PARAMETERS


def test_form_of_another_kind_can_be_registered():
    calendar = Form(
        "calendar",
        "text/calendar",
        "A booking.",
        encode=lambda answer: f"BEGIN:{answer['verdict']}".encode(),
        parameters="; charset=utf-8",
    )
    own = OperationForms("job", FORMS_BY_OPERATION["size-fuse"].answer, (JSON, calendar))
    app = create_app()
    with app.test_request_context("/", method="POST", headers={"Accept": "text/calendar"}) as made:
        chosen = asked_form(own, made.request)
        response = chosen.response({"verdict": "fuse_found"})
    assert response.content_type == "text/calendar; charset=utf-8"
    assert response.get_data() == b"BEGIN:fuse_found"


# --- each form ---


def leaves(value, path=()):
    """Yield the values of a document with their paths; written here once more, as a check."""
    if isinstance(value, (dict, list)) and value:
        pairs = value.items() if isinstance(value, dict) else enumerate(value)
        for name, entry in pairs:
            yield from leaves(entry, (*path, str(name)))
    else:
        yield path, value


def as_text(value):
    if isinstance(value, bool):
        return "true" if value else "false"
    return value if isinstance(value, str) else repr(value)


@pytest.mark.parametrize("operation", CALCULATORS)
def test_text_gives_each_value_of_the_json_answer(operation):
    tried = 0
    for path, value in leaves(document(operation)):
        field = ".".join(path)
        response = get(operation, query_of(example(operation)), **{"as": "text", "field": field})
        shown = response.get_data(as_text=True)
        if response.status_code == 422:
            # An object that is null here; what lies in it may be asked for.
            assert value is None
            assert f"{field} is no single value; add one of " in shown
            continue
        assert response.status_code == 200, shown
        if value in (None, [], {}):
            assert shown == "none", field
        else:
            assert shown == as_text(value), field
        tried += 1
    assert tried > 45


@pytest.mark.parametrize(
    ("operation", "field"),
    [
        ("size-conductor", "conductor.size"),
        ("size-fuse", "rated_current_a"),
        ("estimate-real-output", "likely.power_w"),
        ("match-load-impedance", "recommended.notation"),
    ],
)
def test_text_gives_the_documented_value_by_itself(operation, field):
    plain = asked(operation, **{"as": "text"}).get_data()
    assert plain == asked(operation, **{"as": "text", "field": field}).get_data()
    body = example(operation)
    posted = client().post(f"/v1/{operation}", json=body, headers={"Accept": "text/plain"})
    assert posted.get_data() == plain


@pytest.mark.parametrize("operation", CALCULATORS)
def test_every_path_is_of_the_form_that_the_document_states(operation):
    query = query_of(example(operation)) | {"explain": "true"}
    document = json.loads(asked(operation, query).get_data())
    paths = [".".join(path) for path, _ in leaves(document)]
    assert [path for path in paths if not re.fullmatch(FIELD_PATTERN, path)] == []
    assert max(map(len, paths)) <= GREATEST_FIELD_LENGTH
    # Names of the inputs of a step are free, which the schema says too.
    field = next(path for path in paths if ".inputs." in path)
    response = asked(operation, query, **{"as": "text", "field": field})
    assert float(response.get_data()) == value_of(document, field)


def value_of(document, field):
    for step in field.split("."):
        document = document[int(step)] if step.isdecimal() else document[step]
    return document


def test_list_of_values_is_one_line_of_text():
    fails = document("size-conductor")["candidates"]["fails"][0]
    assert len(fails) > 1
    shown = asked(**{"as": "text", "field": "candidates.fails.0"}).get_data(as_text=True)
    assert shown == ", ".join(fails)


def test_design_that_cannot_be_met_is_none_and_its_verdict_says_so():
    query = {**CONDUCTOR, "load_current": 400, "length": 30}
    for field in ("conductor.size", "conductor.voltage_drop_v", "conductor.fails", "conductor"):
        response = get("size-conductor", query, **{"as": "text", "field": field})
        expected = (422, "Error: field: ") if field == "conductor" else (200, "none")
        assert response.status_code == expected[0]
        assert response.get_data(as_text=True).startswith(expected[1])
    verdict = asked("size-conductor", query, **{"as": "text", "field": "verdict"})
    assert verdict.get_data() == b"no_conductor_meets_criteria"


def rows_of(response):
    """Return the rows of CSV as RFC 4180 has them, after a look at the bytes."""
    body = response.get_data()
    assert not body.startswith(b"\xef\xbb\xbf")
    assert body.endswith(b"\r\n")
    assert b"\n" not in body.replace(b"\r\n", b"")
    return list(csv.reader(io.StringIO(body.decode("utf-8"), newline=""), strict=True))


@pytest.mark.parametrize("operation", CALCULATORS)
def test_csv_has_every_value_of_the_json_answer(operation):
    rows = rows_of(asked(operation, **{"as": "csv"}))
    assert rows[0] == ["path", "value"]
    expected = [
        [".".join(path), "" if value in (None, [], {}) else as_text(value)]
        for path, value in leaves(document(operation))
    ]
    assert [path for path, _ in rows[1:]] == [path for path, _ in expected]
    for (path, shown), (_, value) in zip(rows[1:], expected, strict=True):
        if shown != value:
            assert float(shown) == float(value), path


def test_csv_of_candidates_has_a_row_of_each():
    candidates = document("size-conductor")["candidates"]
    names, *rows = rows_of(asked(**{"as": "csv", "field": "candidates"}))
    assert set(names) == set(candidates)
    assert len(rows) == len(candidates["size"]) > 5
    for place, row in enumerate(rows):
        for name, shown in zip(names, row, strict=True):
            value = candidates[name][place]
            if value is None:
                assert shown == ""
            elif isinstance(value, list):
                assert shown == ", ".join(value)
            elif isinstance(value, str):
                assert shown == value
            else:
                assert float(shown) == value


def test_csv_of_fuse_types_has_a_row_of_each_and_columns_that_do_not_change():
    types = document("size-fuse")["types"]
    names, *rows = rows_of(asked("size-fuse", **{"as": "csv", "field": "types"}))
    assert len(rows) == len(types) == 2
    place = names.index("far_end_opening.is_cleared")
    for row, entry in zip(rows, types, strict=True):
        assert row[names.index("fuse_type")] == entry["fuse_type"]
        assert row[place] == as_text(entry["far_end_opening"]["is_cleared"])
    # Lists of objects are tables of their own.
    assert not [name for name in names if name.startswith(("opening_band", "own_bounds"))]
    # A circuit whose types have no far-end opening has the same columns.
    small = {**query_of(example("size-fuse")), "fuse_types": '["iso_8820_3_c_1_to_2_a"]'}
    other, row = rows_of(asked("size-fuse", small, **{"as": "csv", "field": "types"}))
    assert other == names
    assert row[place] == ""


def test_csv_of_a_list_of_objects_without_entries_has_its_columns():
    own, *rows = rows_of(asked("size-fuse", **{"as": "csv", "field": "types.0.own_bounds"}))
    assert own == ["rule", "rated_current_a", "source", "locator"]
    assert len(rows) == len(document("size-fuse")["types"][0]["own_bounds"])


def test_csv_of_the_working_has_the_inputs_in_one_cell():
    query = query_of(example("size-conductor")) | {"explain": "true"}
    working = json.loads(asked("size-conductor", query).get_data())["working"]
    names, *rows = rows_of(asked("size-conductor", query, **{"as": "csv", "field": "working"}))
    shown = [dict(zip(names, row, strict=True)) for row in rows]
    assert [row["step"] for row in shown] == [str(step["step"]) for step in working]
    for row, step in zip(shown, working, strict=True):
        assert all(f"{name} = " in row["inputs"] for name in step["inputs"])


def element_value(element):
    return element.text or ""


def compare_xml(element, value):
    """Compare an element with a JSON value; return how many single values there were."""
    assert "{" not in element.tag
    if isinstance(value, dict):
        assert [child.tag for child in element] == list(value)
        return sum(compare_xml(*pair) for pair in zip(element, value.values(), strict=True))
    if isinstance(value, list):
        assert {child.tag for child in element} <= {"item"}
        return sum(compare_xml(*pair) for pair in zip(element, value, strict=True))
    assert len(element) == 0
    assert element_value(element) == ("" if value is None else as_text(value))
    return 1


@pytest.mark.parametrize("operation", CALCULATORS)
def test_xml_has_every_value_of_the_json_answer(operation):
    body = asked(operation, **{"as": "xml"}).get_data()
    assert body.startswith(b'<?xml version="1.0" encoding="UTF-8"?>\n<answer>')
    assert b"xmlns" not in body
    assert compare_xml(ElementTree.fromstring(body), document(operation)) > 50


@pytest.mark.parametrize(
    ("operation", "field", "path"),
    [
        ("size-conductor", "conductor", "conductor/size"),
        ("size-conductor", "candidates.size", "candidates/size/item"),
        ("size-fuse", "types.0", "types/item/fuse_type"),
        ("estimate-real-output", "likely.power_w", "likely/power_w"),
    ],
)
def test_one_path_leads_to_a_value_in_the_whole_and_in_the_part(operation, field, path):
    whole = ElementTree.fromstring(asked(operation, **{"as": "xml"}).get_data())
    part = ElementTree.fromstring(asked(operation, **{"as": "xml", "field": field}).get_data())
    assert part.find(path).text == whole.find(path).text
    assert len(list(part.iter())) < len(list(whole.iter()))


# --- field, length, HEAD and OPTIONS ---


@pytest.mark.parametrize(
    ("name", "field", "message"),
    [
        ("text", "conductor", "conductor is no single value; add one of size, "),
        ("text", "conductor.siez", "conductor has no siez; give one of size, "),
        ("text", "conductor.size.0", "conductor.size is a single value; end there"),
        ("text", "types", "the answer has no types; give one of "),
        ("text", "candidates.size.x", "candidates.size is a list; go on with the number "),
        ("text", "candidates.size.999", "candidates.size has no entry 999; it has "),
        ("text", "sources", "sources is a list of objects; give sources.0 with a name"),
        ("text", "checked_conductor.fails.-1", "checked_conductor.fails is a list; "),
        ("text", "working.0.step", "the answer has no working here"),
        ("text", "", "the answer has no ; give one of "),
        ("text", ".", "the answer has no ; give one of "),
        ("text", "conductor..size", "conductor has no ; give one of "),
        ("csv", "conductor.siez", "conductor has no siez; give one of size, "),
        ("xml", "working", "the answer has no working here"),
        ("xml", "a" * 201, "give at most 200 characters"),
        ("json", "conductor.size", "it goes with as=text or as=csv or as=xml"),
    ],
)
def test_wrong_field_is_told_what_there_is(name, field, message):
    response = get("size-conductor", CONDUCTOR, "application/json", **{"as": name, "field": field})
    assert response.status_code == 422
    if name == "json":
        told = response.get_json()["errors"][0]["message"]
    else:
        told = response.get_data(as_text=True).partition("field: ")[2]
    assert told.startswith(message)


def test_path_below_null_is_null_and_a_typing_error_still_is_one():
    assert document("size-conductor")["checked_conductor"] is None
    below = {"as": "text", "field": "checked_conductor.size"}
    assert asked(**below).get_data() == b"none"
    response = get("size-conductor", CONDUCTOR, **below | {"field": "checked_conductor.siez"})
    assert response.status_code == 422


@pytest.mark.parametrize(("name", "value"), [("as", "yaml"), ("as", ""), ("errors", "yes")])
def test_wrong_choice_is_told_the_choices(name, value):
    response = get("size-conductor", CONDUCTOR, **{name: value})
    assert response.status_code == 422
    (error,) = response.get_json()["errors"]
    assert error["pointer"] == f"/{name}"
    assert error["message"].startswith("give one of: ")


@pytest.mark.parametrize("name", sorted(RESERVED_PARAMETERS))
def test_reserved_parameter_is_no_field_of_a_body(name):
    response = client().post("/v1/size-conductor", json={**CONDUCTOR, name: "text"})
    assert response.status_code == 422
    assert response.get_json()["errors"][0]["pointer"] == f"/{name}"


@pytest.mark.parametrize(
    ("name", "value"), [("as", "csv"), ("field", "conductor"), ("errors", "status"), ("key", "x")]
)
def test_reserved_parameter_is_given_once(name, value):
    query = [*CONDUCTOR.items(), ("as", "csv"), (name, value)]
    assert client().get("/v1/size-conductor", query_string=query[-1:] + query).status_code == 400


@pytest.mark.parametrize("name", ["csv", "xml"])
def test_answer_longer_than_a_cell_is_refused_in_words_and_its_parts_are_not(name):
    query = query_of(EXAMPLES["size-fuse"]["light_behind_a_cranking_battery"])
    assert len(asked("size-fuse", query).get_data()) > 20_000
    response = get("size-fuse", query, **{"as": name})
    assert response.status_code == 422
    told = response.get_data(as_text=True)
    assert "and a cell holds 32767. Name a part with field, or ask for JSON." in told
    part = asked("size-fuse", query, **{"as": name, "field": "window"}).get_data(as_text=True)
    assert len(part) < GREATEST_CHARACTERS == 32767


def test_length_is_counted_in_characters():
    form = Form("t", "text/plain", "", encode=lambda d: d["t"].encode(), greatest_characters=10)
    chosen = AskedForm(form)
    assert chosen.response({"t": "ü" * 10}).get_data(as_text=True) == "ü" * 10
    with pytest.raises(Exception, match="has 11 characters"):
        chosen.response({"t": "ü" * 11})


@pytest.fixture
def counted(monkeypatch):
    """Return a client of the service and a list that grows with each sizing."""
    calls = []
    app = create_app()
    view = app.view_functions["conductor.size_conductor"]
    cells = dict(zip(view.__code__.co_freevars, view.__closure__, strict=True))
    answer = cells["answer"].cell_contents

    def noted(values):
        calls.append(values)
        return answer(values)

    monkeypatch.setattr(cells["answer"], "cell_contents", noted)
    return app.test_client(), calls


def test_head_and_options_compute_nothing(counted):
    application, calls = counted
    url = "/v1/size-conductor"
    got = application.get(url, query_string=CONDUCTOR | {"as": "csv"})
    assert len(calls) == 1
    head = application.head(url, query_string=CONDUCTOR | {"as": "csv"})
    options = application.options(url, query_string=CONDUCTOR | {"as": "csv"})
    assert len(calls) == 1
    assert (head.status_code, head.get_data()) == (200, b"")
    assert head.content_type == got.content_type
    assert head.headers["Vary"] == got.headers["Vary"]
    # RFC 9110, 8.6: a length in answer to HEAD must be that of GET; none is stated.
    assert "Content-Length" not in head.headers
    assert options.status_code == 200
    assert {name.strip() for name in options.headers["Allow"].split(",")} == {
        "GET",
        "HEAD",
        "OPTIONS",
        "POST",
    }
    assert options.get_data() == b""


@pytest.mark.parametrize("operation", CALCULATORS)
def test_head_of_a_wrong_request_has_the_status_of_get(operation):
    query = {"as": "text", "length": "x"}
    assert client().head(f"/v1/{operation}", query_string=query).status_code == 422
    shown = client().head(f"/v1/{operation}", query_string=query | {"errors": "text"})
    assert (shown.status_code, shown.get_data()) == (200, b"")


@pytest.mark.parametrize("operation", CALCULATORS)
@pytest.mark.parametrize("name", TYPES)
def test_the_same_request_gives_the_same_bytes(operation, name):
    first = asked(operation, **{"as": name}).get_data()
    assert first == asked(operation, **{"as": name}).get_data()
    assert name == "json" or len(first.decode()) < GREATEST_CHARACTERS
