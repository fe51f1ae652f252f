"""What a provider can neither lead to, nor hold up, nor fill; and additions that it may make."""

import copy
import importlib
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import urllib3.connection
from hostile import Answer, answering, dripping, json_answer, plainly

from loomwright.pricing.book_document import price_book_from_document
from loomwright.providers import over_http
from loomwright.providers.configuration import HttpSettings, ProcessSettings
from loomwright.providers.connection import RefusedError, received
from loomwright.providers.in_process import ProcessProvider
from loomwright.providers.over_http import HttpProvider
from loomwright.providers.provided_book import provided_book
from loomwright.providers.provider import KINDS, FaultyError, UnavailableError

NOW = datetime(2031, 4, 30, 8, 0, tzinfo=UTC)
VERSION = {"specification": "1.0"}
Document = dict[str, Any]


def settings(
    address: str, *, private: bool = True, timeout_s: float = 20.0, greatest: int = 100_000
) -> HttpSettings:
    hosts = ("127.0.0.1", "shop.example")
    return HttpSettings(address, hosts, private, None, timeout_s, greatest)


# RFC 6052 (NAT64), RFC 3056 (6to4), RFC 4380 (Teredo), RFC 8215 (local NAT64), RFC 4291 (IPv4
# compatible), RFC 3879 (site-local), each around 127.0.0.1 or 10.0.0.1 where it can be.
@pytest.mark.parametrize(
    "address",
    [
        "64:ff9b::7f00:1",
        "64:ff9b::a00:1",
        "2002:7f00:1::1",
        "2002:a00:1::1",
        "2001:0:7f00:1::",
        "64:ff9b:1::a00:1",
        "::127.0.0.1",
        "::10.0.0.1",
        "fec0::1",
        "2001:db8::1",
    ],
)
def test_private_address_within_another_is_refused(address: str) -> None:
    reached = settings("https://shop.example", private=False)
    with pytest.raises(RefusedError, match="not allowed"):
        received(reached, "/", {}, lambda *_: [address])


@pytest.mark.parametrize("address", ["2606:4700::1111", "64:ff9b::5db8:d822"])
def test_public_address_within_another_is_connected_to(
    address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def connect(connection: urllib3.connection.HTTPConnection) -> None:
        # No test goes to the network; this is as far as it gets.
        raise OSError(connection.host)

    monkeypatch.setattr(urllib3.connection.HTTPSConnection, "connect", connect)
    with pytest.raises(OSError, match=address):
        received(settings("https://shop.example", private=False), "/", {}, lambda *_: [address])


def test_greeting_of_tls_that_outlasts_the_limit_is_followed_by_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """While TLS greets, the socket is in the hands of nobody who could end it."""
    plain = urllib3.connection.HTTPConnection.connect

    def greeting(connection: urllib3.connection.HTTPConnection) -> None:
        plain(connection)
        connection.sock, held = None, connection.sock
        time.sleep(0.3)
        connection.sock = held

    monkeypatch.setattr(urllib3.connection.HTTPConnection, "connect", greeting)
    with answering(dripping(b"HTTP/1.1 200 OK\r\nX-Slow:")) as (address, requests):
        with pytest.raises(TimeoutError):
            received(settings(address, timeout_s=0.2), "/", {})
        assert requests in ([], [b""])


def test_certificate_is_asked_for_by_the_name_and_not_by_the_address() -> None:
    """The hello of TLS names the host (RFC 6066, section 3) and comes before the request."""
    with answering(json_answer(b"{}")) as (address, requests):
        port = address.rpartition(":")[2]
        with pytest.raises(OSError, match=r"(?i)ssl"):
            received(settings(f"https://shop.example:{port}"), "/", {}, lambda *_: ["127.0.0.1"])
    assert b"shop.example" in requests[0]
    assert b"GET" not in requests[0]


def test_body_that_breaks_off_is_no_document() -> None:
    def broken(connection: Any) -> None:
        connection.sendall(b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\n")
        connection.sendall(b'Content-Length: 1000\r\n\r\n{"specification": "1.0"}')

    with answering(broken) as (address, _), pytest.raises(UnavailableError):
        HttpProvider("shop", settings(address)).capabilities()


def test_token_goes_to_no_other_host(tmp_path: Path) -> None:
    token = tmp_path / "token"
    token.write_text("secret-of-the-shop")
    with answering(json_answer(b"{}")) as (elsewhere, strangers):

        def away(connection: Any) -> None:
            plainly(b"", "302 Found", f"Location: {elsewhere}/")(connection)

        with answering(away) as (address, requests):
            reached = HttpSettings(address, ("127.0.0.1",), True, token, 20.0, 1000)
            with pytest.raises(UnavailableError, match="302"):
                HttpProvider("shop", reached).capabilities()
        assert b"Bearer secret-of-the-shop" in requests[0]
        assert strangers == []


def test_host_that_nobody_can_look_up_makes_the_provider_unavailable() -> None:
    """A label of a name has at most 63 characters (RFC 1035, section 2.3.4)."""
    host = f"{'a' * 64}.example"
    reached = HttpSettings(f"http://{host}", (host,), True, None, 20.0, 1000)
    with pytest.raises(UnavailableError, match="is not reached"):
        HttpProvider("shop", reached).capabilities()


def test_token_that_no_request_can_carry_makes_the_provider_unavailable(tmp_path: Path) -> None:
    token = tmp_path / "token"
    token.write_text("two\nlines")
    with answering(json_answer(b"{}")) as (address, _):
        reached = HttpSettings(address, ("127.0.0.1",), True, token, 20.0, 1000)
        with pytest.raises(UnavailableError, match="is not reached"):
            HttpProvider("shop", reached).capabilities()


def test_answer_that_is_not_http_is_no_document() -> None:
    def other(connection: Any) -> None:
        connection.sendall(b"SSH-2.0-other\r\n")

    with answering(other) as (address, _), pytest.raises(UnavailableError):
        HttpProvider("shop", settings(address)).capabilities()


def tagged(body: bytes) -> Answer:
    return json_answer(body, 'ETag: "same"')


def test_documents_that_are_kept_are_bounded_and_the_least_used_go(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(over_http, "_KEPT_BYTES", 3 * (over_http._BESIDE_BYTES + 100))
    with answering(tagged(b"{" + b" " * 98 + b"}")) as (address, requests):
        provider = HttpProvider("shop", settings(address))
        for name in ("a", "b", "c"):
            provider.price_book(name)
        for name in ("a", "d"):
            provider.price_book(name)
        kept = [b"If-None-Match" in _request_for(provider, requests, name) for name in "acdb"]
    # "b" was used longest ago when "d" came, and is the one that is asked for anew.
    assert kept == [True, True, True, False]


def _request_for(provider: HttpProvider, requests: list[bytes], name: str) -> bytes:
    provider.price_book(name)
    return requests[-1]


def documents() -> Document:
    """Documents of a right provider, without tax categories."""
    sold = {
        "key": "A",
        "kind": "equipment",
        "description": "Part A",
        "attributes": {"reference": "A"},
        "unit": "EA",
        "unit_price": "10.00",
    }
    taxes = [{"key": "vat", "name": "VAT", "percent": "21"}]
    return {
        "capabilities": {
            **VERSION,
            "roles": ["provider"],
            "name": "Wren (invented)",
            "serves": list(KINDS),
            "price_books": ["spring"],
        },
        "price_book": {
            **VERSION,
            "price_book": {"name": "Spring", "currency": "EUR", "taxes": taxes, "parts": [sold]},
        },
        "labour_rates": {**VERSION, "currency": "EUR", "labour": {}},
        "tax_rules": {**VERSION, "tax_rules": {}},
        "stock": {
            **VERSION,
            "as_of": "2031-04-30T07:59:00Z",
            "stock": [{"part": "A", "quantity": "12"}],
        },
        "mapping": {**VERSION, "parts": [{"part": "A", "shop_part_number": "00123"}]},
    }


class Stated:
    """A provider of given documents."""

    def __init__(self, stated: Document) -> None:
        self.stated = stated

    def capabilities(self) -> Any:
        return copy.deepcopy(self.stated["capabilities"])

    def __getattr__(self, kind: str) -> Any:
        return lambda _: copy.deepcopy(self.stated[kind])


def book_of(stated: Document) -> Any:
    return provided_book("shop", Stated(stated), "spring", NOW, None).book


def test_members_that_nobody_knows_are_let_pass_in_entries_too() -> None:
    stated = documents()
    stated["stock"]["stock"][0]["x_shelf"] = "7"
    stated["mapping"]["parts"][0]["x_shelf"] = "7"
    assert book_of(stated) == book_of(documents())


def test_book_without_tax_categories_has_the_standard_one_to_map() -> None:
    stated = documents()
    stated["mapping"]["tax_categories"] = [{"tax_category": "standard", "shop_tax_code": "021"}]
    book = book_of(stated)
    assert book.shop_tax_codes == {"standard": "021"}
    assert book.tax_categories == book_of(documents()).tax_categories


def test_rounding_of_tax_is_a_tax_rule() -> None:
    stated = documents()
    stated["tax_rules"]["tax_rules"]["rounding"] = {"tax": "line"}
    expected = {**stated["price_book"]["price_book"], "rounding": {"tax": "line"}}
    assert book_of(stated).rounding == price_book_from_document(expected).rounding


@pytest.mark.parametrize("key", [None, 7, [], {}])
@pytest.mark.parametrize("member", ["taxes", "tax_categories", "parts"])
def test_key_that_is_no_text_is_a_fault_of_the_provider(member: str, key: Any) -> None:
    stated = documents()
    stated["mapping"]["tax_categories"] = [{"tax_category": "standard", "shop_tax_code": "021"}]
    book = stated["price_book"]["price_book"]
    book["tax_categories"] = [{"key": "standard", "taxes": []}]
    book[member][0]["key"] = key
    with pytest.raises(FaultyError):
        book_of(stated)


@pytest.mark.parametrize("member", ["taxes", "tax_categories", "parts", "kits"])
@pytest.mark.parametrize("value", [None, 7, "text", {}, [7], [None], [[]]])
def test_list_that_is_none_is_a_fault_of_the_provider(member: str, value: Any) -> None:
    stated = documents()
    stated["mapping"]["tax_categories"] = [{"tax_category": "standard", "shop_tax_code": "021"}]
    stated["price_book"]["price_book"][member] = value
    with pytest.raises(FaultyError):
        book_of(stated)


def test_same_documents_are_read_once_and_any_change_is_read_anew() -> None:
    first = book_of(documents())
    assert book_of(documents()) is first
    changed = documents()
    changed["stock"]["stock"][0]["quantity"] = "12.0"
    assert book_of(changed) is not first
    faulty = documents()
    # An empty object in place of a list has no part in the digest, and is a fault all the same.
    faulty["price_book"]["price_book"]["kits"] = {}
    with pytest.raises(FaultyError):
        book_of(faulty)


FACTORY = """
import time
made = []
class Provider:
    def capabilities(self): return {"made": len(made)}
def provider(options):
    time.sleep(0.05)
    made.append(options)
    return Provider()
"""


@pytest.fixture
def installed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """A plugin that is installed with an entry point, as far as Python can tell."""
    name = f"plugin_{tmp_path.name}".replace("-", "_")
    (tmp_path / f"{name}.py").write_text(FACTORY)
    told = tmp_path / f"{name}-1.0.dist-info"
    told.mkdir()
    (told / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name}\nVersion: 1.0\n")
    (told / "entry_points.txt").write_text(f"[loomwright.providers]\n{name} = {name}:provider\n")
    monkeypatch.syspath_prepend(tmp_path)
    importlib.invalidate_caches()
    return name


def test_entry_point_is_found_by_its_name(installed: str) -> None:
    provider = ProcessProvider("shelf", ProcessSettings(installed, {"folder": "x"}))
    assert provider.capabilities() == {"made": 1}
    assert sys.modules[installed].made == [{"folder": "x"}]


def test_factory_is_called_once_whoever_comes_meanwhile(installed: str) -> None:
    options = {"folder": "y"}

    def ask(_: int) -> Any:
        return ProcessProvider(
            "shelf", ProcessSettings(f"{installed}:provider", options)
        ).capabilities()

    with ThreadPoolExecutor(8) as pool:
        assert list(pool.map(ask, range(8))) == [{"made": 1}] * 8
