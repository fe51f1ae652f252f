"""Every failure is one shape: a problem document (RFC 9457) with a code of the one table."""

import ast
import json
import logging
from collections.abc import Iterable
from pathlib import Path

import pytest

import loomwright.engineering
from drawn_requests import client, document, resolved, validator
from loomwright.engineering.errors import EngineeringError
from loomwright.web.access import OPEN_PATHS
from loomwright.web.app import GREATEST_BODY_BYTES, create_app
from loomwright.web.described_http import PROBE_PATHS
from loomwright.web.operations import OPERATIONS
from loomwright.web.pages.serving import page_paths
from loomwright.web.problem_codes import CODES
from loomwright.web.problems import MEDIA_TYPE, pointers_of_messages
from set_up import create_with, key_entry

CONDUCTOR = {"series": "awg", "load_current": 20, "supply_voltage": 12.6, "length": 4.5}
FUSE = {
    "series": "awg",
    "size": "8 AWG",
    "load_current": 25,
    "source_voltage": 12.6,
    "source_resistance": 0.008,
    "length": 5,
}
OUTPUT = {
    "fuse_rating": 25,
    "supply_voltage": 12,
    "amplifier_class": "AB",
    "converter": "regulated",
    "load_impedance": 4,
}
LOAD = {
    "drivers": [{"quantity": 2, "coil_impedance": 4, "power_limit": 200}],
    "least_load_impedance": 2,
    "outputs": [{"load_impedance": 4, "output": 100}],
}
GOOD = {
    "size-conductor": CONDUCTOR,
    "size-fuse": FUSE,
    "estimate-real-output": OUTPUT,
    "match-load-impedance": LOAD,
}
POSTED = (
    "size-conductor",
    "size-fuse",
    "estimate-real-output",
    "match-load-impedance",
    "assess-supply",
    "solve-network",
    "build-bill-of-materials",
    "build-work-order",
    "check-price-book",
    "check-measurements",
    "price-packages",
)
GREATEST_BYTES = {operation.name: operation.greatest_body_bytes for operation in OPERATIONS}
MEMBERS = {"type", "title", "status", "code", "detail", "action", "errors"}


def checked(response, status, code=None):
    """Return a problem document after seeing that it has the one shape."""
    assert response.status_code == status, response.get_data(as_text=True)
    assert response.content_type == MEDIA_TYPE == "application/problem+json"
    problem = json.loads(response.get_data())
    validator("Problem").validate(problem)
    assert set(problem) == MEMBERS
    assert problem["status"] == status
    assert problem["code"] in CODES
    assert problem["type"] == f"/v1/problems#{problem['code']}"
    known = CODES[problem["code"]]
    assert (problem["title"], problem["action"]) == (known.title, known.action)
    if problem["code"] != "http_error":
        assert known.status == status
    for member in ("title", "detail", "action"):
        assert problem[member]
    assert all(set(error) == {"pointer", "message"} for error in problem["errors"])
    assert all(error["pointer"] == "" or error["pointer"][0] == "/" for error in problem["errors"])
    if code is not None:
        assert problem["code"] == code
    return problem


def pointers(problem):
    return {error["pointer"] for error in problem["errors"]}


def post(operation, body, content_type="application/json"):
    data = body if isinstance(body, bytes | str) else json.dumps(body)
    return client().post(f"/v1/{operation}", data=data, content_type=content_type)


class StalledBody:
    """A body that never arrives in full, as the server's socket gives it up."""

    def read(self, size=-1):
        raise TimeoutError(f"timed out before {size} bytes")

    readinto = readline = read


MALFORMED = {
    "empty": b"",
    "blank": b"  \n",
    "text": b"length=5",
    "half": b'{"length": 5',
    "two documents": b"{}{}",
    "trailing comma": b'{"length": 5,}',
    "single quotes": b"{'length': 5}",
    "array": b"[]",
    "array of objects": b"[{}]",
    "string": b'"length"',
    "number": b"5",
    "null": b"null",
    "true": b"true",
    "NaN": b'{"length": NaN}',
    "Infinity": b'{"length": Infinity}',
    "minus Infinity": b'{"length": -Infinity}',
    "1e400": b'{"length": 1e400}',
    "integer of 401 digits": b'{"length": 1' + b"0" * 400 + b"}",
    "leading zero": b'{"length": 05}',
    "plus sign": b'{"length": +5}',
    "hexadecimal": b'{"length": 0x5}',
    "byte 0xff": b"\xff",
    "invalid UTF-8 in text": b'{"series": "a\xffg"}',
    "overlong UTF-8": b'{"series": "\xc0\xaf"}',
    "UTF-16": '{"length": 5}'.encode("utf-16"),
    "byte order mark": b"\xef\xbb\xbf{}",
    "lone surrogate": b'{"series": "\\ud800"}',
    "control character in text": b'{"series": "a\x00g"}',
    "100 000 open arrays": b"[" * 100_000,
    "100 000 arrays": b"[" * 100_000 + b"]" * 100_000,
    "100 000 objects": b'{"a":' * 100_000 + b"1" + b"}" * 100_000,
}


def test_every_route_and_failure_is_one_shape():
    application = client()
    for url in (
        "/nothing",
        "/v1",
        "/v1/",
        "/v1/nothing",
        "/v1/size-conductor/",
        "/v1/problems/x",
        "/%00",
    ):
        checked(application.get(url), 404, "not_found")
        checked(application.post(url, json={}), 404, "not_found")

    for path, methods in document()["paths"].items():
        allowed = {name.upper() for name in methods}
        for method in ("GET", "POST", "PUT", "PATCH", "DELETE", "TRACE", "PROPFIND"):
            if method not in allowed:
                response = application.open(path, method=method)
                checked(response, 405, "method_not_allowed")
                # RFC 9110, 15.5.6: the response must list the methods that are allowed.
                listed = {name.strip() for name in response.headers["Allow"].split(",")}
                assert listed - {"HEAD", "OPTIONS"} == allowed

    for operation in POSTED:
        for body in MALFORMED.values():
            checked(post(operation, body), 400, "malformed_body")
        for kind in ("text/plain", "application/xml", "application/jsonx", "multipart/form-data"):
            checked(post(operation, "{}", kind), 415, "unsupported_media_type")
        for kind in (None, "", "application/x-www-form-urlencoded", "json", "*/*"):
            checked(post(operation, "{}", kind), 415, "unsupported_media_type")
        large = b'{"length": 5' + b" " * GREATEST_BYTES[operation] + b"}"
        checked(post(operation, large), 413, "body_too_large")
        late = application.post(
            f"/v1/{operation}",
            content_type="application/json",
            environ_overrides={"wsgi.input": StalledBody(), "CONTENT_LENGTH": "10"},
        )
        checked(late, 408, "request_timeout")
        problem = checked(post(operation, {"surplus": 1}), 422, "invalid_request")
        assert problem["errors"]

    for operation, good in GOOD.items():
        query = [*good.items(), ("length", 5), ("length", 6)]
        duplicate = application.get(f"/v1/{operation}", query_string=query)
        problem = checked(duplicate, 400, "duplicate_parameter")
        assert pointers(problem) == {"/length"}
        checked(application.get(f"/v1/{operation}"), 422, "invalid_request")
        checked(application.get(f"/v1/{operation}?%FF=%FF&=&a[]=1"), 422, "invalid_request")


@pytest.mark.parametrize("operation", GOOD)
@pytest.mark.parametrize(
    "kind", ["application/json; charset=utf-8", "Application/JSON", "application/json;v=1"]
)
def test_media_type_is_compared_as_the_standard_says(operation, kind):
    # RFC 9110, 8.3.1: type and subtype without regard to case; parameters may follow.
    assert post(operation, GOOD[operation], kind).status_code == 200


@pytest.mark.parametrize("operation", GOOD)
def test_body_of_the_greatest_size_is_read(operation):
    body = json.dumps(GOOD[operation])
    padded = body + " " * (GREATEST_BODY_BYTES - len(body))
    assert post(operation, padded).status_code == 200
    checked(post(operation, padded + " "), 413, "body_too_large")


def test_every_fault_is_listed_at_once():
    problem = checked(
        post(
            "size-conductor",
            {
                "series": "awk",
                "supply_voltage": True,
                "load_current": "5 volts",
                "load_power": 1e308,
                "allowed_voltage_drop": -0.0,
                "allowed_voltage_drop_percent": "3",
                "joints": 2.5,
                "explain": "yes",
                "on_time": 5,
                "fault_current": None,
                "given_size": ["8 AWG"],
                "return_path": "chassis",
                "length": {"m": 5},
                "route": [{"length": 1}, {"length": 0, "zone": 7, "lenght": 1}, [], {}],
                "a/b": 1,
                "m~n": 1,
                "": 1,
            },
        ),
        422,
        "invalid_request",
    )
    assert pointers(problem) == {
        "/series",
        "/supply_voltage",
        "/load_current",
        "/load_power",
        "/allowed_voltage_drop",
        "/allowed_voltage_drop_percent",
        "/joints",
        "/explain",
        "/off_time",
        "/fault_current",
        "/clearing_time",
        "/given_size",
        "/chassis_resistance",
        "/length",
        "/route",
        "/route/1/length",
        "/route/1/zone",
        "/route/1/lenght",
        "/route/2",
        "/route/3/length",
        # RFC 6901, 3: ~ and / of a name are written ~0 and ~1; an empty name is an empty token.
        "/a~1b",
        "/m~0n",
        "/",
    }


def test_fault_of_one_field_hides_no_fault_between_fields():
    both = {"series": "awg", "supply_voltage": 12, "length": 5, "load_current": 0, "load_power": 5}
    problem = checked(post("size-conductor", both), 422, "invalid_request")
    messages = [error["message"] for error in problem["errors"]]
    assert pointers(problem) == {"/load_current"}
    assert len(messages) == 2
    assert "give either load_current or load_power, not both" in messages


def test_fault_of_one_field_brings_no_false_fault_of_another():
    wrong = {**CONDUCTOR, "return_path": "chasis", "chassis_resistance": 0.001}
    assert pointers(checked(post("size-conductor", wrong), 422)) == {"/return_path"}
    wrong = {**CONDUCTOR, "series": "awk", "given_size": "8 AWG"}
    assert pointers(checked(post("size-conductor", wrong), 422)) == {"/series"}


@pytest.mark.parametrize("operation", GOOD)
@pytest.mark.parametrize("name", ["colour", "_schema", "Length", "length ", "__proto__", "/", "é"])
def test_unknown_field_is_named_with_what_is_accepted(operation, name):
    problem = checked(post(operation, {**GOOD[operation], name: 1}), 422, "invalid_request")
    (error,) = problem["errors"]
    assert error["pointer"] == "/" + name.replace("/", "~1")
    request = f"{operation.title().replace('-', '')}Request"
    fields = document()["components"]["schemas"][request]["properties"]
    assert error["message"] == f"unknown; the fields are {', '.join(fields)}"


def test_value_out_of_range_is_told_the_range_and_the_units():
    problem = checked(post("size-conductor", {**CONDUCTOR, "length": 101}), 422)
    (error,) = problem["errors"]
    for part in ("m", "0.01", "100", "cm", "mm", "ft", "in"):
        assert part in error["message"].replace(",", "").split()


def test_given_alternatives_are_told():
    problem = checked(post("size-conductor", {**CONDUCTOR, "series": "gauge"}), 422)
    assert problem["errors"][0]["message"] == "give one of: awg, iso_6722, metric, sae"


# Values that are no quantity, or none in range, for each quantity field.
NO_QUANTITIES = [
    True,
    False,
    None,
    1e308,
    -1e308,
    5e-324,
    -1,
    10**400,
    10**18,
    "1e400 {unit}",
    "1e-400 {unit}",
    "5",
    "5 parsecs",
    "five {unit}",
    "nan {unit}",
    "inf {unit}",
    "5 {unit}\n",
    "5{unit}" + " " * 40,
    "0" * 50 + "5 {unit}",
    "",
    [],
    [5],
    {},
    {"value": 5, "unit": "m"},
]


def quantity_fields(operation):
    """Yield pointer and schema of each quantity field, with a request that gives it a value.

    Those of objects in a list are of the first, where the good request has the list.
    """
    request = f"{operation.title().replace('-', '')}Request"
    good = GOOD[operation]
    for name, schema in document()["components"]["schemas"][request]["properties"].items():
        if "x-unit" in schema:
            yield name, schema, lambda value, name=name: {**good, name: value}
        elif "$ref" in schema.get("items", {}) and name in good:
            (first, *others) = good[name]
            for inner, form in resolved(schema["items"])["properties"].items():
                if "x-unit" in form:
                    yield (
                        f"{name}/0/{inner}",
                        form,
                        lambda value, name=name, inner=inner, first=first, others=others: {
                            **good,
                            name: [{**first, inner: value}, *others],
                        },
                    )


@pytest.mark.parametrize("operation", GOOD)
def test_no_quantity_is_refused_in_each_field(operation):
    tried = 0
    for name, schema, with_value in quantity_fields(operation):
        least = schema["anyOf"][0]["minimum"]
        for value in NO_QUANTITIES:
            text = value.format(unit=schema["x-unit"]) if isinstance(value, str) else value
            if schema["x-unit"] == "degC" and value in (5e-324, -1, "1e-400 {unit}"):
                continue  # in range
            if least == 0.0 and value in (5e-324, "1e-400 {unit}"):
                continue  # in range
            body = with_value(text)
            # json.dumps writes 10**400 in full, which no reader of doubles can hold.
            status = 400 if isinstance(value, int) and value == 10**400 else 422
            problem = checked(post(operation, body), status)
            if status == 422:
                assert f"/{name}" in pointers(problem), (name, value, problem)
            tried += 1
    assert tried > 100


def test_minus_zero_is_zero():
    fields = {"source_resistance": -0.0, "fuse_resistance": "-0 ohm", "joints": -0.0}
    plain = post("size-conductor", {**CONDUCTOR, "source_resistance": 0})
    signed = post("size-conductor", {**CONDUCTOR, **fields})
    assert signed.status_code == 200
    assert signed.get_data().replace(b":-0.0", b":0.0") == plain.get_data()


@pytest.mark.parametrize("value", ["1e400", "-1e400", "9" * 400, "nan", "inf", "True", "1_000", ""])
@pytest.mark.parametrize("name", ["load_current", "joints", "allowed_voltage_drop_percent"])
def test_number_of_a_query_is_refused_unless_plain(name, value):
    response = client().get("/v1/size-conductor", query_string={**CONDUCTOR, name: value})
    assert pointers(checked(response, 422, "invalid_request")) == {f"/{name}"}


@pytest.mark.parametrize("value", ["1", "0", "True", "yes", "", "on"])
def test_flag_of_a_query_is_true_or_false(value):
    response = client().get("/v1/size-conductor", query_string={**CONDUCTOR, "explain": value})
    assert pointers(checked(response, 422, "invalid_request")) == {"/explain"}


@pytest.mark.parametrize("value", ["[", "{}", "5", "[" * 100_000, "[NaN]", "", "[1e400]"])
def test_list_of_a_query_is_json(value):
    query = {name: entry for name, entry in CONDUCTOR.items() if name != "length"}
    response = client().get("/v1/size-conductor", query_string={**query, "route": value})
    assert pointers(checked(response, 422, "invalid_request")) == {"/route"}


# --- failures of the surroundings, on every route ---


def routes(application):
    """Yield every path with each of its methods that has content."""
    for rule in application.url_map.iter_rules():
        for method in sorted(rule.methods - {"HEAD", "OPTIONS"}):
            yield rule.rule, method


def test_every_route_refuses_in_one_shape_without_key_and_above_the_limit(tmp_path):
    keys = tmp_path / "keys.toml"
    keys.write_text(key_entry("listed", "spreadsheet"), "utf-8")
    keyed = create_with(keys_file=keys).test_client()
    limited = create_with(rate_limit="1/day").test_client()
    limited.get("/nothing")
    seen = 0
    # Pages are for people, who have no key yet, and come with files that would use a limit up.
    open_paths = OPEN_PATHS | page_paths(keyed.application)
    uncounted_paths = PROBE_PATHS | page_paths(limited.application)
    for path, method in routes(keyed.application):
        if path in open_paths:
            assert keyed.open(path, method=method).status_code == 200
        else:
            checked(keyed.open(path, method=method), 401, "key_required")
            headers = {"Authorization": "Bearer other"}
            checked(keyed.open(path, method=method, headers=headers), 401, "key_not_accepted")
        if path in uncounted_paths:
            assert limited.open(path, method=method).status_code == 200
        else:
            refused = checked(limited.open(path, method=method), 429, "too_many_requests")
            assert refused["detail"].startswith("More than 1 per 1 day")
        seen += 1
    assert seen >= 11
    keys.write_text("broken", "utf-8")
    for path, method in routes(keyed.application):
        if path not in open_paths:
            headers = {"Authorization": "Bearer listed"}
            response = keyed.open(path, method=method, headers=headers)
            checked(response, 503, "access_unavailable")
            assert response.headers["Retry-After"].isdecimal()


def test_every_route_fails_in_one_shape():
    application = create_app()
    for endpoint in application.view_functions:
        application.view_functions[endpoint] = lambda: 1 // 0
    failing = application.test_client()
    for path, method in routes(application):
        checked(failing.open(path, method=method), 500, "internal_error")


def test_no_acceptable_form_is_a_problem():
    page = client().get("/v1/problems", headers={"Accept": "text/html"})
    assert page.content_type == "text/html; charset=utf-8"
    listed = client().get("/v1/problems").get_json()["problems"]
    assert {entry["code"] for entry in listed} == set(CODES)
    for code in CODES:
        # Where the type of a problem points.
        assert f'id="{code}"' in page.text
    response = client().get("/v1/problems", headers={"Accept": "image/png"})
    checked(response, 406, "not_acceptable")


# --- the service's own failures ---


@pytest.fixture
def failing():
    """Return a client of the service with a view that raises."""
    application = create_app()

    @application.get("/v1/fails")
    def fails():
        raise RuntimeError("the secret of the house")

    @application.get("/v1/refuses")
    def refuses():
        raise EngineeringError("out_of_range", "Too much.", field="a/b", value=1.0)

    @application.get("/v1/refuses-as-a-whole")
    def refuses_as_a_whole():
        raise EngineeringError("operating_point_not_converged", "Nothing found.")

    return application.test_client()


def test_failure_of_the_service_tells_nothing_and_is_logged(failing, caplog):
    with caplog.at_level(logging.ERROR):
        problem = checked(failing.get("/v1/fails"), 500, "internal_error")
    assert "secret" not in json.dumps(problem)
    assert "RuntimeError" not in json.dumps(problem)
    assert problem["errors"] == []
    (record,) = caplog.records
    assert record.levelno == logging.ERROR
    assert isinstance(record.exc_info[1], RuntimeError)
    assert str(record.exc_info[1]) == "the secret of the house"


def test_refusal_of_the_engineering_names_its_field(failing):
    problem = checked(failing.get("/v1/refuses"), 422, "out_of_range")
    assert problem["errors"] == [{"pointer": "/a/b", "message": "Too much."}]
    problem = checked(failing.get("/v1/refuses-as-a-whole"), 422)
    assert problem["errors"] == [{"pointer": "", "message": "Nothing found."}]


def test_refusal_of_the_engineering_points_into_the_request():
    hot = {**CONDUCTOR, "ambient_temperature": 120}
    assert pointers(checked(post("size-conductor", hot), 422, "ambient_not_below_rating")) == {
        "/ambient_temperature"
    }
    route = [{"length": 1}, {"length": 1, "ambient_temperature": "250 degF"}]
    hot = {**{name: value for name, value in CONDUCTOR.items() if name != "length"}, "route": route}
    assert pointers(checked(post("size-conductor", hot), 422)) == {"/route/1/ambient_temperature"}
    # 7.2 V is the voltage of the cold-cranking test of SAE J537 for a 12 V battery.
    flat = {name: value for name, value in FUSE.items() if name != "source_resistance"}
    flat |= {"cold_cranking_current": 600, "source_voltage": 7.0}
    problem = checked(post("size-fuse", flat), 422, "emf_below_cranking_voltage")
    assert pointers(problem) == {"/source_voltage"}


# --- the table of codes ---


def codes_of(module: ast.Module) -> Iterable[str]:
    """Yield the codes of every ``EngineeringError`` of a module, chosen ones included."""
    for node in ast.walk(module):
        if isinstance(node, ast.Call) and ast.unparse(node.func).endswith("EngineeringError"):
            code = node.args[0]
            if isinstance(code, ast.Name):
                # A code under a name: every text that the name is given in the module.
                values = [
                    assigned.value
                    for assigned in ast.walk(module)
                    if isinstance(assigned, ast.Assign)
                    and code.id in [ast.unparse(target) for target in assigned.targets]
                ]
                assert values, ast.unparse(node)
            else:
                values = [code]
            for value in values:
                texts = [part for part in ast.walk(value) if isinstance(part, ast.Constant)]
                found = [text.value for text in texts if isinstance(text.value, str)]
                assert found, ast.unparse(node)
                yield from found


def raised_codes() -> list[tuple[str, str]]:
    """Return file and code of every ``EngineeringError`` that the engineering makes."""
    folder = Path(loomwright.engineering.__path__[0])
    return [
        (path.name, code)
        for path in sorted(folder.rglob("*.py"))
        for code in codes_of(ast.parse(path.read_text("utf-8")))
    ]


def test_every_code_of_the_engineering_is_in_the_table():
    found = raised_codes()
    assert len(found) > 15
    assert [(name, code) for name, code in found if code not in CODES] == []
    assert {CODES[code].status for _, code in found} == {422}


def test_every_code_has_a_status_a_title_and_an_action():
    for code, known in CODES.items():
        assert 400 <= known.status < 600, code
        assert known.title, code
        assert known.action.endswith("."), code


def test_pointers_are_escaped_and_nested():
    messages = {"a/b": {0: ["x"], "~": {None: ["y"]}}, None: ["z"], "": "w"}
    assert pointers_of_messages(messages) == [
        ("/a~1b/0", "x"),
        ("/a~1b/~0", "y"),
        ("", "z"),
        ("/", "w"),
    ]
