"""Text in charts: figures to three digits, widths and line breaks, in a proportional face."""

import math
import re
from collections.abc import Iterator

from loomwright.drawings.shown_text import printable

FONT = "Helvetica, Arial, 'Liberation Sans', sans-serif"
# px of CSS; drawings are some 376 px wide, so that it is 11 px on a screen of 360 px.
TEXT_SIZE = 12.0
HEADING_SIZE = 13.0
LINE_HEIGHT = 15.0
MINUS = "\N{MINUS SIGN}"

# Advance widths in thousandths of an em, by the characters that have them: of the widest of the
# usual sans-serif fonts, so that a text needs no more room in any of them.
# Source: DejaVu Sans 2.37, table ``hmtx`` (measured).
_WIDTHS = {
    character: width
    for width, characters in (
        (278, "'ijl"),
        (295, "IJ"),
        (318, " \xa0,.·"),
        (337, "/:;\\|"),
        (361, "-f"),
        (392, "()[]t"),
        (411, "!²³r"),
        (460, '"'),
        (500, "*_`°\N{EN DASH}"),
        (525, "sz?"),
        (557, "cL"),
        (579, "Fk"),
        (603, "vxyP"),
        (615, "TYoae"),
        (636, "hnuESbdgpq$0123456789{}µ"),
        (656, "K"),
        (698, "AVXZBRC"),
        (732, "U"),
        (764, "NHΩ"),
        (787, "DG&OQ"),
        (838, f"w#+<=>^~±\N{MULTIPLICATION SIGN}{MINUS}≤≥∞"),
        (863, "M"),
        (989, "m%W"),
    )
    for character in characters
}
# What is not listed is taken for as wide as it is high.
_WIDEST = 1000
_BOLD = 1.16

# A unit, or the series of a size, stays with its figure.
_FIGURE_AND_UNIT = re.compile(r"(?<=[0-9]) (?=[%A-Za-zµ])")
_PREFIXES = {-9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G"}
MINUTE_S, HOUR_S = 60.0, 3600.0


def text_width(text: str, size: float = TEXT_SIZE, *, bold: bool = False) -> float:
    """Return the width that a text has at most in any of the fonts that are asked for.

    Parameters
    ----------
    text
        One line.
    size
        Of the font [px].
    bold
        Whether it is bold.

    Returns
    -------
    float
        Width [px].
    """
    thousandths = sum([_WIDTHS.get(character, _WIDEST) for character in text])
    return thousandths * 0.001 * size * (_BOLD if bold else 1.0)


def shortened(text: str, width: float, size: float = TEXT_SIZE, *, bold: bool = False) -> str:
    """Return as much of a text as fits a width, with dots where something is left out.

    Parameters
    ----------
    text
        One line.
    width
        That there is room for [px].
    size
        Of the font [px].
    bold
        Whether it is bold.

    Returns
    -------
    str
        The text, or its beginning with "...".
    """
    if text_width(text, size, bold=bold) <= width:
        return text
    # No more characters than of the narrowest letter can fit.
    kept = text[: int(width / (0.2 * size)) + 1]
    while kept and text_width(f"{kept}...", size, bold=bold) > width:
        kept = kept[:-1]
    return f"{kept.rstrip()}..."


def wrapped(
    text: str,
    width: float,
    size: float = TEXT_SIZE,
    *,
    bold: bool = False,
    most_lines: int = 99,
) -> tuple[str, ...]:
    """Return a text in lines of a width.

    Parameters
    ----------
    text
        Any.
    width
        Of a line [px].
    size
        Of the font [px].
    bold
        Whether it is bold.
    most_lines
        What is beyond them is left out, with dots.

    Returns
    -------
    tuple of str
        Lines, each of which fits; a word that does not is shortened.
    """
    lines: list[str] = []
    words = _FIGURE_AND_UNIT.sub("\xa0", printable(text)).split(" ")
    for place, word in enumerate(words):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size, bold=bold) <= width:
            lines[-1] = longer
        elif len(lines) < most_lines:
            lines.append(shortened(word, width, size, bold=bold))
        else:
            rest = " ".join([lines[-1], *words[place:]])
            lines[-1] = shortened(rest, width, size, bold=bold)
            break
    return tuple(lines)


def three_digits(value: float) -> str:
    """Return a number with at most three significant digits, without exponent.

    Parameters
    ----------
    value
        Of magnitude 1e-4 to 1e6, or 0.

    Returns
    -------
    str
        With a minus sign that is as wide as a plus where it is below 0.
    """
    text = f"{float(f'{value:.3g}'):.7f}".rstrip("0").rstrip(".")
    return "0" if text in ("0", "-0") else text.replace("-", MINUS)


def engineering_figure(value: float, least_plain: float = 1e-3) -> tuple[str, str]:
    """Return a number to three digits and the prefix of its unit.

    Parameters
    ----------
    value
        Any number, not NaN.
    least_plain
        From here to 9999 a number has no prefix.

    Returns
    -------
    tuple of str
        Figure, and a prefix of the SI or nothing.
    """
    if math.isinf(value):
        return (f"{MINUS}∞" if value < 0.0 else "∞"), ""
    rounded = float(f"{value:.3g}")
    magnitude = abs(rounded)
    if magnitude == 0.0 or least_plain <= magnitude < 10_000.0:
        return three_digits(rounded), ""
    power = max(-9, min(9, 3 * math.floor(math.log10(magnitude) / 3.0 + 1e-12)))
    return three_digits(rounded / 10.0**power), _PREFIXES[power]


def quantity(value: float, unit: str, least_plain: float = 1.0) -> str:
    """Return a quantity with its unit.

    Parameters
    ----------
    value
        In the unit.
    unit
        Of the SI, which takes prefixes.
    least_plain
        Below it the unit has a prefix.

    Returns
    -------
    str
        As in "319 A" or "38.2 mV".
    """
    figure, prefix = engineering_figure(value, least_plain)
    return f"{figure} {prefix}{unit}"


def duration(value_s: float) -> str:
    """Return a time in seconds, minutes or hours.

    Parameters
    ----------
    value_s
        Time [s], 0 or more.

    Returns
    -------
    str
        As in "0.1 s", "10 min" or "100 h".
    """
    if value_s < 2.0 * MINUTE_S:
        return quantity(value_s, "s", 1e-3)
    if value_s < 2.0 * HOUR_S:
        return f"{three_digits(value_s / MINUTE_S)} min"
    figure, prefix = engineering_figure(value_s / HOUR_S)
    return f"{figure} {prefix}h" if not prefix else f"{figure} {prefix} h"


def size_name(key: str) -> str:
    """Return the key of a conductor size as it is written."""
    return key.replace("mm2", "mm²")


def sentences(*parts: str | None) -> str:
    """Return parts of a description as sentences, empty ones left out."""
    return " ".join(_ended([part for part in parts if part]))


def _ended(parts: list[str]) -> Iterator[str]:
    for part in parts:
        yield part if part.endswith((".", "!", "?")) else f"{part}."
