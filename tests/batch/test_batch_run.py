"""Runs: the same rows whatever the partitions and the form, refusals to mix, and what goes wrong.

Rows are compared with those of the single call, asked pair by pair.
"""

import errno
import fcntl
import json
import os
import signal
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow.csv
import pyarrow.parquet as pq
import pytest

from batch_inputs import dearer_copper, package_documents, vehicle_documents, write_inputs
from loomwright.batch.array_engine import engine_of
from loomwright.batch.engine import Batch
from loomwright.batch.pair import package_from_document, vehicle_from_document
from loomwright.batch.quote import Pricing, Refusal, reference_quote
from loomwright.batch.rows import row_schema
from loomwright.batch.runs import partition as partition_module
from loomwright.batch.runs.partition import (
    UnfitWorkerError,
    Work,
    forget,
    keep,
    partitions,
    priced_partition,
)
from loomwright.batch.runs.run import default_partition_pairs
from loomwright.batch.runs.software import software
from loomwright.cli import main
from loomwright.jobs.demo_library import demo_book

PACKAGES, VEHICLES = 3, 20
KEYS = [
    (f"deal-{package}", f"car-{vehicle:04d}")
    for package in range(PACKAGES)
    for vehicle in range(VEHICLES)
]


@pytest.fixture
def words(tmp_path: Path) -> list[str]:
    """The command for three packages and twenty vehicles, without its output."""
    return ["price-packages", *write_inputs(tmp_path, PACKAGES, VEHICLES)]


def totals(path: Path) -> list[tuple[str, str, Any]]:
    """The pairs of an output and their totals, in order."""
    table = pq.read_table(path, columns=["package", "vehicle", "total"])
    return list(zip(*(table.column(name).to_pylist() for name in table.schema.names), strict=True))


def asked_singly(keys: list[tuple[str, str]]) -> list[tuple[str, str, Any]]:
    """The same by the single call."""
    packages = {each["key"]: each for each in package_documents(PACKAGES)}
    vehicles = {each["key"]: each for each in vehicle_documents(VEHICLES)}
    found = []
    for package, vehicle in keys:
        quote = reference_quote(
            package_from_document(packages[package]),
            vehicle_from_document(vehicles[vehicle]),
            Pricing(demo_book(), {}),
        )
        total = None if isinstance(quote, Refusal) else quote.amounts.total
        found.append((package, vehicle, total))
    return found


@pytest.mark.parametrize("size", [1, 7, 20, 59, 60, 1000])
def test_every_pair_is_there_once_whatever_the_size_of_partitions(
    words: list[str], tmp_path: Path, size: int
) -> None:
    out = tmp_path / "quotes.parquet"
    assert main([*words, "--out", str(out), "--partition-pairs", str(size)]) == 0
    assert totals(out) == asked_singly(KEYS)
    assert not out.with_name("quotes.parquet.parts").exists()


def test_rows_of_a_file_have_the_columns_of_all_rows(words: list[str], tmp_path: Path) -> None:
    out = tmp_path / "quotes.parquet"
    main([*words, "--out", str(out)])
    assert pq.read_schema(out).equals(row_schema("EUR"))


def test_a_folder_holds_the_rows_of_the_file_in_files_by_partition(
    words: list[str], tmp_path: Path
) -> None:
    file, folder = tmp_path / "quotes.parquet", tmp_path / "quotes"
    for out in (file, folder):
        assert main([*words, "--out", str(out), "--partition-pairs", "25"]) == 0
    names = sorted(path.name for path in folder.iterdir())
    assert names == ["part-00000000.parquet", "part-00000001.parquet", "part-00000002.parquet"]
    assert pq.read_table(folder).equals(pq.read_table(file))


def test_csv_holds_the_same_rows_with_circuits_as_text(words: list[str], tmp_path: Path) -> None:
    file, text = tmp_path / "quotes.parquet", tmp_path / "quotes.csv"
    for out in (file, text):
        assert main([*words, "--out", str(out), "--partition-pairs", "25"]) == 0
    options = pyarrow.csv.ConvertOptions(strings_can_be_null=True, quoted_strings_can_be_null=False)
    table = pyarrow.csv.read_csv(text, convert_options=options)
    wanted = pq.read_table(file)
    assert table.schema.names == wanted.schema.names
    for name in ("package", "vehicle", "verdict", "code"):
        assert table.column(name).to_pylist() == wanted.column(name).to_pylist()
    amounts = [None if each is None else float(each) for each in wanted["total"].to_pylist()]
    assert table.column("total").to_pylist() == amounts
    circuits = [each and json.loads(each) for each in table.column("circuits").to_pylist()]
    assert circuits == wanted.column("circuits").to_pylist()


@pytest.mark.parametrize("suffix", ["json", "ndjson", "parquet"])
def test_the_same_inputs_in_another_form_give_the_same_rows(tmp_path: Path, suffix: str) -> None:
    words = ["price-packages"]
    for name, documents in (("packages", package_documents(2)), ("vehicles", vehicle_documents(9))):
        path = tmp_path / f"{name}.{suffix}"
        if suffix == "json":
            path.write_text(json.dumps(documents), "utf-8")
        elif suffix == "ndjson":
            path.write_text("\n".join(map(json.dumps, documents)), "utf-8")
        else:
            pq.write_table(pyarrow.Table.from_pylist(documents), path)
        words += [f"--{name}", str(path)]
    out = tmp_path / "quotes.parquet"
    assert main([*words, "--out", str(out)]) == 0
    assert {key[:2] for key in totals(out)} == {
        (f"deal-{package}", f"car-{vehicle:04d}") for package in range(2) for vehicle in range(9)
    }


def test_vehicles_may_come_in_a_folder_of_parquet_files(tmp_path: Path, words: list[str]) -> None:
    folder = tmp_path / "vehicles"
    folder.mkdir()
    documents = vehicle_documents(VEHICLES)
    for number in range(0, VEHICLES, 8):
        table = pyarrow.Table.from_pylist(documents[number : number + 8])
        pq.write_table(table, folder / f"part-{number:02d}.parquet")
    words[words.index("--vehicles") + 1] = str(folder)
    out = tmp_path / "quotes.parquet"
    assert main([*words, "--out", str(out)]) == 0
    assert totals(out) == asked_singly(KEYS)


def test_listed_pairs_are_priced_in_their_order(words: list[str], tmp_path: Path) -> None:
    keys = [KEYS[index] for index in (41, 3, 4, 0, 59, 22, 21)]
    pairs = tmp_path / "pairs.csv"
    lines = ["package,vehicle", *(",".join(key) for key in keys)]
    pairs.write_text("\n".join(lines) + "\n", "utf-8")
    out = tmp_path / "quotes.parquet"
    rest = ["--pairs", str(pairs), "--partition-pairs", "3", "--out", str(out)]
    assert main([*words, *rest]) == 0
    assert totals(out) == asked_singly(keys)


def test_a_pair_of_something_unknown_is_refused_in_its_own_row(
    words: list[str], tmp_path: Path
) -> None:
    pairs = tmp_path / "pairs.ndjson"
    keys = [KEYS[0], ("deal-0", "nobody's"), KEYS[1]]
    lines = [json.dumps({"package": package, "vehicle": vehicle}) for package, vehicle in keys]
    pairs.write_text("\n".join(lines), "utf-8")
    out = tmp_path / "quotes.parquet"
    assert main([*words, "--pairs", str(pairs), "--out", str(out)]) == 0
    assert totals(out) == [*asked_singly(keys[:1]), (*keys[1], None), *asked_singly(keys[2:])]


def test_price_book_and_options_are_those_of_the_files(words: list[str], tmp_path: Path) -> None:
    book, options, out = (tmp_path / name for name in ("book.json", "options.json", "out.parquet"))
    book.write_text(json.dumps(dearer_copper(100)), "utf-8")
    options.write_text(json.dumps({"deposit": {"percent": "10"}}), "utf-8")
    plain = tmp_path / "plain.parquet"
    main([*words, "--out", str(plain)])
    main([*words, "--price-book", str(book), "--pricing", str(options), "--out", str(out)])
    deposits = pq.read_table(out).column("deposit").to_pylist()
    for (*_, total), (*_, before), deposit in zip(
        totals(out), totals(plain), deposits, strict=True
    ):
        if before is not None:
            assert total > before
            assert abs(deposit - total / 10) <= total / total / 100


def interrupted(words: list[str], out: Path, monkeypatch: pytest.MonkeyPatch, parts: int) -> None:
    """Let a run end as by Ctrl-C once so many partitions are finished."""
    rows = out.with_name(out.name + ".parts") / "rows"

    def batches(*arguments: Any) -> Iterator[Any]:
        if rows.exists() and len(list(rows.iterdir())) >= parts:
            signal.raise_signal(signal.SIGINT)
        yield from original(*arguments)

    original = partition_module.batches
    with monkeypatch.context() as patched:
        patched.setattr(partition_module, "batches", batches)
        assert main([*words, "--out", str(out), "--partition-pairs", "10"]) == 130
    assert len(list(rows.iterdir())) == parts


def test_an_interrupted_run_goes_on(
    words: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    out = tmp_path / "quotes.parquet"
    interrupted(words, out, monkeypatch, parts=4)
    assert "finished partitions are kept" in capsys.readouterr().err
    # The size of partitions is that of the run that goes on, and need not be said again.
    assert main([*words, "--out", str(out)]) == 0
    captured = capsys.readouterr()
    assert "going on: 4 of 6 partitions are finished" in captured.err
    assert "4 of 6 partitions were finished before" in captured.out
    assert totals(out) == asked_singly(KEYS)


def test_a_changed_input_is_not_mixed_with_the_former(
    words: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    out = tmp_path / "quotes.parquet"
    interrupted(words, out, monkeypatch, parts=2)
    capsys.readouterr()
    vehicles = tmp_path / "vehicles.ndjson"
    stated = vehicles.read_text("utf-8")
    vehicles.write_text(stated.replace('"length": 1.2', '"length": 1.3'), "utf-8")
    assert main([*words, "--out", str(out)]) == 2
    told = capsys.readouterr().err
    assert "the content of --vehicles changed" in told
    assert "--packages" not in told
    vehicles.write_text(stated, "utf-8")
    assert main([*words, "--out", str(out)]) == 0
    assert totals(out) == asked_singly(KEYS)


@pytest.mark.parametrize(
    ("more", "told"),
    [
        (["--partition-pairs", "11"], "--partition-pairs was 10 and is 11"),
        (["--price-book", "book.json"], "the content of --price-book changed"),
        (["--pricing", "options.json"], "the content of --pricing changed"),
    ],
)
def test_other_options_are_not_mixed_and_a_restart_begins_anew(
    words: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    more: list[str],
    told: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("book.json").write_text(json.dumps(dearer_copper(50)), "utf-8")
    Path("options.json").write_text('{"deposit": {"percent": "10"}}', "utf-8")
    out = tmp_path / "quotes.parquet"
    interrupted(words, out, monkeypatch, parts=2)
    capsys.readouterr()
    assert main([*words, *more, "--out", str(out)]) == 2
    assert told in capsys.readouterr().err
    assert main([*words, *more, "--out", str(out), "--restart"]) == 0
    assert "going on" not in capsys.readouterr().err
    assert [key[:2] for key in totals(out)] == KEYS


def test_other_software_is_not_mixed(
    words: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    out = tmp_path / "quotes.parquet"
    interrupted(words, out, monkeypatch, parts=2)
    manifest = tmp_path / "quotes.parquet.parts" / "manifest.json"
    document = json.loads(manifest.read_bytes())
    document["software"]["numpy"] = "1.0"
    manifest.write_text(json.dumps(document), "utf-8")
    capsys.readouterr()
    assert main([*words, "--out", str(out)]) == 2
    assert "numpy was 1.0 and is" in capsys.readouterr().err


def test_a_partition_that_is_no_longer_whole_is_worked_out_again(
    words: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    out = tmp_path / "quotes.parquet"
    interrupted(words, out, monkeypatch, parts=3)
    rows = tmp_path / "quotes.parquet.parts" / "rows"
    broken = rows / "part-00000001.parquet"
    broken.write_bytes(broken.read_bytes()[:-20])
    (rows / "part-00000004.parquet.unfinished").write_bytes(b"begun")
    capsys.readouterr()
    assert main([*words, "--out", str(out)]) == 0
    assert "going on: 2 of 6" in capsys.readouterr().err
    assert totals(out) == asked_singly(KEYS)


def test_an_output_that_is_there_stays_unless_it_may_go(
    words: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("quotes.parquet", "quotes"):
        out = tmp_path / name
        assert main([*words, "--out", str(out)]) == 0
        before = totals(out)
        assert main([*words, "--out", str(out)]) == 2
        assert "--overwrite replaces it" in capsys.readouterr().err
        assert not out.with_name(name + ".parts").exists()
        assert main([*words, "--out", str(out), "--overwrite"]) == 0
        assert totals(out) == before


def test_a_full_disk_loses_nothing(
    words: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    out = tmp_path / "quotes.parquet"
    synced = []

    def full(handle: int) -> None:
        synced.append(handle)
        if len(synced) > 4:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", full)
        assert main([*words, "--out", str(out), "--partition-pairs", "10"]) == 2
    assert capsys.readouterr().err == (
        f"loomwright: No space left on device; finished partitions are kept in {out}.parts, "
        "the same command goes on\n"
    )
    assert not list(tmp_path.rglob("*.unfinished"))
    assert main([*words, "--out", str(out)]) == 0
    assert totals(out) == asked_singly(KEYS)


class FailingEngine:
    """Fails on the vehicles from a number on."""

    def __init__(self, batch: Batch, first: int, error: Exception) -> None:
        self._engine = engine_of(batch)
        self._first = first
        self._error = error

    def rows(self, package: int, vehicles: Any) -> Any:
        """The rows, unless a failing vehicle is among them."""
        if vehicles.max() >= self._first:
            raise self._error
        return self._engine.rows(package, vehicles)


def test_a_pair_on_which_the_engine_fails_is_a_row_and_a_line_of_the_log(
    words: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    caplog: pytest.LogCaptureFixture,
) -> None:
    last = VEHICLES - 1
    broken = partial(FailingEngine, first=last, error=ArithmeticError("on purpose"))
    monkeypatch.setattr(partition_module, "engine_of", broken)
    out = tmp_path / "quotes.parquet"
    assert main([*words, "--out", str(out)]) == 0
    page = capsys.readouterr().out
    assert f"internal_error, such as deal-0 for car-{last:04d}: " in page
    failed = f"car-{last:04d}"
    others = [key for key in KEYS if key[1] != failed]
    assert [each for each in totals(out) if each[1] != failed] == asked_singly(others)
    assert len(totals(out)) == len(KEYS)
    assert len(caplog.records) == PACKAGES


def test_memory_that_is_short_ends_the_run_and_becomes_no_row(
    words: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    out = tmp_path / "quotes.parquet"
    with monkeypatch.context() as patched:
        short = partial(FailingEngine, first=0, error=MemoryError())
        patched.setattr(partition_module, "engine_of", short)
        assert main([*words, "--out", str(out)]) == 2
    assert "memory is short; --partition-pairs with fewer pairs" in capsys.readouterr().err
    assert main([*words, "--out", str(out)]) == 0
    assert totals(out) == asked_singly(KEYS)


def test_a_run_leaves_the_folder_of_another_alone(
    words: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "quotes.parquet.parts"
    folder.mkdir()
    with (folder / "lock").open("ab") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        assert main([*words, "--out", str(tmp_path / "quotes.parquet")]) == 2
    assert "Another run is at work" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("pairs", "workers", "size"),
    [
        (80_000_000, 64, 100_000),
        (1_000_000, 1, 100_000),
        (80_000, 2, 10_000),
        (2_001, 2, 1_000),
        (5, 8, 1_000),
    ],
)
def test_each_worker_gets_several_partitions_within_bounds(
    pairs: int, workers: int, size: int
) -> None:
    assert default_partition_pairs(pairs, workers) == size


def test_partitions_hold_what_all_pairs_together_hold_and_are_the_same_each_time() -> None:
    packages = [package_from_document(each) for each in package_documents(2)]
    vehicles = [vehicle_from_document(each) for each in vehicle_documents(6)]
    batch = Batch(packages, vehicles, Pricing(demo_book(), {}))
    keep(Work("a work", batch, software(), False).packed())
    contents = [priced_partition("a work", each) for each in partitions(12, 5, None)]
    assert contents == [priced_partition("a work", each) for each in partitions(12, 5, None)]
    forget("a work")
    engine = engine_of(batch)
    whole = [engine.rows(package, np.arange(6)).nested() for package in range(2)]
    parts = [pq.read_table(pyarrow.BufferReader(content)) for content in contents]
    assert pyarrow.concat_tables(parts).equals(pyarrow.Table.from_batches(whole))


def test_a_process_refuses_what_it_was_not_told_or_has_other_software_for() -> None:
    (partition,) = partitions(1, 1, None)
    with pytest.raises(UnfitWorkerError, match="not told"):
        priced_partition("unheard of", partition)
    keep(Work("other", b"", {**software(), "numpy": "1.0"}, False))
    with pytest.raises(UnfitWorkerError, match=r"numpy was 1\.0 and is"):
        priced_partition("other", partition)
    forget("other")
