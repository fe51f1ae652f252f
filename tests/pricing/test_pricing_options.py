"""Reading of the pricing part of a request."""

from datetime import date
from decimal import ROUND_DOWN, Decimal
from typing import Any

import pytest

from loomwright.pricing.faults import DocumentError
from loomwright.pricing.money import Money
from loomwright.pricing.pricing_options import (
    BATCH_PRICING_RECORD,
    PRICING,
    AmountOrShare,
    Package,
    PricingOptions,
    batch_pricing_from_document,
    pricing_from_document,
)

Document = dict[str, Any]


def euro(amount: str) -> Money:
    return Money(Decimal(amount), "EUR")


def test_options_are_read_as_they_stand() -> None:
    read = pricing_from_document(
        {
            "as_of": "2031-05-01",
            "line_discounts": [
                {"kind": "fuse", "percent": "10"},
                {"kind": "labour", "percent": "2.5"},
                {"key": "F-30", "percent": "50"},
            ],
            "document_discount": {"percent": "5"},
            "deposit": {"amount": "12.5"},
            "show_cost": True,
        },
        "EUR",
    )
    assert read == PricingOptions(
        as_of=date(2031, 5, 1),
        discounts_by_key={"F-30": Decimal(50)},
        discounts_by_kind={"fuse": Decimal(10), "labour": Decimal("2.5")},
        document_discount=AmountOrShare(Decimal(5), None),
        package=None,
        deposit=AmountOrShare(None, euro("12.50")),
        show_cost=True,
    )


def test_a_package_is_read_with_its_price_on_the_grid() -> None:
    for price, amount in (("500", "500.00"), ("0", "0.00"), ("9.9", "9.90")):
        read = pricing_from_document({"package": {"name": "Bass", "price": price}}, "EUR")
        assert read.package == Package("Bass", euro(amount))


def test_without_options_nothing_is_taken_off() -> None:
    read = pricing_from_document({}, "EUR")
    assert (read.as_of, read.document_discount, read.package, read.deposit) == (None,) * 4
    for options in (read, PricingOptions()):
        assert options.show_cost is False
        assert options.discount_percent("fuse", "F-30") == 0


def test_a_discount_on_a_key_outweighs_that_on_its_kind() -> None:
    options = PricingOptions(
        discounts_by_key={"F-30": Decimal(0)}, discounts_by_kind={"fuse": Decimal(10)}
    )
    assert options.discount_percent("fuse", "F-30") == 0
    assert options.discount_percent("fuse", "F-40") == 10
    assert options.discount_percent("grommet", "G") == 0


@pytest.mark.parametrize(
    ("document", "pointers"),
    [
        ({"line_discounts": [{"percent": "5"}]}, ["/line_discounts/0/key"]),
        (
            {"line_discounts": [{"key": "a", "kind": "fuse", "percent": "5"}]},
            ["/line_discounts/0/key"],
        ),
        (
            {"line_discounts": [{"key": "a", "percent": "5"}, {"key": "a", "percent": "6"}]},
            ["/line_discounts/1/key"],
        ),
        (
            {"line_discounts": [{"kind": "tap", "percent": "5"}, {"kind": "tap", "percent": "6"}]},
            ["/line_discounts/1/kind"],
        ),
        ({"line_discounts": [{"key": "a"}]}, ["/line_discounts/0/percent"]),
        ({"document_discount": {}}, ["/document_discount/percent"]),
        ({"deposit": {"percent": "5", "amount": "5"}}, ["/deposit/percent"]),
        (
            {"document_discount": {"percent": "5"}, "package": {"name": "P", "price": "5"}},
            ["/package"],
        ),
        ({"package": {"name": "P"}}, ["/package/price"]),
        ({"package": {"price": "5"}}, ["/package/name"]),
        ({"package": {"name": "P", "price": "5.001"}}, ["/package/price"]),
        ({"package": {"name": "P", "price": 5}}, ["/package/price"]),
        ({"package": {"name": "P", "price": None}}, ["/package/price"]),
        ({"deposit": {"amount": "0.001"}}, ["/deposit/amount"]),
        ({"show_cost": 1}, ["/show_cost"]),
    ],
)
def test_a_fault_of_the_options_is_named_once(document: Document, pointers: list[str]) -> None:
    with pytest.raises(DocumentError) as caught:
        pricing_from_document(document, "EUR")
    assert [fault.pointer for fault in caught.value.faults] == pointers


def test_a_share_is_rounded_as_said_and_an_amount_is_itself() -> None:
    # 33 % of 0.05 is 0.0165.
    share = AmountOrShare(Decimal(33), None)
    assert share.of(euro("0.05"), ROUND_DOWN) == euro("0.01")
    assert AmountOrShare(None, euro("0.07")).of(euro("0.05"), ROUND_DOWN) == euro("0.07")


def test_options_of_a_batch_are_the_same_without_cost() -> None:
    stated = {"deposit": {"percent": "20"}, "as_of": "2031-04-30"}
    assert batch_pricing_from_document(stated, "EUR") == pricing_from_document(stated, "EUR")
    assert PRICING.keys() - BATCH_PRICING_RECORD.members.keys() == {"show_cost"}
    for cost in (True, False, None):
        with pytest.raises(DocumentError) as caught:
            batch_pricing_from_document(stated | {"show_cost": cost, "as_of": "x"}, "EUR")
        pointers = [fault.pointer for fault in caught.value.faults]
        assert sorted(pointers) == ["/as_of", "/show_cost"]
        assert stated.keys() == {"deposit", "as_of"}
    with pytest.raises(DocumentError) as caught:
        batch_pricing_from_document(["show_cost"], "EUR")
    assert [fault.pointer for fault in caught.value.faults] == [""]
