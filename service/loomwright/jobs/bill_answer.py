"""A bill as plain JSON values, in a fixed order."""

from collections.abc import Iterable, Mapping
from datetime import date
from decimal import ROUND_CEILING, Decimal
from typing import Any

from loomwright.pricing.bill import Bill
from loomwright.pricing.cover import ClusterCover, Plan
from loomwright.pricing.kinds import LABOUR_UNIT, Attribute
from loomwright.pricing.lines import LABOUR, Line, Need, Unpriced, exact_text, summed
from loomwright.pricing.money import Money
from loomwright.pricing.price_book import Article
from loomwright.pricing.totals import TaxAmount


def bill_document(bill: Bill) -> dict[str, Any]:
    """Return a bill as plain JSON values, without what it costs the shop.

    Parameters
    ----------
    bill
        The bill.

    Returns
    -------
    dict
        Price book, lines, what is not priced, how articles were chosen, totals.
    """
    totals = bill.totals
    return {
        "price_book": {"name": bill.price_book, "digest": bill.price_book_digest},
        "currency": bill.currency,
        "prices_include_tax": bill.prices_include_tax,
        "as_of": _day(bill.as_of),
        "valid_until": _day(bill.valid_until),
        "package": bill.package,
        "lines": [
            _line(number, line, net, bill)
            for number, (line, net) in enumerate(
                zip(bill.lines, totals.line_nets, strict=True), start=1
            )
        ],
        "unpriced": [unpriced_document(entry) for entry in bill.unpriced],
        "choices": [_choice(cover) for cover in bill.covers],
        "list_total": str(totals.list_total),
        "discount_total": str(totals.discount),
        "shared_total": str(totals.shared),
        "parts_total": str(totals.parts_total),
        "labour_total": str(totals.labour_total),
        "labour_duration": iso_duration(labour_hours(bill.lines)),
        "lines_total": str(totals.lines_total),
        "net_total": str(totals.net_total),
        "exempt_total": str(totals.exempt_total),
        "taxes": [tax_document(tax) for tax in totals.taxes],
        "total": str(totals.total),
        "deposit": _money(totals.deposit),
        "balance_due": str(totals.balance_due),
    }


def labour_hours(lines: Iterable[Line]) -> Decimal:
    """Return the working hours of a bill: its labour that is counted in hours."""
    return summed(
        line.quantity for line in lines if line.kind == LABOUR and line.unit == LABOUR_UNIT
    )


def iso_duration(hours: Decimal) -> str:
    """Return a duration as text, rounded up to whole minutes.

    Parameters
    ----------
    hours
        Duration [h], 0 or more.

    Returns
    -------
    str
        Such as ``"PT4H30M"``; no duration is ``"PT0M"``.

    References
    ----------
    ISO 8601-1:2019, 5.5.2.4 (memory).
    """
    if not hours:
        return "PT0M"
    whole, minutes = divmod(int((60 * hours).to_integral_value(ROUND_CEILING)), 60)
    parts = [f"{whole}H"] * bool(whole) + [f"{minutes}M"] * bool(minutes or not whole)
    return f"PT{''.join(parts)}"


def margin_document(bill: Bill) -> dict[str, Any]:
    """Return what a bill costs the shop, for those who may see it.

    Parameters
    ----------
    bill
        The bill.

    Returns
    -------
    dict
        Cost of each line, total cost, margin.
    """
    margin = bill.margin
    return {
        "cost_total": str(margin.cost_total),
        "margin": _money(margin.margin),
        "margin_percent": None if margin.percent is None else format(margin.percent, "f"),
        "uncosted": list(margin.uncosted),
        "lines": [
            {"number": number, "key": line.key, "cost": _money(line.cost)}
            for number, line in enumerate(bill.lines, start=1)
        ],
    }


def _day(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def _money(amount: Money | None) -> str | None:
    return None if amount is None else str(amount)


def tax_document(tax: TaxAmount) -> dict[str, Any]:
    """Return one tax of a bill as plain JSON values."""
    return {
        "key": tax.key,
        "name": tax.name,
        "percent": exact_text(tax.percent),
        "base": str(tax.base),
        "amount": str(tax.amount),
        "tax_categories": list(tax.categories),
    }


def _line(number: int, line: Line, net: Money, bill: Bill) -> dict[str, Any]:
    return {
        "number": number,
        "kind": line.kind,
        "key": line.key,
        "description": line.description,
        "quantity": exact_text(line.quantity),
        "unit": line.unit,
        "unit_word": line.unit_word,
        "unit_price": exact_text(line.unit_price),
        "list_total": str(line.list_total),
        "discount": str(line.discount),
        "shared": str(line.shared),
        "total": str(line.total),
        "net_total": str(net),
        "tax_category": line.tax_category,
        "shop_part_number": line.shop_part_number,
        "shop_tax_code": bill.shop_tax_codes.get(line.tax_category),
        "in_stock": line.in_stock,
        "reason": line.reason,
        "needs": [_need(need) for need in line.needs],
    }


def unpriced_document(entry: Unpriced) -> dict[str, Any]:
    """Return something that is not priced as plain JSON values."""
    return {
        "kind": entry.kind,
        "description": entry.description,
        "attributes": _attributes(entry.attributes),
        "quantity": exact_text(entry.quantity),
        "unit": entry.unit,
        "unit_word": entry.unit_word,
        "reason": entry.reason,
        "needs": [_need(need) for need in entry.needs],
    }


def _attributes(attributes: Mapping[str, Attribute]) -> dict[str, str]:
    return {
        name: value if isinstance(value, str) else exact_text(value)
        for name, value in attributes.items()
    }


def _need(need: Need) -> dict[str, str]:
    return {
        "circuit": need.circuit,
        "quantity": exact_text(need.quantity),
        "rule": need.rule,
        "reason": need.reason,
    }


def _choice(cover: ClusterCover) -> dict[str, Any]:
    """Return what was bought where articles competed, beside the runner-up and the proof."""
    other = cover.runner_up
    return {
        "articles": _articles(cover, cover.plan),
        "price": format(cover.plan.price.normalize(), "f"),
        "runner_up": None
        if other is None
        else {
            "articles": _articles(cover, other),
            "price": format(other.price.normalize(), "f"),
            "difference": format((other.price - cover.plan.price).normalize(), "f"),
        },
        "gap_percent": 100.0 * cover.gap,
        "within_stock": cover.within_stock,
    }


def _articles(cover: ClusterCover, plan: Plan) -> list[dict[str, Any]]:
    return [
        _article(article, format(plan.quantities[article.name], "f"))
        for article in cover.cluster.articles
        if article.name in plan.quantities
    ]


def _article(article: Article, quantity: str) -> dict[str, Any]:
    pack = None if article.pack is None else format(article.pack.quantity.normalize(), "f")
    return {"key": article.sold.key, "pack_of": pack, "quantity": quantity}
