"""The command of a batch as its user meets it: the page, what goes where, errors in one line."""

import fcntl
import json
import os
import pty
import re
import struct
import subprocess
import sys
import termios
from contextlib import suppress
from pathlib import Path

import pytest

from batch_commands import PROGRAM
from batch_inputs import dearer_copper, vehicle_documents, write_inputs
from loomwright.batch.runs.page import summary_page
from loomwright.batch.runs.run import Priced
from loomwright.batch.summary import summary_from_document
from loomwright.cli import main
from loomwright.jobs.demo_library import demo_price_book
from loomwright.pricing.book_csv import csv_of_document


@pytest.fixture
def words(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The command for two packages and ten vehicles, without its output, in a folder of its own."""
    monkeypatch.chdir(tmp_path)
    return ["price-packages", *write_inputs(Path(), 2, 10)]


def test_the_page_is_all_that_goes_to_standard_output_and_nothing_to_the_other(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*words, "--out", "quotes.parquet"]) == 0
    captured = capsys.readouterr()
    assert captured.err == ""
    first, second, *rest = captured.out.splitlines()
    assert first == "20 pairs of package and vehicle: 18 quotes, 2 refusals."
    assert re.fullmatch(r"Written to quotes\.parquet in [\d.]+ s, [\d,]+ pairs a second\.", second)
    assert rest[:9] == [
        "",
        "Verdicts of the quotes",
        "  complete  18  100.0 %",
        "",
        "Reasons of the refusals",
        "  invalid_pair  2  100.0 %",
        "  invalid_pair, such as deal-0 for car-0009: /circuits/0/fed_from: No source and",
        "    no circuit of the job has this key.",
        "",
    ]
    assert rest[9] == "Prices of complete quotes [EUR, with tax]"
    assert rest[10].split() == ["package", "quotes", "lowest", "average", "highest"]
    assert [line.split()[0] for line in rest[11:]] == ["deal-0", "deal-1", "all"]


def test_a_comparison_follows_the_page(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    Path("book.json").write_text(json.dumps(dearer_copper(100)), "utf-8")
    assert main([*words, "--out", "monday.parquet"]) == 0
    capsys.readouterr()
    rest = ["--price-book", "book.json", "--compare", "monday.parquet", "--out", "tuesday"]
    assert main([*words, *rest]) == 0
    page = capsys.readouterr().out
    assert "\nSince monday.parquet: 20 pairs in both runs, 0 new, 0 gone.\n" in page
    assert "\n  dearer    18  100.0 %\n" in page
    # The output may be compared with what it replaces.
    again = ["--price-book", "book.json", "--compare", "tuesday", "--out", "tuesday"]
    assert main([*words, *again, "--overwrite"]) == 0
    assert "No pair that is in both runs changed.\n" in capsys.readouterr().out


def test_long_lists_end_in_how_many_there_are_more(tmp_path: Path) -> None:
    totals = [
        {
            "package": f"deal-{number}",
            "quotes": 2,
            "least": "1000.00",
            "greatest": "3000.00",
            "sum": "4000.00",
        }
        for number in range(15)
    ]
    summary = summary_from_document(
        {
            "rows": 30_000,
            "verdicts": {"complete": 30},
            "refusals": {f"code_{number}": 1 for number in range(13)},
            "currency": "EUR",
            "totals": totals,
        }
    )
    run = Priced(summary, {}, None, 3, 40, 3725.0)
    lines = summary_page(run, str(tmp_path)).splitlines()
    assert lines[1].endswith("in 1 h 2 min; 3 of 40 partitions were finished before.")
    assert lines[-3:] == [
        "  deal-11            2  1,000.00  2,000.00  3,000.00",
        "  all packages      30  1,000.00  2,000.00  3,000.00",
        "  and 3 more packages.",
    ]
    assert "  and 1 more reason." in lines


def test_a_batch_without_a_quote_is_written_and_told_by_the_exit_status(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    nobodys = [json.dumps({**each, "vehicle": {}}) for each in vehicle_documents(3)]
    Path("vehicles.ndjson").write_text("\n".join(nobodys), "utf-8")
    assert main([*words, "--out", "quotes.parquet"]) == 1
    page = capsys.readouterr().out
    assert page.startswith("6 pairs of package and vehicle: 0 quotes, 6 refusals.\n")
    assert "No quote is complete; there is no price to tell." in page
    assert Path("quotes.parquet").exists()


def test_a_vehicle_at_fault_spoils_its_own_rows_alone(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    path = Path("vehicles.ndjson")
    lines = path.read_text("utf-8").splitlines()
    lines[4] = '{"key": "broken", "wheels": 4}'
    path.write_text("\n".join(lines), "utf-8")
    assert main([*words, "--out", "quotes.csv"]) == 0
    assert "20 pairs of package and vehicle: 16 quotes, 4 refusals." in capsys.readouterr().out
    assert Path("quotes.csv").read_text("utf-8").count('"broken"') == 2


def test_a_price_book_may_be_a_folder_of_tables(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    Path("book").mkdir()
    for name, text in csv_of_document(demo_price_book()).items():
        Path("book", f"{name}.csv").write_text(text, "utf-8")
    assert main([*words, "--out", "demo.parquet"]) == 0
    rest = ["--price-book", "book", "--compare", "demo.parquet", "--out", "quotes.parquet"]
    assert main([*words, *rest]) == 0
    assert "No pair that is in both runs changed.\n" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("more", "told"),
    [
        (["--out", "quotes.xlsx"], "--out quotes.xlsx: rows are written as .parquet, as .csv"),
        (["--out", "nowhere/quotes.csv"], "--out nowhere/quotes.csv: there is no folder"),
        (["--out", "folder.csv"], "--out folder.csv: a folder stands there."),
        (["--out", "."], "--out .: a name of its own is needed."),
        (["--out", "notes", "--overwrite"], "--out notes: the folder holds other things"),
        (["--out", "packages.ndjson", "--overwrite"], "--out packages.ndjson: it is read as an"),
        (["--packages", "absent.json"], "absent.json: No such file or directory"),
        (["--packages", "packages.txt"], "--packages packages.txt: packages.txt: The name ends in"),
        (["--packages", "empty.json"], "There is no pair to price."),
        (["--vehicles", "broken.json"], "--vehicles broken.json: "),
        (["--vehicles", "broken.parquet"], "--vehicles broken.parquet: "),
        (["--vehicles", "folder.csv"], "folder.csv: the folder holds no Parquet file."),
        (["--price-book", "broken.json"], "--price-book broken.json: not JSON"),
        (["--price-book", "empty.json"], "--price-book empty.json: /: "),
        (["--price-book", "folder.csv"], "--price-book folder.csv: the folder holds no CSV"),
        (["--pricing", "empty.json"], "--pricing empty.json: /: "),
        (["--pricing", "options.json"], "--pricing options.json: /deposit/percent: "),
        (["--compare", "absent.parquet"], "--compare absent.parquet: it cannot be read"),
        (["--compare", "broken.parquet"], "--compare broken.parquet: it cannot be read"),
        (["--cluster", "here"], "--cluster here: 'local', or an address such as tcp://"),
        (
            ["--cluster", "tcp://127.0.0.1:1", "--workers", "2"],
            "--workers counts processes of this machine",
        ),
    ],
)
def test_what_cannot_be_used_is_told_in_one_line(
    words: list[str], capsys: pytest.CaptureFixture[str], more: list[str], told: str
) -> None:
    Path("packages.txt").write_text("{}", "utf-8")
    Path("empty.json").write_text("[]", "utf-8")
    Path("broken.json").write_text("[{", "utf-8")
    Path("broken.parquet").write_bytes(b"PAR1 and no more")
    Path("options.json").write_text('{"deposit": {"percent": "much"}}', "utf-8")
    Path("folder.csv").mkdir()
    Path("notes").mkdir()
    Path("notes", "of a year.txt").write_text("all of them", "utf-8")
    assert main([*words, "--out", "quotes.parquet", *more]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.count("\n") == 1, captured.err
    assert captured.err.startswith(f"loomwright: {told}")
    assert not list(Path().glob("*.parts"))
    assert Path("notes", "of a year.txt").read_text("utf-8") == "all of them"


@pytest.mark.parametrize("number", ["0", "-1", "two"])
def test_a_number_that_makes_no_sense_is_refused(words: list[str], number: str) -> None:
    for option in ("--workers", "--partition-pairs"):
        with pytest.raises(SystemExit) as ended:
            main([*words, "--out", "quotes.parquet", option, number])
        assert ended.value.code == 2


def test_a_terminal_sees_a_bar_and_the_page_stays_clean(words: list[str]) -> None:
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("4H", 24, 80, 0, 0))
    with subprocess.Popen(
        [sys.executable, "-c", PROGRAM, *words, "--out", "quotes.parquet"],
        stdout=subprocess.PIPE,
        stderr=theirs,
    ) as process:
        os.close(theirs)
        page, _ = process.communicate()
    shown = b""
    # Reading from a terminal that nobody writes to any more fails, and that is its end.
    with suppress(OSError):
        while part := os.read(ours, 1 << 16):
            shown += part
    os.close(ours)
    assert process.returncode == 0
    assert b"20/20" in shown
    assert page.startswith(b"20 pairs of package and vehicle")
