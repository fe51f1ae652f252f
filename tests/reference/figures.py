"""Every statement that a case file or a formula of the source makes about one cell of a table.

A figure names its row by the whole key and its column, so none can cover more than one cell.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from cases import FOLDER, case_list
from loomwright.tables import (
    audio_specs,
    fuse_specs,
    signal_specs,
    specs,
    supply_specs,
    tolerance_specs,
)
from loomwright.tables.read import package_folder, read_sources, read_table
from loomwright.tables.specs import Row, TableSpec

Key = tuple[str | float, ...]
Cell = str | float | None
Case = Mapping[str, Any]

SPECS = {
    spec.file.removesuffix(".csv"): spec
    for module in (specs, audio_specs, fuse_specs, signal_specs, supply_specs, tolerance_specs)
    for spec in vars(module).values()
    if isinstance(spec, TableSpec)
}


@dataclass(frozen=True)
class Figure:
    """What a source says about one cell, in the unit of the table.

    ``expected`` is a text, a number, ``None`` for a cell that the source leaves empty, or a pair
    of bounds. ``name`` says which case or formula it comes from, ``checked`` how that was seen.
    """

    name: str
    checked: str
    table: str
    key: Key
    column: str
    expected: Cell | tuple[float, float]
    relative: float = 0.0
    absolute: float = 0.0

    def holds(self, cell: Cell) -> bool:
        """Whether the cell agrees with the source."""
        if isinstance(self.expected, tuple):
            least, greatest = self.expected
            return isinstance(cell, float) and least <= cell <= greatest
        if isinstance(self.expected, str) or self.expected is None or not isinstance(cell, float):
            return cell == self.expected
        # Beside the stated tolerance only the rounding of a conversion of units is forgiven.
        slack = max(abs(self.expected) * max(self.relative, 1e-9), self.absolute)
        return abs(cell - self.expected) <= slack


def shipped_rows(table: str) -> list[Row]:
    """Return the rows of a shipped table in its printed units."""
    folder = package_folder()
    return list(read_table(folder, SPECS[table], read_sources(folder)))


def key_of(table: str, row: Row) -> Key:
    """Return the key of a row."""
    return tuple(key_cell(row[name]) for name in SPECS[table].key)


def key_cell(cell: Cell) -> str | float:
    """Return a cell of a key, which is never empty."""
    assert cell is not None
    return cell


def cell_of(expected: Any, factor: float) -> Cell | tuple[float, float]:
    """Return what a case file prints, times a factor of units."""
    if isinstance(expected, dict):
        return expected["least"] * factor, expected["greatest"] * factor
    return expected if expected is None or isinstance(expected, str) else expected * factor


def figure(
    case: Case, table: str, key: Key, column: str, expected: Cell | tuple[float, float]
) -> Figure:
    """Return a figure with the tolerance of its case."""
    return Figure(case["id"], case["checked"], table, key, column, expected, **case["tolerance"])


def listed_figures(case: Case) -> Iterator[Figure]:
    """Yield the figures of a case that lists rows of cells.

    ``given`` names the table, the columns in the order of the cells, the key first, and for a
    column printed in another unit the factor to the unit of the table. Where there is nothing but
    the key, the figure is that the row exists.
    """
    table, columns = case["given"]["table"], case["given"]["columns"]
    factors = case["given"].get("factors", {})
    length = len(SPECS[table].key)
    assert tuple(columns[:length]) == SPECS[table].key, f"{case['id']}: key columns come first"
    for cells in case["expected"]["rows"]:
        assert len(cells) == len(columns), f"{case['id']}: {cells}"
        key = tuple(float(cell) if isinstance(cell, int) else cell for cell in cells[:length])
        if len(columns) == length:
            yield figure(case, table, key, columns[-1], key[-1])
        for column, cell in zip(columns[length:], cells[length:], strict=True):
            yield figure(case, table, key, column, cell_of(cell, factors.get(column, 1.0)))


def resistance_figures(case: Case) -> Iterator[Figure]:
    """Yield the greatest resistances of one size of IEC 60228 or ISO 6722-1."""
    key = (case["given"]["size"],)
    for metal, expected in case["expected"]["resistance_20c_ohm_per_km"].items():
        yield figure(case, "conductor_sizes", key, f"resistance_{metal}_ohm_per_km", expected)


def opening_time_figures(case: Case) -> Iterator[Figure]:
    """Yield least and greatest opening time, but for the cases by hand between two points."""
    key = (case["given"]["fuse_type"], float(case["given"]["current_percent"]))
    if case["checked"] != "formula":
        for column, expected in case["expected"].items():
            yield figure(case, "fuse_opening_times", key, column, expected)


def engine_space_figures(case: Case) -> Iterator[Figure]:
    """Yield a factor for engine spaces; its range is the one insulation rating."""
    rating = float(case["given"]["temperature_rating_c"])
    key = (case["given"]["table"], "engine_space", rating)
    yield figure(case, "rating_factors", key, "upper", rating)
    yield figure(case, "rating_factors", key, "factor", case["expected"]["factor"])


def bundling_figures(case: Case) -> Iterator[Figure]:
    """Yield a factor for bundled conductors; few conductors have a factor of 1 and no row."""
    given, factor = case["given"], case["expected"]["factor"]
    key = (given["table"], "bundled_conductors", float(given["from"]))
    if factor != 1.0:
        yield figure(case, "rating_factors", key, "upper", float(given["to"]))
        yield figure(case, "rating_factors", key, "factor", factor)


def audio_figures(case: Case) -> Iterator[Figure]:
    """Yield a crest factor, or an efficiency in per cent; a case may be about neither."""
    given, expected = case["given"], case["expected"]["value"]
    if "programme" in given:
        yield figure(case, "programmes", (given["programme"],), given["field"], expected)
    elif "class" in given:
        column = "_".join(filter(None, (given["field"], given.get("end"), "percent")))
        yield figure(case, "amplifier_classes", (given["class"],), column, 100.0 * expected)


# Every case file whose figures stand in a table, and how a case names the cells. The files outside
# ``reference`` are those that the tests of the engineering run as well.
CASE_FILES: Mapping[str, Callable[[Case], Iterator[Figure]]] = {
    "amplifiers/tables": audio_figures,
    "conductors/iec_60228": resistance_figures,
    "conductors/iso_6722": resistance_figures,
    "fuses/opening_times": opening_time_figures,
    "heat/bundling": bundling_figures,
    "heat/engine_space_factors": engine_space_figures,
} | {
    f"reference/{path.stem}": listed_figures
    for path in sorted((FOLDER / "reference").glob("*.json"))
}


def case_figures() -> Iterator[Figure]:
    """Yield every figure of every case file."""
    for name, figures_of in CASE_FILES.items():
        for case in case_list(name):
            yield from figures_of(case)
