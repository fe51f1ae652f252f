"""Cells of CSV against the JSON values that they stand for.

An empty cell stands for an absent member, or for an empty list where the member is required. A
number is written as in JSON (RFC 8259, clause 6), a list as its texts with a space between them,
each quoted as in CSV where it holds a space or a quote itself. Everything else is the text as it
stands; decimals are texts in JSON too.
"""

import csv
import io
import json
import re
from collections.abc import Sequence
from typing import Any

from loomwright.pricing.members import Choices, Member, Number, NumberChoice, Texts, Truth, Whole

_JSON_NUMBER = re.compile(r"-?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][+-]?[0-9]+)?", re.ASCII)
# A longer one is no figure; Python refuses to read an integer of thousands of digits.
_LONGEST_NUMBER = 40
_TRUTHS = {"true": True, "false": False}
_LISTS = (Texts, Choices)
_NUMBERS = (Number, NumberChoice, Whole)


def canonical_number(value: float) -> float:
    """Return a number as the shorter of its JSON forms: 25 for 25.0."""
    return int(value) if isinstance(value, float) and value.is_integer() else value


def stands_for_nothing(member: Member, cell: str) -> bool:
    """Return whether a cell stands for an absent member."""
    return not cell and not (isinstance(member, _LISTS) and member.required)


def value_of_cell(member: Member, cell: str) -> Any:
    """Return the JSON value that a cell stands for.

    Parameters
    ----------
    member
        Rule of the member.
    cell
        Text of the cell.

    Returns
    -------
    object
        The value; a cell of no right form stays text, which the reader of the document then
        refuses.
    """
    if isinstance(member, _NUMBERS):
        plain = len(cell) <= _LONGEST_NUMBER and _JSON_NUMBER.fullmatch(cell)
        return json.loads(cell) if plain else cell
    if isinstance(member, Truth):
        # Spreadsheets write TRUE and FALSE.
        return _TRUTHS.get(cell.lower(), cell)
    if isinstance(member, _LISTS):
        return _texts(cell)
    return cell


def _texts(cell: str) -> list[str] | str:
    try:
        rows = list(csv.reader([cell], delimiter=" ", skipinitialspace=True, strict=True))
    except csv.Error:
        return cell
    return [text for row in rows for text in row if text]


def cell_of_value(member: Member, value: Any) -> str:
    """Return the cell that stands for a JSON value of a right form.

    Parameters
    ----------
    member
        Rule of the member.
    value
        What the document states.

    Returns
    -------
    str
        Text of the cell.
    """
    if isinstance(member, _LISTS):
        return csv_text([value], delimiter=" ").removesuffix("\r\n")
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return json.dumps(canonical_number(value))
    return str(value)


def csv_text(rows: Sequence[Sequence[str]], delimiter: str = ",") -> str:
    """Return rows as CSV, each ended as RFC 4180 says."""
    text = io.StringIO()
    csv.writer(text, delimiter=delimiter, lineterminator="\r\n").writerows(rows)
    return text.getvalue()
