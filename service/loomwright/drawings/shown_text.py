"""Text in drawings: what of it is shown, and how it stands in XML."""

import unicodedata
from html import escape

from loomwright.harmless import one_line

_GREATEST_MARKS = 2


def printable(text: str) -> str:
    """Return a text as a drawing shows it.

    Parameters
    ----------
    text
        Any.

    Returns
    -------
    str
        In one line (``loomwright.harmless.one_line``), with one space for each run of them; of
        marks that stand over a letter two at most, as more would reach into the next line.
    """
    # No-break spaces stay: they hold a figure to its unit.
    shown = " ".join(part for part in one_line(text).split(" ") if part)
    return shown if shown.isascii() else _with_few_marks(shown)


def _with_few_marks(text: str) -> str:
    kept: list[str] = []
    marks = 0
    for character in text:
        marks = marks + 1 if unicodedata.combining(character) else 0
        if marks <= _GREATEST_MARKS:
            kept.append(character)
    return "".join(kept)


def escaped(text: str) -> str:
    """Return a printable text as XML takes it, in an element and in an attribute.

    Parameters
    ----------
    text
        Printable.

    Returns
    -------
    str
        With references for what XML reads as markup.
    """
    return escape(text, quote=True)


def xml_text(text: str) -> str:
    """Return a text as it may stand in an element or in an attribute.

    Parameters
    ----------
    text
        Any.

    Returns
    -------
    str
        Printable, markup as references.
    """
    return escaped(printable(text))
