"""One price book out of a provider's documents: what replaces what, and where each fault stands."""

import copy
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest

from loomwright.pricing.book_document import price_book_from_document
from loomwright.providers.provided_book import ProvidedBook, provided_book
from loomwright.providers.provider import (
    KINDS,
    FaultyError,
    UnavailableError,
    UnknownBookError,
)

NOW = datetime(2031, 4, 30, 8, 0, tzinfo=UTC)
Document = dict[str, Any]


def part(key: str, **members: Any) -> Document:
    return {
        "key": key,
        "kind": "equipment",
        "description": f"Part {key}",
        "attributes": {"reference": key},
        "unit": "EA",
        "unit_price": "10.00",
        **members,
    }


def documents() -> Document:
    named = {"specification": "1.0"}
    return {
        "capabilities": {
            **named,
            "roles": ["provider"],
            "name": "Wren (invented)",
            "serves": list(KINDS),
            "price_books": ["spring"],
        },
        "price_book": {
            **named,
            "price_book": {
                "name": "Spring",
                "currency": "EUR",
                "taxes": [{"key": "old", "name": "Old", "percent": "1"}],
                "tax_categories": [{"key": "standard", "taxes": ["old"]}],
                "parts": [part("A", stock="1"), part("B", stock="2")],
                "kits": [
                    {
                        "key": "K",
                        "description": "Kit",
                        "contents": [{"part": "A", "quantity": "2"}],
                        "unit_price": "15",
                    }
                ],
                "labour_minimum": "5.00",
            },
        },
        "labour_rates": {**named, "currency": "EUR", "labour": {"labour_minimum": "40.00"}},
        "tax_rules": {
            **named,
            "tax_rules": {
                "taxes": [{"key": "vat", "name": "VAT", "percent": "21"}],
                "tax_categories": [{"key": "standard", "taxes": ["vat"]}],
            },
        },
        "stock": {
            **named,
            "as_of": "2031-04-30T09:00:00+02:00",
            "stock": [{"part": "A", "quantity": "12"}, {"kit": "K", "quantity": "3"}],
        },
        "mapping": {
            **named,
            "parts": [
                {"part": "A", "shop_part_number": "00123"},
                {"kit": "K", "shop_part_number": "K-7"},
            ],
            "tax_categories": [{"tax_category": "standard", "shop_tax_code": "V21"}],
        },
    }


class Stated:
    """A provider of given documents."""

    def __init__(self, stated: Document) -> None:
        self.stated = stated
        self.asked: list[str] = []

    def _of(self, kind: str) -> Any:
        self.asked.append(kind)
        return copy.deepcopy(self.stated[kind])

    def capabilities(self) -> Any:
        return self._of("capabilities")

    def price_book(self, _: str) -> Any:
        return self._of("price_book")

    def labour_rates(self, _: str) -> Any:
        return self._of("labour_rates")

    def tax_rules(self, _: str) -> Any:
        return self._of("tax_rules")

    def stock(self, _: str) -> Any:
        return self._of("stock")

    def mapping(self, _: str) -> Any:
        return self._of("mapping")


def merged(
    stated: Document, stale_after_s: float | None = None, name: str = "spring"
) -> ProvidedBook:
    return provided_book("shop", Stated(stated), name, NOW, stale_after_s)


def test_every_document_has_its_part_in_the_book() -> None:
    provided = merged(documents())
    book = provided.book
    assert not provided.stock_is_stale
    assert book.labour_minimum == Decimal("40.00")
    assert [rate.key for rate in book.tax_categories["standard"]] == ["vat"]
    assert book.shop_tax_codes == {"standard": "V21"}
    first, second = book.parts["equipment"]
    # Stock replaces all stock that the book states; what is not listed is not counted.
    assert (first.stock, second.stock) == (Decimal(12), None)
    assert (first.shop_part_number, second.shop_part_number) == ("00123", None)
    (kit,) = book.kits
    assert (kit.stock, kit.shop_part_number) == (Decimal(3), "K-7")


def test_the_book_is_that_of_the_same_members_stated_at_once() -> None:
    stated = documents()
    whole = copy.deepcopy(stated["price_book"]["price_book"])
    whole["labour_minimum"] = "40.00"
    whole.update(stated["tax_rules"]["tax_rules"])
    whole["tax_categories"][0]["shop_tax_code"] = "V21"
    whole["parts"][0].update(stock="12", shop_part_number="00123")
    del whole["parts"][1]["stock"]
    whole["kits"][0].update(stock="3", shop_part_number="K-7")
    assert merged(stated).book == price_book_from_document(whole)


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "price_book"])
def test_what_is_not_served_is_not_asked_for_and_leaves_the_book_as_it_is(kind: str) -> None:
    stated = documents()
    stated["capabilities"]["serves"].remove(kind)
    provider = Stated(stated)
    book = provided_book("shop", provider, "spring", NOW, None).book
    assert kind not in provider.asked
    kept = {
        "labour_rates": lambda: book.labour_minimum == Decimal("5.00"),
        "tax_rules": lambda: book.tax_categories["standard"][0].key == "old",
        "stock": lambda: [each.stock for each in book.parts["equipment"]] == [1, 2],
        "mapping": lambda: not book.shop_tax_codes,
    }
    assert kept[kind]()


@pytest.mark.parametrize(
    ("age_s", "stale_after_s", "is_stale"),
    [(3600, 3600, False), (3601, 3600, True), (10**7, None, False), (0, 1, False)],
)
def test_old_stock_is_left_out_of_account(
    age_s: int, stale_after_s: float | None, is_stale: bool
) -> None:
    stated = documents()
    stated["stock"]["as_of"] = (NOW - timedelta(seconds=age_s)).isoformat()
    provided = merged(stated, stale_after_s)
    assert provided.stock_is_stale == is_stale
    stocks = [each.stock for each in provided.book.parts["equipment"]]
    assert stocks == ([None, None] if is_stale else [Decimal(12), None])


def changed(path: str, value: Any) -> Document:
    stated = documents()
    holder: Any = stated
    *above, last = path.split("/")
    for step in above:
        holder = holder[int(step) if step.isdigit() else step]
    if value is None:
        del holder[last]
    else:
        holder[int(last) if last.isdigit() else last] = value
    return stated


@pytest.mark.parametrize(
    ("path", "value", "pointer"),
    [
        ("capabilities/specification", "2.0", "/capabilities/specification"),
        ("capabilities/specification", "1.01", "/capabilities/specification"),
        ("capabilities/serves", "all", "/capabilities/serves"),
        ("capabilities/price_books", None, "/capabilities/price_books"),
        ("stock/specification", "1.1", "/stock/specification"),
        ("price_book/price_book", [], "/price_book/price_book"),
        (
            "price_book/price_book/parts/1/unit_price",
            3,
            "/price_book/price_book/parts/1/unit_price",
        ),
        ("price_book/price_book/currency", "EURO", "/price_book/price_book/currency"),
        ("labour_rates/currency", "USD", "/labour_rates/currency"),
        ("labour_rates/labour", None, "/labour_rates/labour"),
        ("labour_rates/labour/labour_minimum", "-1", "/labour_rates/labour/labour_minimum"),
        ("labour_rates/labour/parts", [], "/labour_rates/labour/parts"),
        ("tax_rules/tax_rules/taxes/0/percent", "x", "/tax_rules/tax_rules/taxes/0/percent"),
        ("stock/as_of", "2031-04-30", "/stock/as_of"),
        ("stock/as_of", "2031-04-30T08:05:01Z", "/stock/as_of"),
        ("stock/stock/0/quantity", 12, "/stock/stock/0/quantity"),
        ("stock/stock/0/part", "GHOST", "/stock/stock/0/part"),
        ("stock/stock/1", {"part": "A", "quantity": "1"}, "/stock/stock/1/part"),
        ("stock/stock/1", {"quantity": "1"}, "/stock/stock/1/part"),
        ("mapping/parts/0/shop_part_number", 123, "/mapping/parts/0/shop_part_number"),
        ("mapping/parts/0/part", "GHOST", "/mapping/parts/0/part"),
        (
            "mapping/tax_categories/0/tax_category",
            "free",
            "/mapping/tax_categories/0/tax_category",
        ),
    ],
)
def test_a_fault_is_named_by_its_document(path: str, value: Any, pointer: str) -> None:
    with pytest.raises(FaultyError) as caught:
        merged(changed(path, value))
    pointers = [fault.pointer for fault in caught.value.faults]
    if path.startswith("price_book/price_book/currency"):
        # The rates are then in another currency than that of the book, too.
        assert pointer in pointers or "/labour_rates/currency" in pointers
    else:
        assert pointers == [pointer]


def test_a_clock_may_be_ahead_by_five_minutes() -> None:
    assert not merged(changed("stock/as_of", "2031-04-30T08:05:00Z")).stock_is_stale


def test_members_that_nobody_knows_are_let_pass() -> None:
    stated = documents()
    for kind in ("capabilities", "stock", "mapping", "labour_rates", "tax_rules"):
        stated[kind]["x-colour"] = "blue"
    assert merged(stated).book == merged(documents()).book


@pytest.mark.parametrize("name", ["autumn", "", "../spring", "spring/"])
def test_a_book_that_is_not_listed_is_not_asked_for(name: str) -> None:
    provider = Stated(documents())
    with pytest.raises(UnknownBookError, match="It has: spring"):
        provided_book("shop", provider, name, NOW, None)
    assert provider.asked == ["capabilities"]


def test_what_is_listed_and_not_served_makes_the_provider_unavailable() -> None:
    with pytest.raises(UnavailableError, match="lists stock and does not serve it"):
        merged({**documents(), "stock": None})
    with pytest.raises(UnavailableError, match="states no capabilities"):
        merged({**documents(), "capabilities": None})
