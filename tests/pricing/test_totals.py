"""Discounts, package prices, taxes, deposit and margin: worked by hand, and their laws."""

from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from drawn_bills import CURRENCIES, LAY, VAT, Document, billed, book_of, books, pricings
from loomwright.engineering.errors import EngineeringError
from loomwright.jobs.bill_answer import iso_duration
from loomwright.pricing.money import MoneyError, money_from_minor_units, shared_money
from loomwright.pricing.pricing_options import AmountOrShare


def test_line_discount_by_key_outweighs_that_by_kind() -> None:
    discounts = [{"kind": "equipment", "percent": "10"}, {"key": "P1", "percent": "50"}]
    bill = billed(book_of(["10.00", "10.00"]), {"line_discounts": discounts})
    assert [str(line.discount) for line in bill.lines] == ["1.00", "5.00"]
    assert str(bill.totals.total) == "14.00"


def test_package_price_is_shared_to_the_last_cent() -> None:
    # 100 over three lines of 40: 33.33 each and one cent left, to the first that lost most: by
    # hand -6.67, -6.67, -6.66 of the 20 off.
    bill = billed(
        book_of(["40", "40", "40"]), {"package": {"name": "Three for 100", "price": "100"}}
    )
    assert [str(line.shared) for line in bill.lines] == ["-6.67", "-6.67", "-6.66"]
    assert str(bill.totals.lines_total) == "100.00"
    assert bill.package == "Three for 100"


def test_document_discount_lowers_the_base_of_each_tax() -> None:
    # 10 % of 160 is 16, 10 and 6 on the lines; 20 % on 90 and none on the exempt 54.
    categories = [{"key": "standard", "taxes": ["vat"]}, {"key": "exempt", "taxes": []}]
    book = book_of(["100", "60"], taxes=VAT, tax_categories=categories)
    book["parts"][1]["tax_category"] = "exempt"
    totals = billed(book, {"document_discount": {"percent": "10"}}).totals
    assert [(str(tax.base), str(tax.amount)) for tax in totals.taxes] == [("90.00", "18.00")]
    assert (str(totals.exempt_total), str(totals.total)) == ("54.00", "162.00")


@pytest.mark.parametrize(
    ("rounding", "tax"),
    [
        # 20 % of 0.13 is 0.026, at each of three lines 0.03; of 0.39 it is 0.078.
        ("line", "0.09"),
        ("document", "0.08"),
    ],
)
def test_tax_is_rounded_at_each_line_or_once(rounding: str, tax: str) -> None:
    book = book_of(["0.13", "0.13", "0.13"], taxes=VAT, rounding={"tax": rounding})
    assert str(billed(book).totals.taxes[0].amount) == tax


@pytest.mark.parametrize(
    ("mode", "tax"), [("half_up", "0.03"), ("half_even", "0.02"), ("down", "0.02"), ("up", "0.03")]
)
def test_mode_says_where_half_a_cent_goes(mode: str, tax: str) -> None:
    # 20 % of 0.125 cannot be, of 0.12 is 0.024; 12.5 % of 0.20 is 0.025 just between two cents.
    taxes = [{"key": "t", "name": "T", "percent": "12.5"}]
    book = book_of(["0.20"], taxes=taxes, rounding={"mode": mode})
    assert str(billed(book).totals.taxes[0].amount) == tax


def test_two_taxes_within_one_price_add_up_to_the_tax_within() -> None:
    # 5 % and 9.975 % within 100: 100 x 14.975 / 114.975 = 13.0246, that is 13.02, of which
    # 13.02 x 5 / 14.975 = 4.347 and 8.672: 4.35 and 8.67.
    taxes = [
        {"key": "first", "name": "First", "percent": "5"},
        {"key": "second", "name": "Second", "percent": "9.975"},
    ]
    totals = billed(book_of(["100"], taxes=taxes, prices_include_tax=True)).totals
    assert [str(tax.amount) for tax in totals.taxes] == ["4.35", "8.67"]
    assert [str(tax.base) for tax in totals.taxes] == ["86.98", "86.98"]
    assert (str(totals.net_total), str(totals.total)) == ("86.98", "100.00")


def test_a_share_of_a_long_amount_is_rounded_once() -> None:
    # (10^21 + 50000001) cents x 99.999999 % = 10^21 - 10^13 + 50000000.49999999 cents: below half
    # a cent, which a product of 28 digits would round up to and then once more.
    base = money_from_minor_units(10**21 + 50_000_001, "EUR")
    share = AmountOrShare(Decimal("99.999999"), None).of(base, ROUND_HALF_UP)
    assert share.minor_units == 10**21 - 10**13 + 50_000_000


def test_deposit_and_balance_make_the_total() -> None:
    totals = billed(book_of(["99.99"], taxes=VAT), {"deposit": {"percent": "30"}}).totals
    # 99.99 + 20.00 = 119.99; 30 % of it is 35.997.
    assert (str(totals.deposit), str(totals.balance_due)) == ("36.00", "83.99")


def test_labour_is_brought_up_to_its_least_charge() -> None:
    book = book_of([], labour=[LAY], labour_minimum="45")
    assert [str(line.total) for line in billed(book, work=1).lines] == ["30.00", "15.00"]
    assert [str(line.total) for line in billed(book, work=2).lines] == ["60.00"]
    assert billed(book).lines == ()


def test_cost_is_that_of_the_pack_or_of_its_units_and_margin_is_on_the_net_total() -> None:
    book = book_of(["10", "10"], taxes=VAT, labour=[{**LAY, "hourly_cost": "20"}])
    book["parts"][0]["cost"] = "6.50"
    book["parts"][1].update(cost="4", packs=[{"quantity": "2", "price": "5", "cost": "3"}])
    margin = billed(book, work=1).margin
    # 6.50 + 3 + 10 of cost on 10 + 5 + 30 of price: 25.50, which is 56.7 %.
    assert (str(margin.cost_total), str(margin.margin), str(margin.percent)) == (
        "19.50",
        "25.50",
        "56.7",
    )
    del book["parts"][0]["cost"]
    margin = billed(book, work=1).margin
    assert (margin.margin, margin.percent, margin.uncosted) == (None, None, ("P0",))


@pytest.mark.parametrize(
    ("pricing", "code"),
    [
        ({"document_discount": {"amount": "10.01"}}, "discount_above_total"),
        ({"deposit": {"amount": "10.01"}}, "deposit_above_total"),
    ],
)
def test_what_is_off_is_never_more_than_what_is_there(pricing: Document, code: str) -> None:
    with pytest.raises(EngineeringError) as error:
        billed(book_of(["10.00"]), pricing)
    assert error.value.code == code


def test_package_price_needs_a_line_to_be_shared_over() -> None:
    with pytest.raises(EngineeringError) as error:
        billed(book_of(["0"]), {"package": {"name": "Gift", "price": "5"}})
    assert error.value.code == "package_without_lines"


@given(books(), pricings(), st.integers(0, 3))
def test_every_total_is_the_sum_of_its_lines(book: Document, pricing: Document, work: int) -> None:
    # A package price needs a line with a price to be shared over; that has a test of its own.
    before = billed(book, {"line_discounts": pricing["line_discounts"]}, work)
    assume("package" not in pricing or before.totals.lines_total.amount > 0)
    bill = billed(book, pricing, work)
    totals = bill.totals

    def summed(amounts: list[Any]) -> int:
        return sum(amount.minor_units for amount in amounts)

    taxed = summed([tax.amount for tax in totals.taxes])
    assert summed([line.total for line in bill.lines]) == totals.lines_total.minor_units
    assert totals.parts_total + totals.labour_total == totals.lines_total
    assert totals.list_total - totals.discount + totals.shared == totals.lines_total
    assert totals.net_total.minor_units + taxed == totals.total.minor_units
    basis = totals.total if book["prices_include_tax"] else totals.net_total
    assert basis == totals.lines_total
    if "package" in pricing:
        assert totals.lines_total.amount == Decimal(pricing["package"]["price"])
    if totals.deposit is not None:
        assert totals.deposit + totals.balance_due == totals.total
    assert all(line.total.amount >= 0 for line in bill.lines)


@given(books(), pricings(), st.integers(0, 3))
def test_lines_without_taxes_add_up_to_the_net_total_and_to_the_base_of_each_tax(
    book: Document, pricing: Document, work: int
) -> None:
    before = billed(book, {"line_discounts": pricing.get("line_discounts", [])}, work)
    assume("package" not in pricing or before.totals.lines_total.amount > 0)
    bill = billed(book, pricing, work)
    totals = bill.totals
    nets = [net.minor_units for net in totals.line_nets]
    assert sum(nets) == totals.net_total.minor_units
    assert all(
        0 <= net <= line.total.minor_units for net, line in zip(nets, bill.lines, strict=True)
    )
    categories = {entry["key"]: entry["taxes"] for entry in book["tax_categories"]}
    for tax in totals.taxes:
        # By hand from the book: the lines whose category names the tax.
        taxed = [key for key, taxes in categories.items() if tax.key in taxes]
        used = {line.tax_category for line in bill.lines}
        assert list(tax.categories) == [key for key in taxed if key in used]
        on = [net for net, line in zip(nets, bill.lines, strict=True) if line.tax_category in taxed]
        assert sum(on) == tax.base.minor_units


def test_what_is_taxed_together_is_shared_over_its_lines_without_taxes() -> None:
    # 20 % within 3 x 1.00 are 0.50: 0.1667 on each, so 0.17, 0.17 and 0.16 from the first line on.
    book = book_of(["1", "1", "1"], taxes=VAT, prices_include_tax=True)
    totals = billed(book).totals
    assert [str(net) for net in totals.line_nets] == ["0.83", "0.83", "0.84"]
    assert (str(totals.net_total), str(totals.total)) == ("2.50", "3.00")


@pytest.mark.parametrize(
    ("hours", "duration"),
    [
        # ISO 8601-1:2019, 5.5.2.4: hours and minutes behind the time designator (memory).
        ("0", "PT0M"),
        ("0.25", "PT15M"),
        ("1", "PT1H"),
        ("4.50", "PT4H30M"),
        ("26.1", "PT26H6M"),
        # Hours that are no whole minutes are rounded up: 0.01 h are 36 s.
        ("0.01", "PT1M"),
        ("0.999", "PT1H"),
    ],
)
def test_duration_is_written_in_hours_and_minutes(hours: str, duration: str) -> None:
    assert iso_duration(Decimal(hours)) == duration


@given(books(), pricings())
def test_each_tax_is_within_a_minor_unit_for_each_rounding(
    book: Document, pricing: Document
) -> None:
    assume("package" not in pricing)
    bill = billed(book, pricing)
    rates = {tax["key"]: Fraction(tax["percent"]) / 100 for tax in book["taxes"]}
    categories = {entry["key"]: entry["taxes"] for entry in book["tax_categories"]}
    unit = Fraction(1, 10 ** -bill.totals.total.amount.as_tuple().exponent)
    for tax in bill.totals.taxes:
        exact = Fraction(0)
        for line in bill.lines:
            applied = categories[line.tax_category]
            if tax.key in applied:
                gross = Fraction(line.total.amount)
                within = 1 + sum(rates[key] for key in applied)
                net = gross / within if book["prices_include_tax"] else gross
                exact += net * rates[tax.key]
        # One rounding of the tax and one of its share, for each line or each category at most.
        roundings = 2 * max(len(bill.lines), 1)
        assert abs(Fraction(tax.amount.amount) - exact) <= roundings * unit


@given(
    st.sampled_from(CURRENCIES),
    st.integers(-(10**9), 10**9),
    st.lists(st.decimals(0, 10**6, places=4), min_size=1, max_size=12),
)
def test_shares_add_up_and_are_within_one_minor_unit_of_proportion(
    currency: str, units: int, weights: list[Decimal]
) -> None:
    total = money_from_minor_units(units, currency)
    shares = [share.minor_units for share in shared_money(total, weights)]
    assert sum(shares) == units
    whole = sum(map(Fraction, weights))
    for share, weight in zip(shares, weights, strict=True):
        part = Fraction(weight) / whole if whole else Fraction(1, len(weights))
        assert abs(share - units * part) < 1


@pytest.mark.parametrize("weights", [[], [Decimal(1), Decimal(-1)]])
def test_money_is_not_shared_by_nothing_or_by_less_than_nothing(weights: list[Decimal]) -> None:
    with pytest.raises(MoneyError):
        shared_money(money_from_minor_units(1, "EUR"), weights)


@pytest.mark.parametrize("by", [{"kind": "equipment"}, {"key": "P0"}])
def test_a_line_discount_by_key_or_by_kind_alone_is_taken_off(by: Document) -> None:
    bill = billed(book_of(["8.00"]), {"line_discounts": [{**by, "percent": "25"}]})
    assert str(bill.totals.discount) == "2.00"
    assert str(bill.totals.total) == "6.00"


def test_a_discount_above_the_total_is_named_with_both_amounts() -> None:
    with pytest.raises(EngineeringError, match=r"discount of 5\.00 is above .* total of 3\.00"):
        billed(book_of(["3.00"]), {"document_discount": {"amount": "5"}})
