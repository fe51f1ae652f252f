"""What changed between two runs, on rows that are made up so that each change is plain to see."""

from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path
from typing import Any

import orjson
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loomwright.batch.rows import CIRCUITS, row_schema
from loomwright.batch.runs import comparison as comparison_module
from loomwright.batch.runs.changes import Comparison, PriceChange
from loomwright.batch.runs.compared_circuits import SizeChange
from loomwright.batch.runs.comparison import compared, earlier_files
from loomwright.batch.runs.page import comparison_page
from loomwright.batch.runs.run_error import RunError

Row = dict[str, Any]


def circuit(key: str, conductor: str | None, rating_a: float | None) -> Row:
    """A circuit of a row."""
    verdict = "no_conductor_fits" if conductor is None else "sized"
    kind = None if rating_a is None else "iso_8820_3_c"
    return {
        "key": key,
        "verdict": verdict,
        "conductor": conductor,
        "fuse_type": kind,
        "rated_current_a": rating_a,
    }


def quote(package: str, vehicle: str, total: str, **more: Any) -> Row:
    """A complete quote with one circuit, unless said otherwise."""
    return {
        "package": package,
        "vehicle": vehicle,
        "verdict": "complete",
        "currency": "EUR",
        "total": Decimal(total),
        "unpriced": 0,
        CIRCUITS: [circuit("feed", "6 mm2", 30.0)],
        **more,
    }


def refusal(package: str, vehicle: str, code: str = "invalid_pair") -> Row:
    """A row without a quote."""
    return {"package": package, "vehicle": vehicle, "code": code, "detail": "why"}


def written(path: Path, rows: list[Row], group: int = 1000) -> tuple[Path, ...]:
    """A file of rows."""
    table = pa.Table.from_pylist(rows, row_schema("EUR"))
    pq.write_table(table, path, row_group_size=group)
    return (path,)


def changes(tmp_path: Path, earlier: list[Row], new: list[Row]) -> Comparison:
    """What changed from some rows to others."""
    files = written(tmp_path / "new.parquet", new), written(tmp_path / "earlier.parquet", earlier)
    return compared(*files)


def counts(comparison: Comparison) -> tuple[int, ...]:
    """Pairs in both, new, gone, priced in both, dearer, cheaper, changed."""
    total = comparison.total
    return (
        total.both,
        total.new,
        total.gone,
        total.priced,
        total.dearer,
        total.cheaper,
        comparison.changed,
    )


def test_the_same_rows_in_another_order_are_no_change(tmp_path: Path) -> None:
    rows = [quote("a", "1", "10"), quote("b", "1", "20"), refusal("a", "2"), refusal("b", "2")]
    assert counts(changes(tmp_path, rows, rows[::-1])) == (4, 0, 0, 2, 0, 0, 0)


def test_pairs_of_one_run_alone_are_new_or_gone_by_package(tmp_path: Path) -> None:
    found = changes(
        tmp_path,
        [quote("a", "1", "10"), quote("a", "2", "10"), quote("gone", "1", "5")],
        [quote("a", "2", "10"), quote("a", "3", "9"), quote("a", "4", "9"), refusal("new", "1")],
    )
    assert counts(found) == (1, 3, 2, 1, 0, 0, 0)
    assert {key: (each.new, each.gone) for key, each in found.packages.items()} == {
        "a": (2, 1),
        "new": (1, 0),
        "gone": (0, 1),
    }


def test_prices_are_compared_to_the_cent_and_the_greatest_changes_named(tmp_path: Path) -> None:
    earlier = [quote("a", str(number), "100.00") for number in range(9)]
    news = ["100.00", "100.01", "99.99", "130", "70", "110", "90", "120", "80"]
    new = [quote("a", str(number), total) for number, total in enumerate(news)]
    found = changes(tmp_path, earlier, new)
    assert counts(found) == (9, 0, 0, 9, 4, 4, 8)
    assert [(each.vehicle, each.difference) for each in found.rises] == [
        ("3", Decimal("30.00")),
        ("7", Decimal("20.00")),
        ("5", Decimal("10.00")),
        ("1", Decimal("0.01")),
    ]
    assert found.falls[0] == PriceChange(
        Decimal("-30.00"), "a", "4", Decimal("100.00"), Decimal("70.00")
    )
    assert found.packages["a"].earlier_total == Decimal("900.00")
    assert found.packages["a"].new_total == Decimal("900.00")


def test_an_incomplete_quote_has_no_price_to_compare(tmp_path: Path) -> None:
    found = changes(
        tmp_path,
        [quote("a", "1", "10", verdict="incomplete", unpriced=1)],
        [quote("a", "1", "90")],
    )
    assert counts(found) == (1, 0, 0, 0, 0, 0, 1)
    assert found.verdicts == {("incomplete", "complete"): 1}


def test_quotes_and_refusals_that_change_places_are_told_apart(tmp_path: Path) -> None:
    found = changes(
        tmp_path,
        [refusal("a", "1"), refusal("a", "2"), quote("a", "3", "10"), refusal("a", "4")],
        [quote("a", "1", "10"), refusal("a", "2", "beyond"), refusal("a", "3"), refusal("a", "4")],
    )
    assert (found.newly_quoted, found.newly_refused, found.changed) == (1, 1, 3)
    assert found.codes == {("invalid_pair", "beyond"): 1}
    assert found.resized == 0


def test_changed_sizes_are_counted_by_circuit_and_by_what_they_were(tmp_path: Path) -> None:
    before = [circuit("feed", "6 mm2", 30.0), circuit("lamp", "1.5 mm2", None)]
    earlier = [quote("a", str(number), "10", circuits=before) for number in range(4)]
    new = [
        quote("a", "0", "10", circuits=before),
        quote("a", "1", "10", circuits=[circuit("feed", "10 mm2", 40.0), before[1]]),
        quote("a", "2", "10", circuits=[circuit("feed", "10 mm2", 30.0), before[1]]),
        quote("a", "3", "10", circuits=[before[0], circuit("lamp", None, 5.0)]),
    ]
    found = changes(tmp_path, earlier, new)
    assert (found.resized, found.other_circuits, found.changed) == (3, 0, 3)
    assert found.sizes == {
        SizeChange("feed", "conductor", "6 mm2", "10 mm2"): 2,
        SizeChange("feed", "fuse", "iso_8820_3_c 30 A", "iso_8820_3_c 40 A"): 1,
        SizeChange("lamp", "conductor", "1.5 mm2", "none"): 1,
        SizeChange("lamp", "fuse", "none", "iso_8820_3_c 5 A"): 1,
    }


def test_other_circuits_are_no_changed_sizes(tmp_path: Path) -> None:
    one, other = circuit("feed", "6 mm2", 30.0), circuit("lamp", "1.5 mm2", 5.0)
    found = changes(
        tmp_path,
        [quote("a", "1", "10", circuits=[one]), quote("a", "2", "10", circuits=[one])],
        [quote("a", "1", "10", circuits=[one, other]), quote("a", "2", "10", circuits=[other])],
    )
    assert (found.resized, found.other_circuits, found.changed) == (0, 2, 2)
    assert found.sizes == {}


def test_a_change_of_other_figures_counts_as_one(tmp_path: Path) -> None:
    found = changes(
        tmp_path,
        [quote("a", "1", "10", labour_hours=Decimal("1.5")), quote("a", "2", "10")],
        [quote("a", "1", "10", labour_hours=Decimal("1.6")), quote("a", "2", "10")],
    )
    assert (found.changed, found.other_figures) == (1, 1)


def test_amounts_of_unlike_currencies_are_not_compared(tmp_path: Path) -> None:
    found = changes(tmp_path, [quote("a", "1", "10", currency="CHF")], [quote("a", "1", "10")])
    assert not found.has_amounts
    assert counts(found) == (1, 0, 0, 0, 0, 0, 1)
    assert "Prices are in EUR now and were in CHF" in comparison_page(found, "before")


def test_circuits_as_text_compare_with_circuits_as_lists(tmp_path: Path) -> None:
    rows = [quote("a", "1", "10"), refusal("a", "2")]
    table = pa.Table.from_pylist(rows, row_schema("EUR"))
    texts = [each and orjson.dumps(each).decode() for each in table[CIRCUITS].to_pylist()]
    place = table.schema.get_field_index(CIRCUITS)
    pq.write_table(table.set_column(place, CIRCUITS, pa.array(texts)), tmp_path / "text.parquet")
    found = compared([tmp_path / "text.parquet"], written(tmp_path / "lists.parquet", rows))
    assert counts(found) == (2, 0, 0, 1, 0, 0, 0)


PAIRS = st.tuples(st.sampled_from("abc"), st.sampled_from("12345"))
SIDES = st.dictionaries(PAIRS, st.one_of(st.none(), st.integers(1, 3)), max_size=15)


@settings(max_examples=40)
@given(earlier=SIDES, new=SIDES, at_once=st.integers(1, 20), group=st.integers(1, 6))
def test_counts_are_those_of_plain_dictionaries_however_rows_are_split(
    tmp_path_factory: pytest.TempPathFactory,
    earlier: Mapping[tuple[str, str], int | None],
    new: Mapping[tuple[str, str], int | None],
    at_once: int,
    group: int,
) -> None:
    folder = tmp_path_factory.mktemp("sides")
    sides = []
    for name, side in (("new", new), ("earlier", earlier)):
        rows = [
            refusal(*pair) if total is None else quote(*pair, f"{total}.00")
            for pair, total in side.items()
        ]
        sides.append(written(folder / f"{name}.parquet", rows, group))
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(comparison_module, "_ROWS_AT_ONCE", at_once)
        found = compared(*sides)
    both = new.keys() & earlier.keys()
    priced = [
        (was, now)
        for pair in both
        if (was := earlier[pair]) is not None and (now := new[pair]) is not None
    ]
    assert counts(found) == (
        len(both),
        len(new.keys() - earlier.keys()),
        len(earlier.keys() - new.keys()),
        len(priced),
        sum(was < now for was, now in priced),
        sum(was > now for was, now in priced),
        sum(earlier[pair] != new[pair] for pair in both),
    )
    assert found.newly_quoted == sum(earlier[pair] is None is not new[pair] for pair in both)
    assert found.total.new_total == sum(now for _, now in priced)
    assert len(found.rises) == min(5, sum(was < now for was, now in priced))


@pytest.mark.parametrize("content", [b"", b"package,vehicle\n"])
def test_what_is_no_parquet_file_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "earlier.parquet"
    path.write_bytes(content)
    with pytest.raises(RunError, match="cannot be read as Parquet"):
        earlier_files(path)


def test_a_file_of_something_else_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "earlier.parquet"
    pq.write_table(pa.table({"package": ["a"]}), path)
    with pytest.raises(RunError, match="it has no column vehicle; are these quotes"):
        earlier_files(path)
    table = pa.Table.from_pylist([quote("a", "1", "10")], row_schema("EUR"))
    place = table.schema.get_field_index("total")
    pq.write_table(table.set_column(place, "total", pa.array([10.0])), path)
    with pytest.raises(RunError, match=r"its column total is double and not decimal128\(18, 2\)"):
        earlier_files(path)
    (tmp_path / "empty").mkdir()
    with pytest.raises(RunError, match="holds no Parquet file"):
        earlier_files(tmp_path / "empty")


def test_the_page_tells_what_a_shop_asks_first(tmp_path: Path) -> None:
    before = [circuit("feed", "6 mm2", 30.0)]
    after = [circuit("feed", "10 mm2", 30.0)]
    found = changes(
        tmp_path,
        [quote("a", "1", "1000"), quote("a", "2", "500", circuits=before), quote("b", "1", "40")],
        [quote("a", "1", "1100"), quote("a", "2", "520", circuits=after), quote("b", "1", "38")],
    )
    assert comparison_page(found, "monday.parquet").splitlines() == [
        "Since monday.parquet: 3 pairs in both runs, 0 new, 0 gone.",
        "Of those in both, 3 changed and 0 are as they were.",
        "",
        "Prices (3 pairs with a complete quote in both runs)",
        "  dearer    2  66.7 %",
        "  cheaper   1  33.3 %",
        "  the same  0   0.0 %",
        "  On average +39.33 EUR (+7.66 %).",
        "",
        "Greatest rises",
        "  package  vehicle    before       now   change",
        "  a        1        1,000.00  1,100.00  +100.00",
        "  a        2          500.00    520.00   +20.00",
        "",
        "Greatest falls",
        "  package  vehicle  before    now  change",
        "  b        1         40.00  38.00   -2.00",
        "",
        "By package, the most changed first",
        "  package  dearer  cheaper  new  gone  on average",
        "  a             2        0    0     0     +8.00 %",
        "  b             0        1    0     0     -5.00 %",
        "",
        "Sizes (1 pair with another conductor or fuse)",
        "  circuit  what       before  now     pairs",
        "  feed     conductor  6 mm2   10 mm2      1",
    ]
