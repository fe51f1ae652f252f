"""Who gets in: with which key, by which way, for what, and when."""

import hmac
import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from drawn_requests import validator
from loomwright.jobs.demo_library import demo_job
from loomwright.web import key_file
from loomwright.web.access import OPEN_PATHS
from loomwright.web.key_file import KeyFileError, keys_of_file
from loomwright.web.pages.serving import page_paths
from set_up import create_with, key_entry

CONDUCTOR = {"series": "awg", "load_current": 20, "supply_voltage": 12.6, "length": 4.5}
SIZE, BILL, CHECK, BOOKS = (
    "/v1/size-conductor",
    "/v1/build-bill-of-materials",
    "/v1/check-price-book",
    "/v1/price-books",
)
# Random in the field; in a test a name tells more.
CALCULATES, PRICES, SEES_COST, SHEET, OLD, COMING = (
    f"key-that-{word}" for word in ("calculates", "prices", "sees-cost", "sheet", "old", "coming")
)


def days(number: int) -> str:
    return (datetime.now(UTC) + timedelta(days=number)).strftime("%Y-%m-%dT%H:%M:%SZ")


def entries() -> str:
    return "".join(
        [
            key_entry(CALCULATES, "calculate", identifier="one"),
            key_entry(PRICES, "price", identifier="two"),
            key_entry(SEES_COST, "price", "cost", identifier="three"),
            key_entry(SHEET, "spreadsheet", identifier="four"),
            key_entry(OLD, "calculate", identifier="five", more=f"expires = {days(-1)}"),
            key_entry(COMING, "calculate", identifier="six", more=f"not_before = {days(1)}"),
        ]
    )


@pytest.fixture
def keys(tmp_path: Path) -> Path:
    path = tmp_path / "keys.toml"
    path.write_text(entries(), "utf-8")
    return path


@pytest.fixture
def client(keys: Path) -> FlaskClient:
    return create_with(keys_file=keys).test_client()


def bearer(key: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {key}"}


def refusal(response: Any) -> tuple[int, str]:
    """Status and code of a refusal that says nothing of the answer."""
    problem = json.loads(response.get_data())
    validator("Problem").validate(problem)
    assert "conductor" not in problem
    challenge = response.headers.get("WWW-Authenticate", "")
    assert challenge.startswith("Bearer") == (response.status_code in (401, 403))
    assert response.headers["Cache-Control"] == "no-store"
    return response.status_code, problem["code"]


def ask(client: FlaskClient, method: str, path: str, headers: dict[str, str]) -> Any:
    if method == "POST":
        bodies = {SIZE: CONDUCTOR, BILL: {"job": demo_job("truck_24v")}, CHECK: {}}
        return client.post(path, json=bodies[path], headers=headers)
    query = CONDUCTOR if path == SIZE else {}
    return client.open(path, method=method, query_string=query, headers=headers)


REQUESTS = [("POST", SIZE), ("GET", SIZE), ("POST", BILL), ("POST", CHECK), ("GET", BOOKS)]
RIGHT = {("POST", SIZE): {CALCULATES}, ("GET", SIZE): {CALCULATES, SHEET}}
PRICED = {PRICES, SEES_COST}


@pytest.mark.parametrize(("method", "path"), REQUESTS)
def test_each_operation_lets_in_the_keys_of_its_scope_alone(
    client: FlaskClient, method: str, path: str
) -> None:
    right = RIGHT.get((method, path), PRICED)
    for key in (CALCULATES, PRICES, SEES_COST, SHEET):
        response = ask(client, method, path, bearer(key))
        if key in right:
            assert response.status_code == 200, response.text
        else:
            assert refusal(response) == (403, "key_not_permitted")


@pytest.mark.parametrize(("method", "path"), REQUESTS)
@pytest.mark.parametrize(
    ("headers", "code"),
    [
        ({}, "key_required"),
        ({"Authorization": ""}, "key_required"),
        ({"Authorization": "Bearer"}, "key_required"),
        ({"Authorization": "Bearer "}, "key_required"),
        ({"Authorization": CALCULATES}, "key_required"),
        ({"Authorization": f"Basic {CALCULATES}"}, "key_required"),
        ({"X-Api-Key": CALCULATES}, "key_required"),
        ({"Cookie": f"key={CALCULATES}"}, "key_required"),
        (bearer("wrong"), "key_not_accepted"),
        (bearer(CALCULATES[:-1]), "key_not_accepted"),
        (bearer(CALCULATES + "x"), "key_not_accepted"),
        (bearer(CALCULATES.upper()), "key_not_accepted"),
        (bearer(f"{CALCULATES} {PRICES}"), "key_not_accepted"),
        (bearer("\x00\xff"), "key_not_accepted"),
        (bearer("a.b.c"), "key_not_accepted"),
        (bearer(OLD), "key_expired"),
        (bearer(COMING), "key_expired"),
    ],
)
def test_nobody_gets_in_without_a_key_in_force(
    client: FlaskClient, method: str, path: str, headers: dict[str, str], code: str
) -> None:
    assert refusal(ask(client, method, path, headers)) == (401, code)


def test_the_digest_of_a_key_is_no_key(client: FlaskClient, keys: Path) -> None:
    for key in keys_of_file(keys):
        response = ask(client, "POST", SIZE, bearer(key.digest))
        assert refusal(response) == (401, "key_not_accepted")


@pytest.mark.parametrize("scheme", ["Bearer", "bearer", "BEARER"])
def test_the_scheme_is_compared_without_regard_to_case(client: FlaskClient, scheme: str) -> None:
    # RFC 9110, 11.1.
    headers = {"Authorization": f"{scheme} {CALCULATES}"}
    assert ask(client, "POST", SIZE, headers).status_code == 200


# --- keys in the address ---


def in_query(client: FlaskClient, key: str, **more: Any) -> Any:
    return client.get(SIZE, query_string={**CONDUCTOR, "key": key}, **more)


def test_the_key_of_a_spreadsheet_may_stand_in_the_address(client: FlaskClient) -> None:
    response = in_query(client, SHEET)
    assert response.status_code == 200
    assert response.get_json() == ask(client, "POST", SIZE, bearer(CALCULATES)).get_json()
    assert response.headers["Cache-Control"].startswith("private")


@pytest.mark.parametrize(
    ("key", "refused"),
    [
        (CALCULATES, (403, "key_not_permitted")),
        (SEES_COST, (403, "key_not_permitted")),
        (OLD, (401, "key_expired")),
        ("wrong", (401, "key_not_accepted")),
        ("", (401, "key_not_accepted")),
    ],
)
def test_no_other_key_may_stand_in_the_address(
    client: FlaskClient, key: str, refused: tuple[int, str]
) -> None:
    assert refusal(in_query(client, key)) == refused


def test_a_key_in_the_address_opens_nothing_but_get_of_calculators(client: FlaskClient) -> None:
    misplaced = (400, "key_misplaced")
    for path, body in ((SIZE, CONDUCTOR), (BILL, {}), (CHECK, {})):
        assert refusal(client.post(f"{path}?key={SHEET}", json=body)) == misplaced
        both = client.post(f"{path}?key={SHEET}", json=body, headers=bearer(CALCULATES))
        assert refusal(both) == misplaced
    assert refusal(client.get(f"{BOOKS}?key={SHEET}")) == misplaced
    assert refusal(in_query(client, SHEET, headers=bearer(CALCULATES))) == misplaced
    twice = client.get(SIZE, query_string=[*CONDUCTOR.items(), ("key", SHEET), ("key", SHEET)])
    assert refusal(twice) == misplaced


# --- what needs no key ---


def test_every_path_is_open_or_needs_a_key(client: FlaskClient) -> None:
    paths = {rule.rule for rule in client.application.url_map.iter_rules()}
    pages = page_paths(client.application)
    assert paths > OPEN_PATHS | pages
    assert not {path for path in pages if path.startswith("/v1/")}
    for path in paths:
        methods = {
            method
            for rule in client.application.url_map.iter_rules()
            if rule.rule == path
            for method in rule.methods - {"HEAD", "OPTIONS"}
        }
        for method in methods:
            response = client.open(path, method=method)
            if path in OPEN_PATHS | pages:
                assert response.status_code == 200
            else:
                assert refusal(response) == (401, "key_required")


def test_options_and_head_never_fail_for_want_of_a_key(client: FlaskClient) -> None:
    for headers in ({}, bearer("wrong"), bearer(OLD), bearer(PRICES)):
        asked = client.options(SIZE, query_string=CONDUCTOR, headers=headers)
        assert asked.status_code == 200
        assert set(asked.headers["Allow"].split(", ")) == {"GET", "HEAD", "OPTIONS", "POST"}
        head = client.head(SIZE, query_string=CONDUCTOR, headers=headers)
        assert (head.status_code, head.data) == (200, b"")
        # Nothing is told of the answer, not even its length or validator.
        assert "ETag" not in head.headers
        assert head.headers["Content-Length"] == "0"


def test_head_with_a_key_tells_what_get_would(client: FlaskClient) -> None:
    query = {**CONDUCTOR, "key": SHEET}
    head, get = client.head(SIZE, query_string=query), client.get(SIZE, query_string=query)
    for name in ("Content-Type", "Cache-Control", "Vary"):
        assert head.headers[name] == get.headers[name]
    # RFC 9110, 9.3.2: what is known only once the answer is made may be left out.
    assert not {"ETag", "Content-Length"} & set(head.headers.keys())
    head, get = (
        client.head(BOOKS, headers=bearer(PRICES)),
        client.get(BOOKS, headers=bearer(PRICES)),
    )
    assert head.status_code == get.status_code == 200
    assert head.headers["ETag"] == get.headers["ETag"]


def test_unknown_paths_and_methods_are_told_as_such(client: FlaskClient) -> None:
    assert client.get("/v1/nothing").status_code == 404
    assert client.put(SIZE).status_code == 405


def test_an_open_service_asks_for_no_key_but_for_cost(keys: Path) -> None:
    client = create_with(access="open", keys_file=keys).test_client()
    assert ask(client, "POST", SIZE, {}).status_code == 200
    assert ask(client, "POST", SIZE, bearer("wrong")).status_code == 200
    asked = {"job": demo_job("truck_24v"), "pricing": {"show_cost": True}}
    assert refusal(client.post(BILL, json=asked)) == (401, "key_required")
    refused = client.post(BILL, json=asked, headers=bearer(PRICES))
    assert refusal(refused) == (403, "key_not_permitted")
    assert refusal(client.post(f"{BILL}?key={SHEET}", json=asked)) == (400, "key_misplaced")
    seen = client.post(BILL, json=asked, headers=bearer(SEES_COST))
    assert "cost" in seen.get_json()


def test_cost_needs_its_scope_where_keys_are_needed_too(client: FlaskClient) -> None:
    asked = {"job": demo_job("truck_24v"), "pricing": {"show_cost": True}}
    refused = client.post(BILL, json=asked, headers=bearer(PRICES))
    assert refusal(refused) == (403, "key_not_permitted")
    assert "cost" in client.post(BILL, json=asked, headers=bearer(SEES_COST)).get_json()


# --- the file ---


def test_keys_rotate_without_a_restart(client: FlaskClient, keys: Path) -> None:
    new = "key-of-next-year"
    assert refusal(ask(client, "POST", SIZE, bearer(new))) == (401, "key_not_accepted")
    keys.write_text(entries() + key_entry(new, "calculate", identifier="seven"), "utf-8")
    assert ask(client, "POST", SIZE, bearer(new)).status_code == 200
    assert ask(client, "POST", SIZE, bearer(CALCULATES)).status_code == 200
    keys.write_text(key_entry(new, "calculate", identifier="seven"), "utf-8")
    assert refusal(ask(client, "POST", SIZE, bearer(CALCULATES))) == (401, "key_not_accepted")
    assert ask(client, "POST", SIZE, bearer(new)).status_code == 200


@pytest.mark.parametrize("text", ["[[keys]", "[[keys]]\n", None])
def test_a_file_that_is_broken_lets_nobody_in(
    client: FlaskClient, keys: Path, text: str | None, caplog: pytest.LogCaptureFixture
) -> None:
    assert ask(client, "POST", SIZE, bearer(CALCULATES)).status_code == 200
    if text is None:
        keys.unlink()
    else:
        keys.write_text(text, "utf-8")
    response = ask(client, "POST", SIZE, bearer(CALCULATES))
    assert refusal(response) == (503, "access_unavailable")
    assert response.headers["Retry-After"] == "30"
    assert str(keys) not in response.text
    assert "the file of keys cannot be used" in caplog.text


def test_every_digest_is_compared_in_constant_time(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    compared = []
    constant_time = hmac.compare_digest

    def compare(first: str, second: str) -> bool:
        compared.append(second)
        return constant_time(first, second)

    monkeypatch.setattr(key_file.hmac, "compare_digest", compare)
    for key in (CALCULATES, "wrong"):
        compared.clear()
        ask(client, "POST", SIZE, bearer(key))
        assert len(compared) == 6


GOOD = key_entry("x", "calculate")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("keys = 5", "no list of tables"),
        ("[tokens]\na = 1", "tokens is unknown"),
        (GOOD.replace('id = "test"', 'id = "a b"'), "id is 1 to 64"),
        (GOOD.replace("id =", "name ="), "name is unknown"),
        (GOOD.replace('sha256 = "', 'sha256 = "x'), "sha256 is 64"),
        (GOOD.replace("calculate", "everything"), "scope everything is unknown"),
        (GOOD.replace("['calculate']", "[]"), "scopes is a list"),
        (GOOD.replace("['calculate']", "['calculate', 'spreadsheet']"), "spreadsheet stands alone"),
        (GOOD + "expires = 2031-12-31T00:00:00\n", "times with an offset"),
        (GOOD + "expires = 2031-12-31\n", "times with an offset"),
        (
            GOOD + "not_before = 2031-12-31T00:00:00Z\nexpires = 2031-12-30T00:00:00Z\n",
            "not_before is not before",
        ),
        (GOOD + GOOD, "Two keys have the same id."),
        (GOOD + GOOD.replace('"test"', '"other"'), "Two keys have the same sha256."),
    ],
)
def test_a_fault_of_the_file_is_told(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "keys.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(KeyFileError, match=said):
        keys_of_file(path)


def test_all_faults_of_the_file_are_told_at_once(tmp_path: Path) -> None:
    path = tmp_path / "keys.toml"
    path.write_text('[[keys]]\nid = ""\n[[keys]]\nid = "b"\nscopes = ["x"]\nsha256 = ""', "utf-8")
    with pytest.raises(KeyFileError) as caught:
        keys_of_file(path)
    assert len(caught.value.faults) == 5
