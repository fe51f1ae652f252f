"""Deliveries as the cases describe them: a right one, and what is changed in it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import orjson

from loomwright.conformance.service_answers import bill_bytes
from loomwright.delivery import VERSION, body_of, quote_id_of

_NOTHING = "0.00"


@dataclass(frozen=True, slots=True)
class Delivery:
    """Path below the base address, and body."""

    path: str
    body: bytes


def delivery(described: Mapping[str, Any], title: str) -> Delivery:
    """Return the delivery that a step of a case describes.

    Parameters
    ----------
    described
        ``money``: totals of lines that a consistent bill is made of. ``bill_edits`` and ``edits``:
        changes to bill and envelope. ``id_of``: what is hashed where it is not the bill.
        ``path_id_of``: likewise, for the path alone. ``pad_to``: size of the body in bytes.
    title
        Of the bill; another title is another quote.

    Returns
    -------
    Delivery
        With the bill as the last member, byte for byte as it was hashed.
    """
    bill = orjson.loads(bill_bytes())
    bill["title"] = title
    if "money" in described:
        bill |= _consistent(bill, described["money"])
    edited(bill, described.get("bill_edits", ()))
    content = orjson.dumps(bill)
    quote_id = quote_id_of(described["id_of"].encode() if "id_of" in described else content)
    envelope = {"specification": VERSION, "quote_id": quote_id, "reference": "conformance"}
    edited(envelope, described.get("edits", ()))
    body = body_of(envelope, content)
    if "pad_to" in described:
        envelope["x_padding"] = "-" * (described["pad_to"] - len(body) - len(',"x_padding":""'))
        body = body_of(envelope, content)
    if "lacks_bill" in described:
        body = orjson.dumps(envelope)
    if "path_id_of" in described:
        quote_id = quote_id_of(described["path_id_of"].encode())
    return Delivery(f"/quotes/{quote_id}", body)


def edited(document: dict[str, Any], edits: Sequence[Mapping[str, Any]]) -> None:
    """Change a document in place.

    Parameters
    ----------
    document
        The document.
    edits
        Each ``at`` a JSON pointer: ``set`` to a value, ``add`` a decimal to a decimal text, or
        ``remove``.
    """
    for edit in edits:
        *way, last = edit["at"].split("/")[1:]
        place: Any = document
        for token in way:
            place = place[int(token)] if isinstance(place, list) else place[token]
        key: Any = int(last) if isinstance(place, list) else last
        if "set" in edit:
            place[key] = edit["set"]
        elif "add" in edit:
            place[key] = str(Decimal(place[key]) + Decimal(edit["add"]))
        else:
            del place[key]


def _consistent(bill: Mapping[str, Any], money: Sequence[str]) -> dict[str, Any]:
    """Return members of a bill of parts without tax whose lines have the totals given."""
    total = str(sum(map(Decimal, money), Decimal(0)))
    line = next(line for line in bill["lines"] if line["kind"] != "labour")
    lines = [
        {
            **line,
            "number": number,
            "quantity": "1",
            "unit_price": amount,
            "list_total": amount,
            "discount": _NOTHING,
            "shared": _NOTHING,
            "total": amount,
        }
        for number, amount in enumerate(money, 1)
    ]
    sums = ("list_total", "parts_total", "lines_total", "net_total", "exempt_total", "total")
    return {
        "lines": lines,
        **dict.fromkeys((*sums, "balance_due"), total),
        "discount_total": _NOTHING,
        "shared_total": _NOTHING,
        "labour_total": _NOTHING,
        "taxes": [],
        "deposit": None,
    }
