"""Every text, name, parameter and header field with strings at which other programs fail.

Source: Big List of Naughty Strings (see ``lists/README.md``). No answer fails, none is of another
media type than it says, and whatever is refused is refused in good order.
"""

import itertools
from collections.abc import Iterator
from typing import Any
from urllib.parse import quote

import pytest
from public_lists import (
    OPERATIONS,
    example,
    member_places,
    naughty_strings,
    text_places,
    with_name,
    with_text,
)

from drawn_requests import client
from loomwright.web.problem_codes import CODES
from set_up import create_with, key_entry

CALCULATORS = ("size-conductor", "size-fuse", "estimate-real-output", "match-load-impedance")
# Those of HTTP that an application reads or that reach an answer; a field holds no line end and no
# NUL (RFC 9110, 5.5), which the server refuses (``tests/gate``).
FIELDS = (
    "Accept",
    "Accept-Encoding",
    "Accept-Language",
    "Authorization",
    "Content-Encoding",
    "Content-Type",
    "Host",
    "If-None-Match",
    "Origin",
    "Range",
    "Referer",
    "Transfer-Encoding",
    "X-Forwarded-For",
    "X-Forwarded-Host",
    "X-Request-Id",
)


def check(response, told: object) -> None:
    assert response.status_code < 500, (told, response.text)
    assert response.headers["X-Content-Type-Options"] == "nosniff"
    if response.status_code >= 400:
        assert response.content_type == "application/problem+json", told
        found = response.get_json()
        assert found["code"] in CODES, told
        assert found["status"] == response.status_code, told
    # Rows of a batch are written while they are worked out, behind the status.
    assert b'"internal_error"' not in response.data, (told, response.text[:2000])


def strings_from(place: int) -> Iterator[str]:
    """Yield all strings over and over, from one of them on."""
    strings = naughty_strings()
    return itertools.islice(itertools.cycle(strings), place % len(strings), None)


def turns() -> dict[str, int]:
    """Return with which string each operation begins, so that all together take every one."""
    counts = [len(list(text_places(example(each)))) for each in OPERATIONS]
    assert sum(counts) >= len(naughty_strings()) == 485
    return dict(zip(OPERATIONS, itertools.accumulate(counts, initial=0), strict=False))


@pytest.mark.parametrize("operation", OPERATIONS)
def test_every_text_of_a_body(operation: str) -> None:
    body = example(operation)
    for place, text in zip(text_places(body), strings_from(turns()[operation]), strict=False):
        told = (place, text)
        check(client().post(f"/v1/{operation}", json=with_text(body, place, text)), told)


@pytest.mark.parametrize("operation", OPERATIONS)
def test_every_name_of_a_member(operation: str) -> None:
    body = example(operation)
    for place, name in zip(member_places(body), strings_from(turns()[operation]), strict=False):
        told = (place, name)
        response = client().post(f"/v1/{operation}", json=with_name(body, place, name))
        check(response, told)


TABLES = ("book", "parts", "kits")


def test_every_string_as_the_name_of_what_is_sent_along() -> None:
    """Names of tables, of keys that later parts refer to, of mounted books and of providers."""
    for text in naughty_strings():
        for members in (
            {"price_book_csv": {text: "a,b\r\n"}},
            {"price_book_csv": dict.fromkeys(TABLES, text)},
            {"price_book_name": text},
            {"price_book_from": text},
            {"price_book_from": {"provider": text, "price_book": text}},
        ):
            check(client().post("/v1/check-price-book", json=members), (members, text))


@pytest.mark.parametrize("operation", CALCULATORS)
def test_every_string_in_a_query(operation: str) -> None:
    described = client().get("/v1/openapi.json").get_json()["paths"][f"/v1/{operation}"]["get"]
    names = [each["name"] for each in described["parameters"] if each.get("in") == "query"]
    assert {"as", "field", "key"} <= set(names) or len(names) > 5
    for name, text in zip(itertools.cycle(names), naughty_strings(), strict=False):
        check_query(f"{quote(name)}={quote(text)}", operation)
        check_query(f"{quote(text)}=1", operation)
    for name, text in zip(names, strings_from(0), strict=False):
        check_query(f"{quote(name)}={quote(text)}", operation)


def check_query(query: str, operation: str) -> None:
    response = client().get(f"/v1/{operation}?{query}")
    if "as=" not in query and "errors=" not in query:
        check(response, query)
    assert response.status_code < 500, (query, response.text)
    assert not response.content_type.startswith("text/html"), query


@pytest.mark.parametrize("form", ["text", "csv", "xml"])
def test_no_line_of_an_error_brings_markup_along(form: str) -> None:
    for text in naughty_strings():
        query = f"as={form}&series={quote(text)}&field={quote(text)}"
        response = client().get(f"/v1/size-conductor?{query}")
        assert 400 <= response.status_code < 500, text
        kind = {"text": "text/plain", "csv": "text/csv", "xml": "application/xml"}[form]
        assert response.mimetype == kind, (text, response.mimetype)
        assert response.headers["X-Content-Type-Options"] == "nosniff"
        if form == "xml":
            assert "<" not in response.text.partition("<error>")[2].removesuffix("</error>"), text


def test_every_string_as_a_path() -> None:
    for text in naughty_strings():
        for path in (f"/{quote(text)}", f"/v1/{quote(text)}", f"/assets/{quote(text)}"):
            response = client().get(path)
            assert response.status_code in (200, 400, 404, 405), (path, response.text)
            assert response.status_code != 200 or path in PAGES, path


# A string without a letter in it is the address of what stands at the root.
PAGES = frozenset({"/", "/v1/", "/assets/"})


def sent_as(text: str) -> str:
    """Return a string as WSGI hands on the bytes of a field (PEP 3333)."""
    plain = "".join(text.splitlines()).replace("\0", "").strip()
    return plain.encode().decode("latin-1")


@pytest.mark.parametrize("name", FIELDS)
def test_every_string_in_a_header_field(name: str) -> None:
    variable = name.upper().replace("-", "_")
    variable = variable if variable == "CONTENT_TYPE" else f"HTTP_{variable}"
    query = "/v1/size-conductor?series=awg&load_current=20&supply_voltage=12.6&length=4.5"
    body = b"{}"
    for text in naughty_strings():
        environ: dict[str, Any] = {variable: sent_as(text)}
        for response in (
            client().get(query, environ_overrides=environ),
            client().post("/v1/price-packages", data=body, environ_overrides=environ),
        ):
            assert response.status_code < 500, (name, text, response.text)
            for field, value in response.headers:
                assert "\r" not in value, (field, text)
                assert "\n" not in value, (field, text)
                assert not set("<>") & set(value), (field, text)


def test_no_string_is_a_key(tmp_path) -> None:
    keys = tmp_path / "keys.toml"
    keys.write_text(key_entry("the key of this test", "price"), "utf-8")
    reached, path = create_with(keys_file=keys).test_client(), "/v1/price-books"
    for text in naughty_strings():
        check_is_no_key(reached.get(f"{path}?key={quote(text)}"), text)
        for scheme in ("", "Bearer ", "Basic ", "bearer\t"):
            fields = {"HTTP_AUTHORIZATION": scheme + sent_as(text)}
            check_is_no_key(reached.get(path, environ_overrides=fields), text)


def check_is_no_key(response, text: str) -> None:
    assert response.status_code in (400, 401), (text, response.text)
    assert response.get_json()["code"] in CODES
