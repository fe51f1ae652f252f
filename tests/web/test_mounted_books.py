"""Price books that the operator mounts: found by name, read again when they change, never stale."""

import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from drawn_requests import validator
from loomwright.jobs.demo_library import demo_job, demo_price_book
from loomwright.pricing.book_csv import csv_of_document
from loomwright.pricing.book_document import price_book_digest
from loomwright.web import file_state, mounted_books
from loomwright.web.app import create_app
from set_up import change_settings

URL = "/v1/build-bill-of-materials"
Document = dict[str, Any]
Bill = Callable[[str], Any]


@pytest.fixture
def client() -> FlaskClient:
    return create_app().test_client()


@pytest.fixture
def folder(client: FlaskClient, tmp_path: Path) -> Path:
    """A folder of price books that the service looks into."""
    books = tmp_path / "books"
    books.mkdir()
    change_settings(client.application, price_books=books)
    return books


@pytest.fixture
def bill(client: FlaskClient) -> Bill:
    """Price a demo job from the mounted book of a name."""

    def post(name: str) -> Any:
        return client.post(URL, json={"job": demo_job("truck_24v"), "price_book_name": name})

    return post


def put_json(folder: Path, name: str, document: Document) -> Path:
    path = folder / f"{name}.json"
    path.write_text(json.dumps(document), "utf-8")
    return path


def put_csv(folder: Path, name: str, document: Document) -> Path:
    path = folder / name
    path.mkdir()
    for table, text in csv_of_document(document).items():
        (path / f"{table}.csv").write_text(text, "utf-8", newline="")
    return path


def dearer() -> Document:
    book = demo_price_book()
    for operation in book["labour"]:
        operation["hourly_rate"] = "99.00"
    return book


def faulty(response: Any) -> list[str]:
    """Messages of a refusal that blames the mounted book."""
    problem = response.get_json()
    assert (response.status_code, problem["code"]) == (503, "price_book_faulty")
    validator("Problem").validate(problem)
    assert {error["pointer"] for error in problem["errors"]} <= {"/price_book_name"}
    return [error["message"] for error in problem["errors"]]


@pytest.mark.parametrize("put", [put_json, put_csv])
def test_a_mounted_book_serves_as_one_that_is_sent(
    client: FlaskClient, folder: Path, bill: Bill, put: Callable[[Path, str, Document], Path]
) -> None:
    put(folder, "dear", dearer())
    sent = client.post(URL, json={"job": demo_job("truck_24v"), "price_book": dearer()})
    mounted = bill("dear")
    assert mounted.status_code == sent.status_code == 200
    assert mounted.data == sent.data


@pytest.mark.parametrize(
    "name",
    [
        "winter",
        "../books/summer",
        "..",
        ".",
        "summer.json",
        "/etc/passwd",
        "books/summer",
        "summer/",
        "summer\\",
        "SUMMER",
        "summer%00",
        "~",
        "hidden name",
    ],
)
def test_a_name_that_is_not_mounted_is_told_those_that_are(
    folder: Path, bill: Bill, name: str
) -> None:
    put_json(folder, "summer", demo_price_book())
    put_csv(folder, "autumn_2", demo_price_book())
    put_json(folder, "hidden name", demo_price_book())
    put_json(folder, ".hidden", demo_price_book())
    put_json(folder.parent, "outside", demo_price_book())
    (folder / "notes.txt").write_text("not a book", "utf-8")
    response = bill(name)
    problem = response.get_json()
    assert (response.status_code, problem["code"]) == (422, "unknown_price_book")
    ((pointer, message),) = [(e["pointer"], e["message"]) for e in problem["errors"]]
    assert pointer == "/price_book_name"
    assert message.endswith("There are: autumn_2, summer.")


def test_no_name_is_known_where_nothing_is_mounted(bill: Bill) -> None:
    assert bill("summer").get_json()["detail"].endswith("There are: none.")


def test_a_changed_file_serves_at_once(folder: Path, bill: Bill) -> None:
    path = put_json(folder, "summer", demo_price_book())
    first = bill("summer").get_json()
    assert first["price_book"]["digest"] == price_book_digest(demo_price_book())
    path.write_text(json.dumps(dearer()), "utf-8")
    second = bill("summer").get_json()
    assert second["price_book"]["digest"] == price_book_digest(dearer())
    assert float(second["total"]) > float(first["total"])


def test_a_change_that_keeps_time_and_size_serves_too(folder: Path, bill: Bill) -> None:
    path = put_json(folder, "summer", demo_price_book())
    before = path.stat()
    bill("summer")
    text = path.read_text("utf-8")
    assert text.count('"68.00"') > 3
    path.write_text(text.replace('"68.00"', '"86.00"'), "utf-8")
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert path.stat().st_size == before.st_size
    assert path.stat().st_mtime_ns == before.st_mtime_ns
    labour = [line for line in bill("summer").get_json()["lines"] if line["kind"] == "labour"]
    assert {line["unit_price"] for line in labour} == {"86.00"}


def test_a_changed_added_or_removed_table_serves_at_once(folder: Path, bill: Bill) -> None:
    path = put_csv(folder, "summer", demo_price_book())
    assert bill("summer").get_json()["taxes"]
    (path / "taxes.csv").unlink()
    assert bill("summer").get_json()["taxes"] == []
    (path / "taxes.csv").write_text("key,name,percent\nvat,VAT,10\n", "utf-8")
    (tax,) = bill("summer").get_json()["taxes"]
    assert tax["percent"] == "10"


def test_a_settled_book_is_parsed_once(
    folder: Path, bill: Bill, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_json(folder, "summer", demo_price_book())
    monkeypatch.setattr(file_state, "SETTLED_NS", 0)
    parsed: list[object] = []
    read = mounted_books.price_book_from_document

    def counted(document: object) -> Any:
        parsed.append(document)
        return read(document)

    monkeypatch.setattr(mounted_books, "price_book_from_document", counted)
    assert [bill("summer").status_code for _ in range(3)] == [200] * 3
    assert len(parsed) == 1


def test_a_half_written_book_is_refused_and_never_served_stale(folder: Path, bill: Bill) -> None:
    path = put_json(folder, "summer", demo_price_book())
    assert bill("summer").status_code == 200
    text = path.read_text("utf-8")
    path.write_text(text[: len(text) // 2], "utf-8")
    (message,) = faulty(bill("summer"))
    assert message.startswith("summer: Not JSON: ")
    path.write_text(text, "utf-8")
    assert bill("summer").status_code == 200


def test_every_fault_of_a_mounted_book_is_named_by_its_file(folder: Path, bill: Bill) -> None:
    book = demo_price_book()
    path = put_csv(folder, "summer", book)
    rows = (path / "parts.csv").read_text("utf-8").replace("685.00", "685 EUR")
    (path / "parts.csv").write_text(rows, "utf-8", newline="")
    (path / "part.csv").write_text("", "utf-8")
    messages = faulty(bill("summer"))
    assert len(messages) == 2
    assert any(text.startswith("summer/part.csv: Unknown table") for text in messages)
    assert any(text.startswith("summer/parts.csv: row 5, column unit_price: ") for text in messages)
    book["currency"] = "EURO"
    put_json(folder, "autumn", book)
    (message,) = faulty(bill("autumn"))
    assert message.startswith("autumn/currency: ")


def unreadable_folder(folder: Path) -> None:
    (folder / "summer").mkdir()


def not_utf_8(folder: Path) -> None:
    (put_csv(folder, "summer", demo_price_book()) / "taxes.csv").write_bytes(b"key\xff")


def json_that_is_a_dangling_link(folder: Path) -> None:
    (folder / "summer.json").symlink_to(folder / "gone.json")


def both_forms(folder: Path) -> None:
    put_json(folder, "summer", demo_price_book())
    put_csv(folder, "summer", demo_price_book())


def nan_in_json(folder: Path) -> None:
    (folder / "summer.json").write_text('{"name": NaN}', "utf-8")


@pytest.mark.parametrize(
    "spoil",
    [unreadable_folder, not_utf_8, json_that_is_a_dangling_link, both_forms, nan_in_json],
)
def test_files_that_are_no_book_are_refused_without_their_path(
    folder: Path, bill: Bill, spoil: Callable[[Path], None]
) -> None:
    spoil(folder)
    response = bill("summer")
    assert len(faulty(response)) == 1
    assert str(folder) not in response.get_data(as_text=True)


def test_a_file_that_keeps_changing_is_refused(
    folder: Path, bill: Bill, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = put_json(folder, "summer", demo_price_book())
    read = mounted_books.price_book_from_document

    def changing(document: object) -> Any:
        path.write_text(path.read_text("utf-8") + " ", "utf-8")
        return read(document)

    monkeypatch.setattr(mounted_books, "price_book_from_document", changing)
    assert faulty(bill("summer")) == ["summer: It changes while it is read."]


def test_a_folder_that_is_not_there_is_the_operators_fault(
    client: FlaskClient, folder: Path, bill: Bill
) -> None:
    folder.rmdir()
    for response in (bill("summer"), client.get("/v1/price-books")):
        assert faulty(response) == []
        assert str(folder) not in response.get_data(as_text=True)
    assert client.post(URL, json={"job": demo_job("truck_24v")}).status_code == 200


def test_faults_of_the_request_come_first(client: FlaskClient, folder: Path) -> None:
    put_json(folder, "summer", {})
    response = client.post(URL, json={"price_book_name": "summer"})
    assert response.status_code == 422
    assert [error["pointer"] for error in response.get_json()["errors"]] == ["/job"]


def test_mounted_books_are_listed_without_prices(client: FlaskClient, folder: Path) -> None:
    dated = {**demo_price_book(), "valid_from": "2031-01-01", "valid_until": "2031-12-31"}
    put_json(folder, "summer", dated)
    put_csv(folder, "autumn", demo_price_book())
    put_json(folder, "broken", {"name": "x"})
    response = client.get("/v1/price-books")
    assert response.status_code == 200
    answer = response.get_json()
    validator("PriceBooksAnswer").validate(answer)
    nothing = dict.fromkeys(("title", "digest", "currency", "valid_from", "valid_until"))
    open_ended = {"valid_from": None, "valid_until": None}
    shared = {"is_readable": True, "title": dated["name"], "currency": "EUR"}
    assert answer["price_books"] == [
        {
            "name": "autumn",
            **shared,
            **open_ended,
            "digest": price_book_digest(demo_price_book()),
        },
        {"name": "broken", "is_readable": False, **nothing},
        {
            "name": "summer",
            **shared,
            "digest": price_book_digest(dated),
            "valid_from": "2031-01-01",
            "valid_until": "2031-12-31",
        },
    ]


def test_no_books_are_listed_where_none_are_mounted(client: FlaskClient) -> None:
    assert client.get("/v1/price-books").get_json()["price_books"] == []
