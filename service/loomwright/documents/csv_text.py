"""CSV (RFC 4180) that no spreadsheet takes for formulas, UTF-8 without byte-order mark.

Numbers stand bare; every text is quoted, so that a program that tells the two apart keeps the zeros
of a part number. No cell can become a formula: text that starts as one gets an apostrophe in front.
The rule can be undone: a text of a cell that starts with an apostrophe lost its first character to
nobody but this rule, as a text that has one of its own gets a second.
"""

import csv
import io
from collections.abc import Iterable, Sequence
from decimal import Decimal

from loomwright.harmless import harmless

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
