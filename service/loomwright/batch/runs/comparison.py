"""What changed between the quotes of an earlier run and of this one.

Rows are matched by package and vehicle, in whatever order they stand. A first pass over the column
of packages says which row groups hold which; then so many packages are compared at a time that
memory stays within some hundred thousand rows, or the rows of one package where it has more. Files
of a run hold packages one after the other, so that each row group is read about once.
"""

import heapq
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from loomwright.batch.rows import CIRCUITS, COLUMNS, OF_PAIR, row_schema
from loomwright.batch.runs.changes import Comparison, PackageChanges, PriceChange
from loomwright.batch.runs.compared_circuits import circuit_changes
from loomwright.batch.runs.parts import nested_circuits
from loomwright.batch.runs.run_error import RunError
from loomwright.engineering.record import record
from loomwright.jobs.priced_job import COMPLETE

# Rows of either side that are compared at a time.
_ROWS_AT_ONCE = 100_000
_GREATEST = 5
_NEEDED = ("package", "vehicle", "verdict", "currency", "total", "code", CIRCUITS)
# Nothing but the scale of amounts depends on it.
_ANY_CURRENCY = "EUR"
# Judged one by one; a difference in any other column counts as one in other figures.
_JUDGED = {*OF_PAIR, "verdict", "currency", "code", "detail", CIRCUITS}

Codes = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]


@record
class _Group:
    """A row group of a file, and how many rows of which package it holds."""

    path: Path
    number: int
    packages: Mapping[str, int]


def earlier_files(path: Path) -> tuple[Path, ...]:
    """Return the Parquet files of an earlier run.

    Parameters
    ----------
    path
        A Parquet file, or a folder of them.

    Returns
    -------
    tuple of Path
        In order of their names.

    Raises
    ------
    RunError
        There are none, or they do not hold quotes.
    """
    files = tuple(sorted(path.glob("*.parquet"))) if path.is_dir() else (path,)
    if not files:
        raise RunError(f"--compare {path}: the folder holds no Parquet file.")
    for file in files:
        try:
            schema = pq.read_schema(file)
        except (pa.ArrowException, OSError) as error:
            raise RunError(f"--compare {file}: it cannot be read as Parquet: {error}") from None
        fault = _fault_of_columns(schema)
        if fault is not None:
            raise RunError(f"--compare {file}: {fault}; are these quotes of this command?")
    return files


def _fault_of_columns(schema: pa.Schema) -> str | None:
    """Return what keeps columns from being compared, before a run that may take hours."""
    known = {field.name: field.type for field in row_schema(_ANY_CURRENCY)}
    missing = [name for name in _NEEDED if name not in schema.names]
    if missing:
        return f"it has no column {missing[0]}"
    for field in schema:
        wanted = known.get(field.name, field.type)
        # Decimals of any scale compare, and circuits may be text.
        fits = field.type == wanted or (
            pa.types.is_decimal(wanted) and pa.types.is_decimal(field.type)
        )
        if not fits and not (field.name == CIRCUITS and pa.types.is_string(field.type)):
            return f"its column {field.name} is {field.type} and not {wanted}"
    return None


def compared(new: Sequence[Path], earlier: Sequence[Path]) -> Comparison:
    """Return what changed from an earlier run to a new one.

    Parameters
    ----------
    new
        Parquet files of quotes.
    earlier
        Those of the earlier run, as ``earlier_files`` returns them.

    Returns
    -------
    Comparison
        All changes, counted.
    """
    sides = _groups(new), _groups(earlier)
    comparison = Comparison()
    for packages in _portions(*sides):
        ours, theirs = (_table(side, packages) for side in sides)
        _compare(comparison, ours, theirs, packages)
    comparison.rises.sort(key=lambda each: (-each.difference, each.package, each.vehicle))
    comparison.falls.sort(key=lambda each: (each.difference, each.package, each.vehicle))
    return comparison


def _groups(files: Sequence[Path]) -> list[_Group]:
    found = []
    for path in files:
        with pq.ParquetFile(path, read_dictionary=["package"]) as file:
            for number in range(file.num_row_groups):
                column = file.read_row_group(number, columns=["package"]).column("package")
                counts = pc.value_counts(column.combine_chunks()).to_pylist()
                packages = {each["values"]: each["counts"] for each in counts}
                found.append(_Group(path, number, packages))
    return found


def _portions(new: Sequence[_Group], earlier: Sequence[_Group]) -> Iterator[list[str]]:
    """Yield packages that are compared together, every one once."""
    counts: dict[str, list[int]] = {}
    for side, groups in enumerate((new, earlier)):
        for group in groups:
            for package, count in group.packages.items():
                counts.setdefault(package, [0, 0])[side] += count
    portion: list[str] = []
    rows = 0
    for package, both in counts.items():
        if portion and rows + max(both) > _ROWS_AT_ONCE:
            yield portion
            portion, rows = [], 0
        portion.append(package)
        rows += max(both)
    if portion:
        yield portion


def _table(groups: Sequence[_Group], packages: Sequence[str]) -> pa.Table | None:
    """Return the rows of some packages, each pair once; none where there are none."""
    wanted = set(packages)
    tables = []
    for group in groups:
        if wanted.isdisjoint(group.packages):
            continue
        with pq.ParquetFile(group.path) as file:
            table = file.read_row_group(group.number)
        if not wanted.issuperset(group.packages):
            table = table.filter(pc.is_in(table.column("package"), pa.array(packages)))
        tables.append(table.select([name for name in COLUMNS if name in table.schema.names]))
    return pa.concat_tables(tables).combine_chunks() if tables else None


def _compare(
    comparison: Comparison,
    new: pa.Table | None,
    earlier: pa.Table | None,
    packages: Sequence[str],
) -> None:
    """Add what changed in some packages."""
    for package in packages:
        comparison.packages.setdefault(package, PackageChanges())
    comparison.currency = comparison.currency or _currency(new)
    comparison.earlier_currency = comparison.earlier_currency or _currency(earlier)
    pairs = _Matched.of(new, earlier)
    for name, table, rows in (("new", new, pairs.new), ("gone", earlier, pairs.gone)):
        _count(comparison, name, table, rows)
    if new is None or earlier is None or not pairs.ours.size:
        return
    _count(comparison, "both", new, pairs.ours)
    _compare_matched(comparison, new.take(pairs.ours), earlier.take(pairs.theirs))


def _currency(table: pa.Table | None) -> str | None:
    if table is None:
        return None
    found = pc.unique(table.column("currency")).drop_null()
    return found[0].as_py() if len(found) else None


def _count(comparison: Comparison, name: str, table: pa.Table | None, rows: Codes | Mask) -> None:
    """Add the rows of each package to one of its counts."""
    if table is None:
        return
    column = table.column("package")
    chosen = column.filter(pa.array(rows)) if rows.dtype == np.bool_ else column.take(rows)
    for each in pc.value_counts(chosen).to_pylist():
        changes = comparison.packages[each["values"]]
        setattr(changes, name, getattr(changes, name) + each["counts"])


@record
class _Matched:
    """Rows of both sides by pair: those of one alone, and those of both, side by side."""

    new: Codes
    gone: Codes
    ours: Codes
    theirs: Codes

    @staticmethod
    def of(new: pa.Table | None, earlier: pa.Table | None) -> "_Matched":
        ours, theirs = _pair_codes(new, earlier)
        # A pair that is listed twice has the same rows twice; the first of them is enough.
        ours, first_of_ours = np.unique(ours, return_index=True)
        theirs, first_of_theirs = np.unique(theirs, return_index=True)
        _, in_ours, in_theirs = np.intersect1d(
            ours, theirs, assume_unique=True, return_indices=True
        )
        return _Matched(
            np.delete(first_of_ours, in_ours),
            np.delete(first_of_theirs, in_theirs),
            first_of_ours[in_ours],
            first_of_theirs[in_theirs],
        )


def _pair_codes(new: pa.Table | None, earlier: pa.Table | None) -> tuple[Codes, Codes]:
    """Return a number for the pair of each row, the same on both sides."""
    rows = 0 if new is None else new.num_rows
    tables = [table.select(OF_PAIR) for table in (new, earlier) if table is not None]
    both = pa.concat_tables(tables).combine_chunks()
    codes = np.zeros(both.num_rows, np.int64)
    for name in OF_PAIR:
        encoded = both.column(name).combine_chunks().dictionary_encode()
        codes = codes * len(encoded.dictionary) + encoded.indices.to_numpy().astype(np.int64)
    return codes[:rows], codes[rows:]


def _compare_matched(comparison: Comparison, new: pa.Table, earlier: pa.Table) -> None:
    """Add what changed in rows that stand side by side."""
    quoted, was_quoted = (_is_valid(table.column("verdict")) for table in (new, earlier))
    comparison.newly_quoted += int(np.sum(quoted & ~was_quoted))
    comparison.newly_refused += int(np.sum(~quoted & was_quoted))
    changed = _differs(new, earlier, "verdict") | _differs(new, earlier, "code")
    _count_changes(comparison.verdicts, new, earlier, "verdict")
    _count_changes(comparison.codes, new, earlier, "code")
    circuits = circuit_changes(
        nested_circuits(earlier.column(CIRCUITS).combine_chunks()),
        nested_circuits(new.column(CIRCUITS).combine_chunks()),
    )
    comparison.sizes.update(circuits.sizes)
    comparison.resized += int(np.sum(circuits.resized))
    comparison.other_circuits += int(np.sum(circuits.other))
    changed |= circuits.resized | circuits.other
    if comparison.has_amounts:
        changed |= _compare_totals(comparison, new, earlier)
    else:
        changed |= _differs(new, earlier, "currency")
    names = set(new.schema.names) & set(earlier.schema.names)
    other = np.zeros(new.num_rows, np.bool_)
    for name in sorted(names - _JUDGED):
        other |= _differs(new, earlier, name)
    comparison.other_figures += int(np.sum(other & ~changed))
    comparison.changed += int(np.sum(changed | other))


def _is_valid(column: pa.ChunkedArray) -> Mask:
    valid: Mask = pc.is_valid(column).to_numpy()
    return valid


def _differs(new: pa.Table, earlier: pa.Table, name: str) -> Mask:
    """Return in which rows a column has another value, or has one on one side alone."""
    ours, theirs = new.column(name), earlier.column(name)
    unequal: Mask = pc.fill_null(pc.not_equal(ours, theirs), False).to_numpy()
    differs: Mask = unequal | (_is_valid(ours) != _is_valid(theirs))
    return differs


def _count_changes(
    counter: Counter[tuple[str, str]], new: pa.Table, earlier: pa.Table, name: str
) -> None:
    """Count rows by their earlier and new text where both have one and they differ."""
    ours, theirs = new.column(name), earlier.column(name)
    differ = pc.fill_null(pc.not_equal(ours, theirs), False)
    texts = pa.table({"was": theirs.filter(differ), "is": ours.filter(differ)})
    for each in texts.group_by(["was", "is"]).aggregate([([], "count_all")]).to_pylist():
        counter[each["was"], each["is"]] += each["count_all"]


def _compare_totals(comparison: Comparison, new: pa.Table, earlier: pa.Table) -> Mask:
    """Add how totals of complete quotes changed; return in which rows one did."""
    ours, theirs = _complete_totals(new), _complete_totals(earlier)
    difference = pc.subtract(ours, theirs)
    dearer, cheaper = pc.greater(difference, 0), pc.less(difference, 0)
    priced = pa.table(
        {
            "package": new.column("package"),
            "dearer": dearer,
            "cheaper": cheaper,
            "earlier": pc.if_else(pc.is_valid(difference), theirs, None),
            "new": pc.if_else(pc.is_valid(difference), ours, None),
        }
    ).filter(pc.is_valid(difference))
    wanted = [("new", "count"), *((name, "sum") for name in priced.schema.names[1:])]
    for each in priced.group_by("package").aggregate(wanted).to_pylist():
        _add_totals(comparison.packages[each["package"]], each)
    rows = pa.table(
        {
            "difference": difference,
            "package": new.column("package"),
            "vehicle": new.column("vehicle"),
            "earlier": theirs,
            "new": ours,
        }
    )
    comparison.rises = _greatest(comparison.rises, rows.filter(dearer), "descending")
    comparison.falls = _greatest(comparison.falls, rows.filter(cheaper), "ascending")
    changed: Mask = pc.fill_null(pc.or_(dearer, cheaper), False).to_numpy()
    return changed


def _complete_totals(table: pa.Table) -> pa.ChunkedArray:
    # An incomplete quote lacks what has no price; its total says nothing beside a complete one.
    is_complete = pc.fill_null(pc.equal(table.column("verdict"), COMPLETE), False)
    return pc.if_else(is_complete, table.column("total"), None)


def _add_totals(changes: PackageChanges, sums: Mapping[str, Any]) -> None:
    changes.priced += sums["new_count"]
    changes.dearer += sums["dearer_sum"] or 0
    changes.cheaper += sums["cheaper_sum"] or 0
    changes.earlier_total += sums["earlier_sum"]
    changes.new_total += sums["new_sum"]


def _greatest(known: list[PriceChange], rows: pa.Table, order: str) -> list[PriceChange]:
    """Return the greatest of the known changes and of those of the rows."""
    keys = [("difference", order), ("package", "ascending"), ("vehicle", "ascending")]
    chosen = pc.select_k_unstable(rows, _GREATEST, keys)
    found = [PriceChange(**each) for each in rows.take(chosen).to_pylist()]
    sign = -1 if order == "descending" else 1
    return heapq.nsmallest(
        _GREATEST,
        known + found,
        key=lambda each: (sign * each.difference, each.package, each.vehicle),
    )
