"""Price books of providers in requests, over HTTP and in process."""

import importlib.util
import os
import shutil
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from loomwright.jobs.demo_library import demo_job
from loomwright.web.app import create_app
from set_up import change_settings

SAMPLES = Path(__file__).parents[2] / "openapi" / "plugin" / "samples"
APP = create_app()
CLIENT = APP.test_client()
BILL, CHECK, BOOKS = "/v1/build-bill-of-materials", "/v1/check-price-book", "/v1/price-books"


def sample(name: str) -> Any:
    found = importlib.util.spec_from_file_location(name, SAMPLES / f"{name}.py")
    assert found is not None
    assert found.loader is not None
    module = importlib.util.module_from_spec(found)
    sys.modules[name] = module
    found.loader.exec_module(module)
    return module


CSV_PROVIDER, HTTP_PROVIDER = sample("csv_provider"), sample("http_provider")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    copy = tmp_path / "quayside"
    shutil.copytree(SAMPLES / "quayside", copy)
    (copy / "stock.csv").touch()
    return copy


@pytest.fixture
def configured(tmp_path: Path) -> Iterator[Any]:
    """Write the operator's list."""
    file = tmp_path / "providers.toml"

    def write(text: str) -> Path:
        file.write_text(text)
        change_settings(APP, providers_file=file)
        return file

    yield write
    change_settings(APP, providers_file=None)


def in_process(folder: Path, *more: str) -> str:
    lines = ['entry_point = "csv_provider:provider"', *more]
    return "\n".join(["[providers.shelf]", *lines, f'options = {{folder = "{folder}"}}', ""])


@contextmanager
def over_http(folder: Path, token: str = "") -> Iterator[str]:
    server = HTTP_PROVIDER.server_of(CSV_PROVIDER.CsvProvider(folder, "Sample"), token=token)
    thread = threading.Thread(target=server.serve_forever, args=(0.01,))
    thread.start()
    try:
        yield (
            "[providers.counter]\n"
            f'address = "http://127.0.0.1:{server.server_address[1]}"\n'
            'allowed_hosts = ["127.0.0.1"]\nprivate_addresses = true\n'
        )
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def billed(provider: str, book: str = "counter") -> Any:
    wanted = {"provider": provider, "price_book": book}
    return CLIENT.post(BILL, json={"job": demo_job("hybrid_jump_start"), "price_book_from": wanted})


def test_a_bill_on_the_prices_of_a_provider_carries_the_numbers_of_the_shop(
    folder: Path, configured: Any
) -> None:
    configured(in_process(folder))
    answer = billed("shelf").get_json()
    assert answer["price_book"]["name"] == "Quayside counter (invented)"
    assert answer["taxes"][0]["name"] == "VAT"
    numbers = dict(
        line.split(",") for line in (folder / "numbers.csv").read_text().splitlines()[1:]
    )
    parts = [line for line in answer["lines"] if line["kind"] != "labour"]
    assert len(parts) >= 1
    for line in parts:
        assert (line["shop_part_number"], line["shop_tax_code"]) == (numbers[line["key"]], "V21")
    labour = [line for line in answer["lines"] if line["kind"] == "labour"]
    assert {(line["shop_part_number"], line["shop_tax_code"]) for line in labour} == {(None, "V21")}


def test_over_http_and_in_process_give_the_same_bytes(folder: Path, configured: Any) -> None:
    configured(in_process(folder))
    near = billed("shelf").data
    with over_http(folder) as far:
        configured(far)
        assert billed("counter").data == near
        assert billed("counter").data == near


def test_a_changed_price_counts_at_once(folder: Path, configured: Any) -> None:
    with over_http(folder) as far:
        configured(far)
        before = billed("counter").get_json()
        parts = folder / "parts.csv"
        parts.write_text(parts.read_text().replace(",1.55,", ",3.10,"))
        after = billed("counter").get_json()
    assert after["price_book"]["digest"] != before["price_book"]["digest"]
    prices = [
        {line["key"]: line["unit_price"] for line in each["lines"]} for each in (before, after)
    ]
    assert [Decimal(each["C-4-RED"]) for each in prices] == [Decimal("1.55"), Decimal("3.10")]


def test_old_stock_is_a_caution_and_not_counted(folder: Path, configured: Any) -> None:
    configured(in_process(folder, "stock_stale_after_s = 3600"))
    fresh = billed("shelf").get_json()
    assert "stock_out_of_date" not in [entry["key"] for entry in fresh["cautions"]]
    assert any(line["in_stock"] is not None for line in fresh["lines"])
    os.utime(folder / "stock.csv", (0, 0))
    stale = billed("shelf").get_json()
    assert "stock_out_of_date" in [entry["key"] for entry in stale["cautions"]]
    assert all(line["in_stock"] is None for line in stale["lines"])
    checked = CLIENT.post(
        CHECK, json={"price_book_from": {"provider": "shelf", "price_book": "counter"}}
    ).get_json()
    assert [entry["key"] for entry in checked["cautions"]] == ["stock_out_of_date"]


def test_providers_are_listed_by_name(folder: Path, configured: Any) -> None:
    assert CLIENT.get(BOOKS).get_json()["providers"] == []
    with over_http(folder) as far:
        configured(in_process(folder) + far)
        assert CLIENT.get(BOOKS).get_json()["providers"] == ["counter", "shelf"]


def check_problem(response: Any, status: int, code: str, pointer: str) -> Any:
    assert response.status_code == status, response.get_data(as_text=True)
    problem = response.get_json()
    assert problem["code"] == code
    assert {fault["pointer"] for fault in problem["errors"]} == {pointer}
    return problem


def test_unknown_names_are_refused_with_those_there_are(folder: Path, configured: Any) -> None:
    configured(in_process(folder))
    problem = check_problem(billed("till"), 422, "unknown_provider", "/price_book_from/provider")
    assert "There are: shelf." in problem["detail"]
    problem = check_problem(
        billed("shelf", "autumn"), 422, "unknown_price_book", "/price_book_from/price_book"
    )
    assert "It has: counter." in problem["detail"]


def test_a_provider_that_is_away_says_when_to_come_back(folder: Path, configured: Any) -> None:
    with over_http(folder) as far:
        pass
    configured(far)
    response = billed("counter")
    problem = check_problem(response, 503, "provider_unavailable", "/price_book_from")
    assert response.headers["Retry-After"] == "30"
    assert "127.0.0.1" not in str(problem)


def test_every_fault_of_a_provider_is_named(folder: Path, configured: Any) -> None:
    configured(in_process(folder))
    (folder / "stock.csv").write_text("part,quantity\nGHOST,1\nF-15,many\n")
    problem = check_problem(billed("shelf"), 503, "provider_faulty", "/price_book_from")
    messages = [fault["message"] for fault in problem["errors"]]
    assert len(messages) == 2
    assert messages[0].startswith("/stock/stock/0/part: ")
    assert messages[1].startswith("/stock/stock/1/quantity: ")


@pytest.mark.parametrize(
    ("entry_point", "words"),
    [
        ("no_such_module:provider", "ModuleNotFoundError"),
        ("csv_provider:nothing", "AttributeError"),
        ("not_installed", "ValueError"),
    ],
)
def test_a_provider_that_cannot_be_loaded_is_unavailable(
    configured: Any, entry_point: str, words: str
) -> None:
    configured(f'[providers.shelf]\nentry_point = "{entry_point}"\n')
    problem = check_problem(billed("shelf"), 503, "provider_unavailable", "/price_book_from")
    assert words in problem["detail"]


def test_a_faulty_list_is_the_operators_fault(configured: Any) -> None:
    file = configured("[providers.shelf]\ncolour = 1\n")
    response = CLIENT.get(BOOKS)
    assert response.status_code == 503
    assert response.get_json()["code"] == "provider_faulty"
    file.unlink()
    assert CLIENT.get(BOOKS).get_json()["code"] == "provider_faulty"


def test_nobody_is_asked_for_a_request_that_is_refused_all_the_same(
    folder: Path, configured: Any
) -> None:
    configured(in_process(folder))
    (folder / "book.csv").unlink()
    response = CLIENT.post(
        BILL, json={"price_book_from": {"provider": "shelf", "price_book": "counter"}}
    )
    check_problem(response, 422, "invalid_request", "/job")


@pytest.mark.parametrize(
    ("stated", "pointer"),
    [
        ({"provider": "shelf"}, "/price_book_from/price_book"),
        ({"provider": 3, "price_book": "x"}, "/price_book_from/provider"),
        ([], "/price_book_from"),
        ({"provider": "a", "price_book": "b", "c": 1}, "/price_book_from/c"),
    ],
)
def test_faults_of_the_choice_are_named(stated: Any, pointer: str) -> None:
    body = {"job": demo_job("hybrid_jump_start"), "price_book_from": stated}
    check_problem(CLIENT.post(BILL, json=body), 422, "invalid_request", pointer)
