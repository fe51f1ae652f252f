"""CSV (RFC 4180) that no spreadsheet takes for formulas, UTF-8 without byte-order mark.

Numbers stand bare; every text is quoted, so that a program that tells the two apart keeps the zeros
of a part number. No cell can become a formula: text that starts as one gets an apostrophe in front.
The rule can be undone: a text of a cell that starts with an apostrophe lost its first character to
nobody but this rule, as a text that has one of its own gets a second.
"""

import csv
import io
import re
from collections.abc import Iterable, Sequence
from decimal import Decimal

# What starts a formula: the signs, also as full-width forms, which some programs take for the same.
# Tabs and line ends in front of them are control characters and become spaces first.
_SIGNS = "=+\\-@\uff1d\uff0b\uff0d\uff20"
_STARTS_FORMULA = re.compile(rf"[{_SIGNS}'\t\r\n]")
# A program of another country takes a semicolon for the end of a cell, even within the quotes of a
# cell that does not start with one; what follows must not start a formula either.
_FORMULA_BEHIND_SEPARATOR = re.compile(rf"([;|][\s\"]*)(?=[{_SIGNS}])")
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029\ufeff]")

Cell = str | int | float | Decimal | bool | None


def csv_of_rows(names: Sequence[str], rows: Iterable[Sequence[Cell]]) -> bytes:
    """Return a table as CSV.

    Parameters
    ----------
    names
        Of the columns.
    rows
        Cells; None is an empty one.

    Returns
    -------
    bytes
        As the head of this module says.
    """
    text = io.StringIO(newline="")
    writer = csv.writer(text, quoting=csv.QUOTE_NONNUMERIC, lineterminator="\r\n")
    writer.writerow(names)
    writer.writerows([_cell(value) for value in row] for row in rows)
    return text.getvalue().encode()


def harmless(text: str) -> str:
    """Return the text of a cell that no program takes for a formula.

    Parameters
    ----------
    text
        Any.

    Returns
    -------
    str
        With spaces for control characters and, where it starts as a formula or with an apostrophe,
        an apostrophe in front.

    References
    ----------
    CWE-1236; the apostrophe is the common remedy, no source for the rest.
    """
    marked = "'" if _STARTS_FORMULA.match(text.lstrip(" \u00a0")) else ""
    return marked + _FORMULA_BEHIND_SEPARATOR.sub(r"\1'", _CONTROL.sub(" ", text))


def _cell(value: Cell) -> str | Decimal:
    """Return a cell as the CSV writer takes it: numbers bare, all else as text to be quoted."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return harmless(value)
    # By its digits, which are those of JSON.
    return value if isinstance(value, Decimal) else Decimal(repr(value))
