"""Which rows of the tables are exercised: changed in one cell, each must contradict a figure.

Nothing declares a row as covered. A row counts if every cell of it that holds a figure, made
wrong on purpose, breaks a figure about that row. The rules of the loader play no part.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from loomwright.tables.specs import Column, Row
from reference.figures import SPECS, Cell, Figure, Key, case_figures, key_of
from reference.formulas import formula_figures

# Figures seen in print or computed weigh more than recalled ones, these more than bare practice.
MARKS = ("page", "formula", "memory", "practice")
# Words of our own beside the key; nothing is published that they could contradict.
LABELS = frozenset({"name"})
PROVENANCE_ENDS = ("_checked", "_source", "_locator")
WRONG_FACTORS = (1.1, 0.9)


@dataclass(frozen=True)
class Exercise:
    """Outcome for one row: the cells that no figure holds, and the weakest mark of the others."""

    table: str
    key: Key
    unheld: tuple[str, ...]
    weakest: str

    def __str__(self) -> str:
        """Name the row and the cells."""
        return f"{self.table} {' '.join(map(str, self.key))}: {', '.join(self.unheld)}"


def figures_by_row() -> dict[tuple[str, Key], list[Figure]]:
    """Return the figures of the case files by table and key."""
    found: dict[tuple[str, Key], list[Figure]] = {}
    for figure in case_figures():
        found.setdefault((figure.table, figure.key), []).append(figure)
    return found


def figure_columns(table: str) -> list[Column]:
    """Return the columns that hold figures: all but labels and provenance."""
    return [
        column
        for column in SPECS[table].columns
        if column.name not in LABELS and not column.name.endswith(PROVENANCE_ENDS)
    ]


def wrong_cells(column: Column, cell: Cell, rows: Sequence[Row]) -> list[Cell]:
    """Return plausible wrong values of a cell.

    A number is changed by 10 % either way, nought to one; an empty cell and a text take the first
    other value of the column, or one of their own where there is none.
    """
    if isinstance(cell, float):
        return [cell * factor for factor in WRONG_FACTORS] if cell else [1.0]
    others = [row[column.name] for row in rows if row[column.name] not in (cell, None)]
    if others:
        return [others[0]]
    return [1.0 if column.is_number else f"{cell} x"]


def broken_figures(
    table: str,
    row: Row,
    rows: Sequence[Row],
    about: Mapping[tuple[str, Key], Sequence[Figure]],
    key: Key | None = None,
) -> Iterator[Figure]:
    """Yield the figures about a row that it contradicts.

    ``key`` is that under which the row stood before it was changed: if it is another now, no row
    is left for the figures under it.
    """
    now = key_of(table, row)
    if key is not None and key != now:
        yield from about.get((table, key), ())
    for figure in (*about.get((table, now), ()), *formula_figures(table, row, rows)):
        if not figure.holds(row[figure.column]):
            yield figure


def named(figure: Figure) -> tuple[str, str]:
    """Return what stays the same of a figure when a formula gives another value."""
    return figure.name, figure.column


def exercise(
    table: str,
    row: Row,
    rows: Sequence[Row],
    about: Mapping[tuple[str, Key], Sequence[Figure]],
) -> Exercise:
    """Return which cells of a row can be made wrong without breaking a figure about it."""
    key = key_of(table, row)
    # What the row contradicts as it stands is a fault of its own and holds nothing.
    broken = {named(figure) for figure in broken_figures(table, row, rows, about)}
    unheld, weakest = [], 0
    for column in figure_columns(table):
        for wrong in wrong_cells(column, row[column.name], rows):
            changed = {**row, column.name: wrong}
            others = [changed if other is row else other for other in rows]
            marks = [
                MARKS.index(figure.checked)
                for figure in broken_figures(table, changed, others, about, key)
                if named(figure) not in broken
            ]
            if not marks:
                unheld.append(column.name)
                break
            weakest = max(weakest, min(marks))
    return Exercise(table, key, tuple(unheld), MARKS[weakest])


def exercises(
    tables: Mapping[str, Sequence[Row]], about: Mapping[tuple[str, Key], Sequence[Figure]]
) -> list[Exercise]:
    """Return the outcome for every row of some tables."""
    return [exercise(table, row, rows, about) for table, rows in tables.items() for row in rows]


def summary(outcomes: Sequence[Exercise]) -> list[str]:
    """Return one line for each table and one for all."""
    lines = [
        line(table, [outcome for outcome in outcomes if outcome.table == table])
        for table in dict.fromkeys(outcome.table for outcome in outcomes)
    ]
    return [*lines, line("all tables", outcomes)]


def line(name: str, outcomes: Sequence[Exercise]) -> str:
    """Return how many rows are exercised, and what the weakest cell of each rests on."""
    held = [outcome for outcome in outcomes if not outcome.unheld]
    rest = ", ".join(
        f"{mark} {count}"
        for mark in MARKS
        if (count := sum(outcome.weakest == mark for outcome in held))
    )
    return f"{name}: table rows exercised {len(held)}/{len(outcomes)} ({rest})"
