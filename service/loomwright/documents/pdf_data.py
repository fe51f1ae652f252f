"""A sheet as the plain values that the template of the PDF reads.

What depends on widths and lengths of texts is settled here: widths of columns, points at which a
long word may break, which rows are one line high, and what is short enough to stay on one page.
"""

from collections.abc import Sequence
from types import MappingProxyType
from typing import Any

from loomwright.documents.breaks import BOLD, GREATEST_EM, Fitting, fits, width_em
from loomwright.documents.sheet import (
    BLANK,
    Block,
    Cautions,
    Column,
    Facts,
    Figure,
    Labels,
    Paragraph,
    Sheet,
    Step,
    Steps,
    Table,
    page_number_parts,
)
from loomwright.harmless import one_line

# The type sizes of the template [mm]: of texts, of tables and lists in steps, of the footer.
_EM_MM, _SMALL_EM_MM, _FOOTER_EM_MM = 10.0 * 0.3528, 8.5 * 0.3528, 8.0 * 0.3528
_TITLE_EM_MM, _HEADING_EM_MM, _SUBTITLE_EM_MM = 17.0 * 0.3528, 12.0 * 0.3528, 11.5 * 0.3528
MARGIN_MM = 15.0
# Width of the paper [mm], ISO 216 and ANSI/ASME Y14.1.
PAPER_WIDTHS_MM = MappingProxyType({"a4": 210.0, "us-letter": 215.9})
# Above this a drawing leaves no room for its heading and caption on a page of either paper.
GREATEST_DRAWING_MM = 205.0
# A pixel of a drawing, whose letters have 13: those of the print then have the size of its tables.
PIXEL_MM = 0.7 * 0.3528
# A drawing that is higher lets what follows come before it, if it begins a page.
_HIGH_DRAWING_MM = 70.0
# What a person needs to write a figure in, and to tick.
_BLANK_MM, _TICK_MM = 20.0, 13.0
# What stands in front of the text of a step: the box and the number.
STEP_INDENT_MM = 13.0
_NARROWEST_MM = 11.0
# What stands to both sides of the text of a cell.
_INSETS_MM = 2.9
# Whatever may have more lines than a page has room for has to be let across its end.
_MANY_LINES = 40.0
# Between a name and its value and behind the value, in the template [em].
_BETWEEN_EM = 3.0
_NUMBER_DIGITS, _FIGURE_SPACE = 3, "\u2007"


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
    fitting = Fitting()
    return {
        "language": sheet.language,
        "paper": sheet.paper,
        "margin_mm": MARGIN_MM,
        "name": one_line(sheet.title),
        "title": fitting.text(sheet.title, width_mm / _TITLE_EM_MM, bold=True),
        "subtitle": fitting.text(sheet.subtitle, width_mm / _SUBTITLE_EM_MM),
        "facts": _facts(sheet.facts.pairs, width_mm / _EM_MM, fitting, across=2),
        "sections": [
            {
                "heading": fitting.text(section.heading, width_mm / _HEADING_EM_MM, bold=True),
                "starts_page": section.starts_page,
                "blocks": [block_data(block, width_mm) for block in section.blocks],
            }
            for section in sheet.sections
        ],
        "page_of": page_number_parts(one_line(sheet.page_of)),
        "footer": fitting.text(sheet.footer, 0.6 * width_mm / _FOOTER_EM_MM),
        "hyphenate": fitting.hyphenates,
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
    fitting = Fitting()
    data = _block(block, width_mm, fitting)
    data["hyphenate"] = fitting.hyphenates
    return data


def _block(block: Block, width_mm: float, fitting: Fitting) -> dict[str, Any]:
    room_em = width_mm / _EM_MM
    data: dict[str, Any]
    match block:
        case Paragraph():
            data = {"kind": "paragraph", "text": fitting.text(block.text, room_em)}
        case Facts():
            facts = _facts(block.pairs, room_em, fitting)
            data = {"kind": "facts", "facts": facts, "breaks": facts["lines"] > _MANY_LINES / 2.0}
        case Table():
            data = _table(block, width_mm, fitting)
        case Cautions():
            data = {
                "kind": "cautions",
                "heading": fitting.text(block.heading, room_em - 3.0, bold=True),
                "texts": [fitting.text(text, room_em - 4.5) for text in block.texts],
                "breaks": sum(_lines(text, room_em - 4.5) for text in block.texts) > _MANY_LINES,
            }
        case Steps():
            data = {
                "kind": "steps",
                "steps": [_step(step, width_mm, fitting) for step in block.steps],
                "cautions": [
                    fitting.text(text, width_mm / _SMALL_EM_MM - 2.0, bold=True)
                    for text in block.cautions
                ],
            }
        case Figure():
            data = _figure(block, width_mm, fitting)
        case Labels():
            data = _labels(block, width_mm, fitting)
    return data


def _facts(
    pairs: Sequence[tuple[str, str]], room_em: float, fitting: Fitting, across: int = 1
) -> dict[str, Any]:
    """Return pairs in so many columns of pairs, each with the width that its names need.

    A name takes no more than half of its column.
    """
    column_em = room_em / across - _BETWEEN_EM
    names = [
        min(
            1.05 * max([width_em(name) for name, _ in pairs[n::across]], default=0.0),
            0.5 * column_em,
        )
        for n in range(across)
    ]
    rooms = [column_em - name for name in names]
    rows = [pairs[start : start + across] for start in range(0, len(pairs), across)]
    return {
        "names": names,
        "pairs": [
            [
                fitting.text(name, names[n % across]),
                None if value == BLANK else fitting.text(value, rooms[n % across]),
            ]
            for n, (name, value) in enumerate(pairs)
        ],
        "single": [
            all(value != BLANK and fits(value, rooms[n]) for n, (_, value) in enumerate(row))
            for row in rows
        ],
        "lines": sum(
            max(_lines(value, rooms[n]) for n, (_, value) in enumerate(row)) for row in rows
        ),
    }


def _table(table: Table, width_mm: float, fitting: Fitting) -> dict[str, Any]:
    widths = _widths(table, width_mm)
    rooms = [(width - _INSETS_MM) / _SMALL_EM_MM for width in widths]
    rows = [_row(row, rooms, fitting) for row in table.rows]
    single = [_is_single(row, rooms) for row in rows]
    blanks = [any(row[index] == BLANK for row in table.rows) for index in range(len(table.columns))]
    return {
        "kind": "table",
        "caption": fitting.text(table.caption, width_mm / _EM_MM, bold=True),
        "columns": _row([column.heading for column in table.columns], rooms, fitting, bold=True),
        "figures": [column.is_figure for column in table.columns],
        "widths": widths,
        "rows": rows,
        "single": single,
        "totals": [_row(row, rooms, fitting, bold=True) for row in table.totals],
        "blanks": blanks,
        "written": any(
            blank and not column.is_tick
            for blank, column in zip(blanks, table.columns, strict=True)
        ),
        "breaks": any(
            not one and _is_high(row, rooms) for one, row in zip(single, rows, strict=True)
        ),
    }


def _row(
    row: Sequence[str], rooms: Sequence[float], fitting: Fitting, *, bold: bool = False
) -> list[str | None]:
    return [
        None if cell == BLANK else fitting.text(cell, room, bold=bold)
        for cell, room in zip(row, rooms, strict=True)
    ]


def _is_single(row: Sequence[str | None], rooms: Sequence[float]) -> bool:
    """Return whether each cell of a row surely takes one line; its height is not measured then."""
    return all(cell is None or fits(cell, room) for cell, room in zip(row, rooms, strict=True))


def _is_high(row: Sequence[str | None], rooms: Sequence[float]) -> bool:
    """Return whether a row may be too high to stay whole."""
    return any(
        cell is not None and _lines(cell, room) > _MANY_LINES
        for cell, room in zip(row, rooms, strict=True)
    )


def _widths(table: Table, width_mm: float) -> list[float]:
    """Return the width of each column [mm]: its share, but enough for its figures and blanks."""
    columns = table.columns
    least = [
        min(_least_width_mm(column, index, table), 0.4 * width_mm)
        for index, column in enumerate(columns)
    ]
    # More columns than there is room for become narrower than they need.
    scale = min(1.0, width_mm / sum(least))
    least = [scale * width for width in least]
    free = set(range(len(columns)))
    widths = list(least)
    # Whoever is given less than it needs keeps what it needs; the others share the rest.
    while free:
        rest = width_mm - sum(least[index] for index in range(len(columns)) if index not in free)
        shares = sum(columns[index].share for index in free)
        for index in free:
            widths[index] = rest * columns[index].share / shares
        short = {index for index in free if widths[index] < least[index]}
        for index in short:
            widths[index] = least[index]
        if not short:
            break
        free -= short
    return [round(width, 3) for width in widths]


def _least_width_mm(column: Column, index: int, table: Table) -> float:
    cells = [row[index] for row in (*table.rows, *table.totals)]
    least = _NARROWEST_MM
    if BLANK in cells:
        least = _TICK_MM if column.is_tick else _BLANK_MM
    if column.is_figure and cells:
        # Its least room takes the totals as they stand, in bold.
        wide = max(
            [width_em(row[index]) for row in table.rows]
            + [BOLD * width_em(row[index]) for row in table.totals]
        )
        # No word of its heading is divided either.
        wide = max([wide] + [BOLD * width_em(word) for word in column.heading.split()])
        least = max(least, 1.05 * wide * _SMALL_EM_MM + _INSETS_MM)
    return least


def _step(step: Step, width_mm: float, fitting: Fitting) -> dict[str, Any]:
    room_mm = width_mm - STEP_INDENT_MM
    room_em, small_em = room_mm / _EM_MM, room_mm / _SMALL_EM_MM - 1.5
    facts = [
        (fitting.text(name, small_em), fitting.text(text, small_em)) for name, text in step.facts
    ]
    parts = fitting.text("; ".join(f"{quantity} {part}" for quantity, part in step.parts), small_em)
    cautions = [fitting.text(text, small_em, bold=True) for text in step.cautions]
    checks = [fitting.text(text, small_em) for text in step.checks]
    # Each of them begins a line, which its last word may fill.
    small = (
        "   ".join([*(f"{name} {text}" for name, text in facts), parts]),
        "    ".join(checks),
        "    ".join(cautions),
    )
    # Few letters need no measuring.
    lines = 5.0 + 1.1 * GREATEST_EM * sum(map(len, (step.text, *small))) / small_em
    if lines > _MANY_LINES:
        lines = _lines(step.text, room_em) + sum(_lines(text, small_em) for text in small)
    return {
        "number": str(step.number).rjust(_NUMBER_DIGITS, _FIGURE_SPACE),
        "text": fitting.text(step.text, room_em),
        "facts": facts,
        "parts": parts,
        "cautions": cautions,
        "checks": checks,
        "breaks": lines > _MANY_LINES,
    }


def _figure(figure: Figure, width_mm: float, fitting: Fitting) -> dict[str, Any]:
    drawing = figure.drawing
    scale_mm = min(PIXEL_MM, width_mm / drawing.width, GREATEST_DRAWING_MM / drawing.height)
    return {
        "kind": "figure",
        "svg": drawing.svg,
        "alt": one_line(drawing.description),
        "caption": fitting.text(figure.caption, width_mm / _SMALL_EM_MM),
        "width_mm": scale_mm * drawing.width,
        "floats": scale_mm * drawing.height > _HIGH_DRAWING_MM,
    }


def _labels(labels: Labels, width_mm: float, fitting: Fitting) -> dict[str, Any]:
    # By the greatest type size of the template, at which most labels are set.
    room_em = (labels.width_mm - 3.0) / _EM_MM
    return {
        "kind": "labels",
        "across": max(1, int(width_mm / labels.width_mm + 1e-9)),
        "width_mm": labels.width_mm,
        "height_mm": labels.height_mm,
        "labels": [
            {
                "head": fitting.text(label.head, room_em / 1.5, bold=True),
                "lines": [fitting.text(line, room_em) for line in label.lines],
            }
            for label in labels.labels
        ],
    }


def _lines(text: str, room_em: float) -> float:
    """Return about how many lines a text takes, rather too many than too few."""
    if len(text) * GREATEST_EM <= room_em:
        return 1.0
    return 1.0 + 1.1 * width_em(text) / room_em
