"""Bills of small price books: stated ones, and ones drawn with all that changes money."""

from decimal import Decimal
from typing import Any

from hypothesis import strategies as st

from loomwright.pricing.bill import Bill, bill_of_materials
from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.pricing_options import pricing_from_document
from loomwright.pricing.requirements import LabourRequirement, Requirement

Document = dict[str, Any]
CURRENCIES = ("EUR", "JPY", "KWD", "IQD", "CLF")


def book_of(prices: list[str], **changes: Any) -> Document:
    """A book whose parts cost these prices, each for one piece."""
    parts = [
        {
            "key": f"P{index}",
            "kind": "equipment",
            "description": f"Part {index}",
            "attributes": {"reference": f"part {index}"},
            "unit": "EA",
            "unit_price": price,
        }
        for index, price in enumerate(prices)
    ]
    return {"name": "Shop", "currency": "EUR", "parts": parts, **changes}


def billed(book: Document, pricing: Document | None = None, work: int = 0) -> Bill:
    """The bill of one piece of each part, and of some pieces of the operation ``lay``."""
    read = price_book_from_document(book)
    needs = [
        Requirement("equipment", {"reference": f"part {index}"}, Decimal(1), "EA", "why", "r", "")
        for index in range(len(book["parts"]))
    ]
    labour = [LabourRequirement("lay", work, Decimal(0), "why", "rule", "")] if work else []
    return bill_of_materials(
        needs, labour, read, pricing_from_document(pricing or {}, read.currency)
    )


LAY = {
    "key": "lay",
    "description": "Lay",
    "charged_per": "piece",
    "standard_hours": "0.5",
    "hourly_rate": "60",
}
VAT = [{"key": "vat", "name": "VAT", "percent": "20"}]


def percents(most: int) -> st.SearchStrategy[str]:
    return st.decimals(min_value=0, max_value=most, places=3).map(lambda value: f"{value:f}")


@st.composite
def books(draw: st.DrawFn) -> Document:
    """Books of any currency, taxes, price basis and rounding; each part in some category."""
    taxes = [
        {"key": f"t{index}", "name": f"Tax {index}", "percent": percent}
        for index, percent in enumerate(draw(st.lists(percents(30), max_size=3)))
    ]
    keys = [tax["key"] for tax in taxes]
    subsets = st.lists(st.sampled_from(keys), unique=True) if keys else st.just([])
    categories = [
        {"key": f"c{index}", "taxes": chosen}
        for index, chosen in enumerate(draw(st.lists(subsets, min_size=1, max_size=3)))
    ]
    prices = st.decimals(min_value=0, max_value=10_000, places=5).map(lambda value: f"{value:f}")
    book = book_of(
        draw(st.lists(prices, min_size=1, max_size=8)),
        currency=draw(st.sampled_from(CURRENCIES)),
        taxes=taxes,
        tax_categories=categories,
        prices_include_tax=draw(st.booleans()),
        rounding={
            "tax": draw(st.sampled_from(("line", "document"))),
            "mode": draw(st.sampled_from(("half_up", "half_even", "down", "up"))),
        },
    )
    in_some_category = st.sampled_from([category["key"] for category in categories])
    for part in book["parts"]:
        part["tax_category"] = draw(in_some_category)
    book["labour"] = [{**LAY, "tax_category": draw(in_some_category)}]
    return book


@st.composite
def pricings(draw: st.DrawFn) -> Document:
    """Discounts, a package price or a document discount, a deposit; each or none."""
    pricing: Document = {
        "line_discounts": [
            {"kind": kind, "percent": draw(percents(100))}
            for kind in draw(st.lists(st.sampled_from(("equipment", "labour")), unique=True))
        ]
    }
    off_the_whole = draw(st.sampled_from(("package", "document_discount", "")))
    if off_the_whole == "package":
        pricing["package"] = {"name": "P", "price": str(draw(st.integers(1, 50_000)))}
    elif off_the_whole:
        pricing["document_discount"] = {"percent": draw(percents(100))}
    if draw(st.booleans()):
        pricing["deposit"] = {"percent": draw(percents(100))}
    return pricing
