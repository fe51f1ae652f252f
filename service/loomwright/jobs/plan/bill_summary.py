"""The bill of a plan: complete, without the reasons that a bill of materials gives each line."""

from typing import Any

from loomwright.jobs.bill_answer import iso_duration, labour_hours, tax_document
from loomwright.pricing.bill import Bill
from loomwright.pricing.lines import Unpriced, exact_text


def plan_bill_document(bill: Bill) -> dict[str, Any]:
    """Return the bill of a plan as plain JSON values, without what it costs the shop.

    Parameters
    ----------
    bill
        The bill.

    Returns
    -------
    dict
        Lines, what is not priced, totals; steps of a work order refer to lines by number.
    """
    totals = bill.totals
    return {
        "lines": [
            {
                "number": number,
                "kind": line.kind,
                "key": line.key,
                "description": line.description,
                "quantity": exact_text(line.quantity),
                "unit": line.unit,
                "unit_price": exact_text(line.unit_price),
                "total": str(total),
                "in_stock": line.in_stock,
            }
            for number, (line, total) in enumerate(
                zip(bill.lines, totals.line_totals, strict=True), start=1
            )
        ],
        "unpriced": [_unpriced(entry) for entry in bill.unpriced],
        "parts_total": str(totals.parts_total),
        "labour_total": str(totals.labour_total),
        "labour_duration": iso_duration(labour_hours(bill.lines)),
        "net_total": str(totals.net_total),
        "taxes": [tax_document(tax) for tax in totals.taxes],
        "total": str(totals.total),
        "deposit": None if totals.deposit is None else str(totals.deposit),
        "balance_due": str(totals.balance_due),
    }


def _unpriced(entry: Unpriced) -> dict[str, Any]:
    return {
        "kind": entry.kind,
        "description": entry.description,
        "quantity": exact_text(entry.quantity),
        "unit": entry.unit,
        "reason": entry.reason,
    }
