"""Text in drawings: what of it can be printed, how wide it is, and where its lines break.

Drawings are lettered in a monospaced face, so that the width of a text is known without the font.
"""

import re
import unicodedata

from loomwright.harmless import one_line

FONT_FAMILY = "DejaVu Sans Mono, Liberation Mono, Menlo, Consolas, monospace"
# Advance of one cell over the font size: 1233 of 2048 units in DejaVu Sans Mono, the widest of the
# family (from memory).
CELL = 0.602
_GREATEST_MARKS = 2
ELLIPSIS = "\u2026"

_MARKUP = re.compile("[&<>\"']")
_ENTITIES = {"&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;", "'": "&#39;"}


def printable(text: str) -> str:
    """Return a text as a diagram shows it.

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
    shown = " ".join(one_line(text).split())
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
        With entities for what XML reads as markup.
    """
    if _MARKUP.search(text) is None:
        return text
    return _MARKUP.sub(lambda found: _ENTITIES[found[0]], text)


def cells(text: str) -> int:
    """Return how many cells of a monospaced line a text takes at most.

    Parameters
    ----------
    text
        Printable.

    Returns
    -------
    int
        One for each Latin, Greek and Cyrillic letter and for usual punctuation, none for marks
        that stand over another, two for any other character, whose face is not known.
    """
    return len(text) if text.isascii() else sum(map(_cells_of, text))


def _cells_of(character: str) -> int:
    if unicodedata.combining(character):
        return 0
    return 1 if character < "\u0530" or "\u2010" <= character <= "\u2044" else 2


def wrapped(text: str, width: int, most: int) -> tuple[str, ...]:
    """Return a text in lines.

    Parameters
    ----------
    text
        Printable.
    width
        Cells of a line, 2 or more.
    most
        Lines, 1 or more.

    Returns
    -------
    tuple of str
        Broken at spaces where that is possible; the last ends in an ellipsis if not all is in it.
    """
    if cells(text) <= width:
        return (text,)
    lines: list[str] = []
    rest = text
    while rest:
        if cells(rest) <= width:
            lines.append(rest)
            break
        if len(lines) == most - 1:
            lines.append(_start(rest, width - 1).rstrip() + ELLIPSIS)
            break
        head = _start(rest, width + 1)
        at_space = head.rfind(" ")
        line = head[:at_space] if at_space > 0 else _start(rest, width)
        lines.append(line)
        rest = rest[len(line) :].lstrip()
    return tuple(lines)


def _start(text: str, width: int) -> str:
    """Return as much of the start of a text as there is room for."""
    if text.isascii():
        return text[:width]
    taken = 0
    for place, character in enumerate(text):
        taken += _cells_of(character)
        if taken > width:
            return text[:place]
    return text
