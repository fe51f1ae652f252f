"""Text in diagrams: how wide it is, and where its lines break.

Diagrams are lettered in a monospaced face, so that the width of a text is known without the font.
"""

import unicodedata

FONT_FAMILY = "DejaVu Sans Mono, Liberation Mono, Menlo, Consolas, monospace"
# Advance of one cell over the font size: 1233 of 2048 units in DejaVu Sans Mono, the widest of the
# family (from memory).
CELL = 0.602
ELLIPSIS = "\u2026"


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
