"""The bench: a short run prints its table; what would make it meaningless stops it."""

import contextlib
import json
import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
BODIES = sorted((ROOT / "tests" / "bench" / "bodies").glob("*.json"))


def bench(*arguments: str) -> subprocess.CompletedProcess[str]:
    short = ("--runs", "1", "--seconds", "0.2", "--variants", "2")
    command = [sys.executable, ROOT / "tests" / "bench" / "calls.py", *short, *arguments]
    with subprocess.Popen(
        command,
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    ) as process:
        try:
            output, complaint = process.communicate(timeout=120)
        finally:
            with contextlib.suppress(ProcessLookupError):  # nothing of it is left, as it should be
                os.killpg(process.pid, signal.SIGKILL)
    return subprocess.CompletedProcess(command, process.returncode, output, complaint)


def test_a_short_run_prints_one_line_per_operation() -> None:
    operations = [path.stem for path in BODIES]
    done = bench(*operations)
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert lines[0].split()[:2] == ["operation", "bytes"]
    measured = [line for line in lines[1:] if not line.startswith("  ")]
    assert [line.split()[0] for line in measured] == operations
    for line in measured:
        match = re.search(r"%\s+(\d+\.\d{4})\s", line)
        assert match, line
        assert float(match[1]) > 0.0
    compared = dict(
        re.findall(
            r"^  (\S+) takes (\d+\.\d) times size-conductor, .*; (?:less|NOT LESS) than \d+ \(",
            done.stdout,
            re.MULTILINE,
        )
    )
    costly = {name for name in operations if name.startswith(("draw-", "plan-installation"))}
    assert set(compared) == costly, done.stdout
    assert all(float(times) >= 0.0 for times in compared.values())


def test_a_refused_request_stops_the_bench(tmp_path: Path) -> None:
    bodies = {"vary": ["length"], "bodies": [{"series": "no such series", "length": 1}]}
    (tmp_path / "size-conductor.json").write_text(json.dumps(bodies), encoding="utf-8")
    done = bench("--bodies", str(tmp_path), "size-conductor")
    assert done.returncode == 1
    assert "422" in done.stderr


def test_bodies_that_repeat_stop_the_bench(tmp_path: Path) -> None:
    bodies = {"vary": [], "bodies": [{"length": 1}]}
    (tmp_path / "size-conductor.json").write_text(json.dumps(bodies), encoding="utf-8")
    done = bench("--bodies", str(tmp_path), "size-conductor")
    assert done.returncode == 1
    assert "are not distinct" in done.stderr


@pytest.mark.parametrize("path", BODIES, ids=lambda path: path.stem)
def test_what_is_to_vary_occurs_in_each_body(path: Path) -> None:
    given = json.loads(path.read_text(encoding="utf-8"))
    if "bodies_of" in given:
        assert path.with_name(f"{given['bodies_of']}.json") in BODIES
        return
    for body in given["bodies"]:
        assert any(f'"{name}": ' in json.dumps(body) for name in given["vary"]), body


def printed_by_serving_bench(*arguments: str) -> str:
    """Return what the bench of ways to run the server prints in a short run."""
    done = subprocess.run(
        [sys.executable, ROOT / "tests" / "bench" / "serving.py", "--runs", "1", *arguments],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_a_short_run_sets_ways_to_serve_against_one_another() -> None:
    printed = printed_by_serving_bench("--seconds", "0.2", "--settling", "0.05", "as deployed")
    head, line, *rows = printed.splitlines()
    assert head == "|  | as deployed |"
    assert set(line) == {"|", "-"}
    assert len(rows) == 26
    for row in rows:
        # What is deployed answers beside whatever it is measured.
        figure = float(row.split("|")[2])
        assert 0.0 < figure < float("inf") or (figure == 0.0 and "refused" in row), row


def test_a_short_run_measures_crowds_on_kept_and_on_new_connections() -> None:
    printed = printed_by_serving_bench("--crowds", "--seconds", "0.1", "--settling", "0.05")
    head, _, *rows = printed.splitlines()
    assert head == "|  | as deployed |"
    for callers in (16, 32, 64, 128):
        for how in ("", ", each call on a new connection"):
            for what in ("p50 x", "p99 x", "answered x", "refused/s"):
                (row,) = (row for row in rows if f"| {what} of {callers} callers{how} |" in row)
                assert 0.0 <= float(row.split("|")[2]) < float("inf"), row
