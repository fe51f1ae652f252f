"""CSV that no spreadsheet takes for formulas."""

import csv
import io
import re
from collections.abc import Iterable, Sequence

# What makes a spreadsheet take a cell for a formula (common practice, no source).
_BEGINNINGS = ("=", "+", "-", "@", "\t", "\r", "\n")
_NUMBER = re.compile(r"-?[0-9]+(\.[0-9]+)?([eE][+-]?[0-9]+)?", re.ASCII)


def csv_text(rows: Iterable[Sequence[object]]) -> str:
    """Return rows as CSV; none is a cell without text, and a truth value is written as in JSON.

    Parameters
    ----------
    rows
        Texts, numbers, truth values or none.

    Returns
    -------
    str
        Rows that end in CR LF.

    References
    ----------
    RFC 4180.
    """
    text = io.StringIO()
    csv.writer(text, lineterminator="\r\n").writerows(
        [_cell(value) for value in row] for row in rows
    )
    return text.getvalue()


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    text = str(value)
    # An apostrophe in front marks a text in every spreadsheet; a negative number needs none.
    if text.startswith(_BEGINNINGS) and not _NUMBER.fullmatch(text):
        return f"'{text}"
    return text
