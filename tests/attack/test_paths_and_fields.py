"""Names that would be paths, and texts that would be further header fields.

Source: CWE-22, CWE-113; OWASP Path Traversal (encodings); RFC 9110, 5.5 (what a field value holds).
"""

import json
import re
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from injected import BILL, PLAN, is_taken, request_body
from public_lists import naughty_strings

from drawn_requests import client
from loomwright.jobs.demo_library import demo_price_book
from set_up import create_with

SECRET = "Brackwater secret prices"
TRAVERSALS = (
    "../secret",
    "..\\secret",
    "../../secret",
    "./../secret",
    "....//secret",
    "..%2fsecret",
    "%2e%2e%2fsecret",
    "%252e%252e%252fsecret",
    "..%c0%afsecret",
    "..%5csecret",
    "/secret",
    "//secret",
    "file:///secret",
    "book/../../secret",
    "book/../../secret\0",
    "book\0.json",
    "book.json",
    "book ",
    ".",
    "..",
    "",
    "~/secret",
    "\u2025/secret",
    "\uff0e\uff0e/secret",
    "..\uff0fsecret",
    "/etc/passwd",
    "CON",
    "book::$DATA",
)


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> tuple[FlaskClient, Path]:
    """A service with one mounted book, and a sound book outside of the folder."""
    folder = tmp_path_factory.mktemp("shop")
    mounted = folder / "mounted"
    mounted.mkdir()
    book = demo_price_book()
    (mounted / "book.json").write_text(json.dumps(book), "utf-8")
    outside = json.dumps({**book, "name": SECRET})
    for name in ("secret.json", "passwd.json"):
        (folder / name).write_text(outside, "utf-8")
    return create_with(price_books=mounted).test_client(), folder


def test_the_mounted_book_is_found(shop: tuple[FlaskClient, Path]) -> None:
    found = shop[0].post("/v1/check-price-book", json={"price_book_name": "book"})
    assert found.status_code == 200, found.text


@pytest.mark.parametrize("name", TRAVERSALS)
def test_no_name_of_a_book_leads_out_of_its_folder(
    shop: tuple[FlaskClient, Path], name: str
) -> None:
    reached, folder = shop
    absolute = str(folder / name.removeprefix("/"))
    for text in (name, f"{name}.json", absolute):
        for path in ("/v1/check-price-book", BILL, PLAN):
            body = {**request_body(["Plain"]), "price_book_name": text}
            del body["price_book"]
            if path == "/v1/check-price-book":
                body = {"price_book_name": text}
            response = reached.post(path, json=body)
            assert response.status_code in (404, 422), (path, text, response.text)
            assert SECRET not in response.text
            assert str(folder) not in response.text.replace(json.dumps(absolute)[1:-1], "")


@pytest.mark.parametrize("name", TRAVERSALS)
def test_no_name_of_a_provider_or_table_is_a_path(
    shop: tuple[FlaskClient, Path], name: str
) -> None:
    for members in (
        {"price_book_from": {"provider": name, "price_book": name}},
        {"price_book_csv": {name: "key\r\n"}},
    ):
        response = shop[0].post("/v1/check-price-book", json=members)
        assert response.status_code in (200, 404, 422), response.text
        assert response.status_code != 200 or response.get_json()["verdict"] == "not_usable"
        assert SECRET not in response.text


@pytest.mark.parametrize("name", TRAVERSALS)
def test_no_language_kind_or_paper_is_a_path(name: str) -> None:
    for wish in ("language", "units", "kind", "plan", "paper"):
        body = {**request_body(["Plain"]), "document": {wish: name}}
        response = client().post(PLAN, json=body, headers={"Accept": "text/html"})
        assert response.status_code == 422, (wish, response.text[:500])
        assert any(
            fault["pointer"].startswith("/document") for fault in response.get_json()["errors"]
        )


STEPS = (
    "../",
    "..%2f",
    "..%5c",
    "%2e%2e/",
    "..;/",
    "....//",
    "..%00/",
    "..%c0%af",
    "%252e%252e%252f",
)


@pytest.mark.parametrize(
    "folder", ["/assets/", "/plugin/", "/bench/", "/reference/", "/", "/v1/", "/v1/problems/"]
)
def test_no_address_of_a_page_leads_to_a_file(folder: str) -> None:
    """What is encoded twice or in another way reaches the service as it is, behind any proxy."""
    for step in STEPS:
        for depth in (1, 3, 8):
            for file in (
                "etc/passwd",
                "pyproject.toml",
                "app.py",
                "settings.py",
                "recorded_examples.json",
            ):
                response = client().get(f"{folder}{step * depth}{file}")
                assert response.status_code in (400, 404), (response.request.path, response.text)
                assert "root:" not in response.text
                assert "loomwright" not in response.text.replace("/loomwright", "")


FIELD = re.compile(r"[\t\x20-\x7e]*")
SPLITS = (
    "a\r\nSet-Cookie: a=b",
    "a\nSet-Cookie: a=b",
    "a\rSet-Cookie: a=b",
    "a\r\n\r\n<script>alert(1)</script>",
    "a%0d%0aSet-Cookie: a=b",
    "a\u560d\u560aSet-Cookie: a=b",
    "a\u010d\u010aSet-Cookie: a=b",
    "a\u0085b\u2028c",
    'a"; filename="b.exe',
    'a";\\" x',
    "a\0b",
    "\u202egpj.exe",
    "a; charset=utf-7",
    "../../a",
    "x" * 500,
)


def check_fields(response, text: str) -> None:
    assert response.status_code < 500, response.text
    for name, value in response.headers:
        assert FIELD.fullmatch(value), (name, value, text)
    assert "Set-Cookie" not in response.headers
    assert "Location" not in response.headers


@pytest.mark.parametrize(
    "text", [*SPLITS, *(each for each in naughty_strings() if is_taken(each))][:400:3]
)
def test_no_text_of_a_body_becomes_a_header_field(text: str) -> None:
    body = request_body(["Plain"])
    body["paperwork"]["number"] = text
    for media_type in ("text/html", "text/csv", "application/xml", "text/calendar"):
        response = client().post(BILL, json=body, headers={"Accept": media_type})
        check_fields(response, text)
        named = response.headers.get("Content-Disposition", "")
        assert re.fullmatch(r'(inline; filename="[A-Za-z0-9-]{1,80}\.[a-z]{3,4}")?', named), named
        assert response.status_code in (200, 422)


@pytest.mark.parametrize("text", SPLITS)
def test_no_text_of_a_query_or_field_becomes_another_field(text: str) -> None:
    plain = text.replace("\r", "").replace("\n", "").encode().decode("latin-1")
    for name in ("as", "errors", "field", "series", "key", text):
        check_fields(client().get("/v1/size-conductor", query_string={name: text}), text)
    for name in ("X_REQUEST_ID", "ORIGIN", "HOST", "ACCEPT", "ACCEPT_LANGUAGE", "IF_NONE_MATCH"):
        # As a server would never hand them on, and as one that lets too much through might.
        for value in (plain, text.encode().decode("latin-1")):
            response = client().get("/v1/problems", environ_overrides={f"HTTP_{name}": value})
            check_fields(response, text)
    check_fields(client().get(f"/{text}"), text)
