"""What a document for people holds, whatever it is printed as.

A sheet is made once of an answer, in one language and one system of units, and each printer (HTML,
PDF) sets the same words. All texts are plain: a printer escapes them as its form wants it.
"""

import re
from dataclasses import dataclass, field

from loomwright.drawings.drawing import Drawing
from loomwright.marked import marked

# What a table cell, or the value of a fact, holds that is filled in by hand.
BLANK = "\u2007"
PAGE_OF = marked("Page {page} of {pages}")
_PLACE_OF_NUMBER = re.compile(r"(\{pages?\})")


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table; ``is_figure`` sets its cells in figures of equal width, to the right.

    ``share`` is its share of the width beside those of the others; ``is_tick`` says that its blank
    cells are ticked, and need no room for a figure.
    """

    heading: str
    is_figure: bool = False
    share: float = 1.0
    is_tick: bool = False


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A paragraph."""

    text: str


@dataclass(frozen=True, slots=True)
class Facts:
    """What stands under a name each, as pairs of name and value.

    A value of ``BLANK`` is a line to write on.
    """

    pairs: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table whose rows stay whole and whose heading is repeated on each page.

    ``totals`` are rows at its end; the last of them is the one that counts. A cell of ``BLANK`` is
    an empty box.
    """

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    totals: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class Cautions:
    """Cautions, which stand out and are never split from their heading."""

    heading: str
    texts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Step:
    """A step of a work order with a box to tick.

    ``facts`` says where, with what and how tight; ``parts`` are lines of quantity and part;
    ``checks`` are what has to be found true, each with a box of its own.
    """

    number: int
    text: str
    facts: tuple[tuple[str, str], ...] = ()
    parts: tuple[tuple[str, str], ...] = ()
    checks: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Steps:
    """Steps in their order, each of which stays on one page where it can.

    ``cautions`` stand in front, once for all the steps that they hold for.
    """

    steps: tuple[Step, ...]
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Figure:
    """A drawing with its caption."""

    drawing: Drawing
    caption: str


@dataclass(frozen=True, slots=True)
class Label:
    """A label to cut out: what stands large on it, and the lines below."""

    head: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Labels:
    """Labels of one size in rows, with lines to cut along.

    ``width_mm`` and ``height_mm`` are those of one label.
    """

    labels: tuple[Label, ...]
    width_mm: float
    height_mm: float


Block = Paragraph | Facts | Table | Cautions | Steps | Figure | Labels


@dataclass(frozen=True, slots=True)
class Section:
    """A heading with what stands under it."""

    heading: str
    blocks: tuple[Block, ...]
    starts_page: bool = False


@dataclass(frozen=True, slots=True)
class Sheet:
    """A whole document.

    Parameters
    ----------
    language
        As in BCP 47: ``en``, ``de``, ``es``.
    paper
        ``a4``, or ``us-letter`` with US units.
    title
        Of the document.
    subtitle
        What it is about; empty where nothing is to be said.
    facts
        Number, date, parties, vehicle.
    sections
        In order.
    page_of
        Words of the page number with ``{page}`` and ``{pages}``.
    footer
        What stands at the foot of each page.
    """

    language: str
    paper: str
    title: str
    subtitle: str
    facts: Facts
    sections: tuple[Section, ...]
    page_of: str
    footer: str = field(default="")


def page_number_parts(text: str) -> list[str]:
    """Return the words of a page number with its two figures apart from what is between.

    Parameters
    ----------
    text
        As in ``Sheet.page_of``.

    Returns
    -------
    list of str
        In order; none is empty.
    """
    return [part for part in _PLACE_OF_NUMBER.split(text) if part]
