"""A bill as one CSV table for spreadsheets and shop programs."""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from types import MappingProxyType
from typing import Any

from loomwright.documents.csv_text import Cell, csv_of_rows

LINE, UNPRICED, TAX, TOTAL = "line", "unpriced", "tax", "total"
# Meaning of each column, in their order.
COLUMNS = MappingProxyType(
    {
        "row": "`line`: priced; `unpriced`: needed, not in the price book; `tax`; `total`",
        "number": "number of the line",
        "kind": "kind of part, `kit` or `labour`",
        "key": "key of the article, the labour operation or the tax; name of the total",
        "description": "in words",
        "quantity": "in the unit; the rate of a tax",
        "unit": "code of UN/CEFACT Recommendation 20; `P1` is percent",
        "unit_word": "the unit as a plain word",
        "unit_price": "of one unit, exact",
        "list_total": "unit price times quantity, rounded once",
        "discount": "taken off this line",
        "shared": "share of a document discount or of the difference to a package price",
        "total": "what the line costs; the amount of a tax or total",
        "net_total": "the line without taxes; what a tax is on",
        "tax_category": "of the line",
        "shop_part_number": "of the shop's own system",
        "shop_tax_code": "of the shop's own system",
        "currency": "ISO 4217 code of every amount of the row",
        "in_stock": "`true`, `false`, or empty where stock is not counted",
        "reason": "why it is there",
    }
)
# Amounts and quantities are texts in JSON, so that no digit is lost, and numbers in a sheet.
_NUMBERS = frozenset(
    ("quantity", "unit_price", "list_total", "discount", "shared", "total", "net_total")
)
_TOTALS = ("net_total", "total", "deposit", "balance_due")


def bill_csv(answer: Mapping[str, Any]) -> bytes:
    """Return a bill as CSV: its lines, what is not priced, its taxes and its totals.

    Parameters
    ----------
    answer
        Answer document of a priced job, as plain JSON values.

    Returns
    -------
    bytes
        A header and one row for each, under ``COLUMNS``, in UTF-8.
    """
    rows = ([_cell(name, row.get(name)) for name in COLUMNS] for row in _rows(answer))
    return csv_of_rows(tuple(COLUMNS), rows)


def _cell(name: str, value: Any) -> Cell:
    if name in _NUMBERS and value is not None:
        return Decimal(value)
    cell: Cell = value
    return cell


def _rows(answer: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    currency = answer["currency"]
    for line in answer["lines"]:
        yield {"row": LINE, "currency": currency, **line}
    for entry in answer["unpriced"]:
        yield {"row": UNPRICED, **entry}
    for tax in answer["taxes"]:
        yield {
            "row": TAX,
            "key": tax["key"],
            "description": tax["name"],
            "quantity": tax["percent"],
            "unit": "P1",
            "unit_word": "percent",
            "total": tax["amount"],
            "net_total": tax["base"],
            "currency": currency,
        }
    for name in _TOTALS:
        if answer[name] is not None:
            yield {"row": TOTAL, "key": name, "total": answer[name], "currency": currency}
