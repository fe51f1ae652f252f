"""A sheet as the plain values that the template of the PDF reads.

What depends on widths and lengths of texts is settled here: widths of columns, points at which a
long word may break, and what is short enough to stay on one page.
"""

import re
from collections.abc import Iterable, Sequence
from types import MappingProxyType
from typing import Any

from loomwright.documents.breaks import set_text
from loomwright.documents.sheet import (
    BLANK,
    Block,
    Cautions,
    Facts,
    Figure,
    Labels,
    Paragraph,
    Sheet,
    Step,
    Steps,
    Table,
)

MARGIN_MM = 18.0
# Width of the paper [mm], ISO 216 and ANSI/ASME Y14.1.
PAPER_WIDTHS_MM = MappingProxyType({"a4": 210.0, "us-letter": 215.9})
# Above this a drawing leaves no room for its heading and caption on a page of either paper.
GREATEST_DRAWING_MM = 205.0
# What a person needs to write a figure in.
_BLANK_MM = 20.0
_NARROWEST_MM = 11.0
# A figure or letter of a table's type size, and what stands to both sides of it in a cell.
_FIGURE_MM = 1.72
_INSETS_MM = 3.4
# Whatever has more characters may be higher than a page, and has to be let across its end.
_LONG = 1500
_PAGE_PART = re.compile(r"(\{pages?\})")


def data_of(sheet: Sheet) -> dict[str, Any]:
    """Return a sheet as plain values.

    Parameters
    ----------
    sheet
        Any.

    Returns
    -------
    dict[str, Any]
        What ``typst/sheet.typ`` reads; every text in it is harmless.

    Raises
    ------
    ValueError
        The paper is none of ``PAPER_WIDTHS_MM``.
    """
    if sheet.paper not in PAPER_WIDTHS_MM:
        raise ValueError(f"{sheet.paper!r} is no paper; one of {', '.join(PAPER_WIDTHS_MM)}")
    width_mm = PAPER_WIDTHS_MM[sheet.paper] - 2.0 * MARGIN_MM
    return {
        "language": sheet.language,
        "paper": sheet.paper,
        "margin_mm": MARGIN_MM,
        "title": set_text(sheet.title, width_mm / 2.0),
        "subtitle": set_text(sheet.subtitle, width_mm),
        "facts": _pairs(sheet.facts.pairs, width_mm / 2.0),
        "sections": [
            {
                "heading": set_text(section.heading, width_mm / 1.5),
                "starts_page": section.starts_page,
                "blocks": [block_data(block, width_mm) for block in section.blocks],
            }
            for section in sheet.sections
        ],
        "page_of": [part for part in _PAGE_PART.split(set_text(sheet.page_of, width_mm)) if part],
        "footer": set_text(sheet.footer, width_mm / 2.0),
    }


def block_data(block: Block, width_mm: float) -> dict[str, Any]:
    """Return a block as plain values with its kind.

    Parameters
    ----------
    block
        Any.
    width_mm
        Of the text on the page [mm].

    Returns
    -------
    dict[str, Any]
        Its texts and what was settled about it.
    """
    match block:
        case Paragraph():
            return {"kind": "paragraph", "text": set_text(block.text, width_mm)}
        case Facts():
            return {"kind": "facts", "pairs": _pairs(block.pairs, width_mm)}
        case Table():
            return _table(block, width_mm)
        case Cautions():
            return {
                "kind": "cautions",
                "heading": set_text(block.heading, width_mm),
                "texts": [set_text(text, width_mm - 12.0) for text in block.texts],
                "breaks": _long(block.texts),
            }
        case Steps():
            return {"kind": "steps", "steps": [_step(step, width_mm) for step in block.steps]}
        case Figure():
            return _figure(block, width_mm)
        case Labels():
            return _labels(block, width_mm)


def _pairs(pairs: Iterable[tuple[str, str]], width_mm: float) -> list[list[str]]:
    # A name has no more than a third of the width, as the value is what counts.
    return [
        [set_text(name, width_mm / 3.0), set_text(value, width_mm / 2.0)] for name, value in pairs
    ]


def _table(table: Table, width_mm: float) -> dict[str, Any]:
    widths = _widths(table, width_mm)
    rooms = [width - _INSETS_MM for width in widths]
    cells: list[list[list[str | None]]] = [
        [
            [
                None if cell == BLANK else set_text(cell, room)
                for cell, room in zip(row, rooms, strict=True)
            ]
            for row in rows
        ]
        for rows in (table.rows, table.totals)
    ]
    return {
        "kind": "table",
        "caption": set_text(table.caption, width_mm),
        "columns": [
            set_text(column.heading, room)
            for column, room in zip(table.columns, rooms, strict=True)
        ],
        "figures": [column.is_figure for column in table.columns],
        "widths": widths,
        "rows": cells[0],
        "totals": cells[1],
        "breaks": any(len(cell) > 12.0 * room for row in table.rows for cell, room in zip(row, rooms, strict=True)),
    }


def _widths(table: Table, width_mm: float) -> list[float]:
    """Return the width of each column [mm]: its share, but enough for its figures and blanks."""
    columns = table.columns
    least = [
        min(_least_width(column.is_figure, index, table), 0.4 * width_mm)
        for index, column in enumerate(columns)
    ]
    room = max(width_mm, sum(least))
    free = set(range(len(columns)))
    widths = list(least)
    # Whoever is given less than it needs keeps what it needs; the others share the rest.
    while free:
        rest = room - sum(least[index] for index in range(len(columns)) if index not in free)
        shares = sum(columns[index].share for index in free)
        for index in free:
            widths[index] = rest * columns[index].share / shares
        short = {index for index in free if widths[index] < least[index]}
        if not short:
            break
        for index in short:
            widths[index] = least[index]
        free -= short
    return [round(width, 3) for width in widths]


def _least_width(is_figure: bool, index: int, table: Table) -> float:
    cells = [row[index] for row in (*table.rows, *table.totals)]
    least = _BLANK_MM if BLANK in cells else _NARROWEST_MM
    if is_figure and cells:
        least = max(least, max(map(len, cells)) * _FIGURE_MM + _INSETS_MM)
    return least


def _step(step: Step, width_mm: float) -> dict[str, Any]:
    room_mm = width_mm - 18.0
    texts = [step.text, *step.cautions, *(text for pair in step.facts for text in pair)]
    return {
        "number": str(step.number),
        "text": set_text(step.text, room_mm),
        "facts": _pairs(step.facts, room_mm / 2.0),
        "parts": [
            [set_text(quantity, room_mm / 4.0), set_text(part, room_mm / 2.0)]
            for quantity, part in step.parts
        ],
        "cautions": [set_text(text, room_mm) for text in step.cautions],
        "breaks": _long(texts) or len(step.parts) + len(step.facts) > 40,
    }


def _figure(figure: Figure, width_mm: float) -> dict[str, Any]:
    drawing = figure.drawing
    return {
        "kind": "figure",
        "svg": drawing.svg,
        "alt": set_text(drawing.description, float("inf")),
        "caption": set_text(figure.caption, width_mm),
        "width_mm": min(width_mm, GREATEST_DRAWING_MM * drawing.width / drawing.height),
    }


def _labels(labels: Labels, width_mm: float) -> dict[str, Any]:
    room_mm = labels.width_mm - 3.0
    return {
        "kind": "labels",
        "across": max(1, int(width_mm / labels.width_mm + 1e-9)),
        "width_mm": labels.width_mm,
        "height_mm": labels.height_mm,
        "labels": [
            {
                "head": set_text(label.head, room_mm / 1.5),
                "lines": [set_text(line, room_mm) for line in label.lines],
            }
            for label in labels.labels
        ],
    }


def _long(texts: Sequence[str]) -> bool:
    return sum(map(len, texts)) > _LONG or len(texts) > 25
