"""Folder, address and start of the metrics: what cannot be had ends the start with a line."""

import json
import os
import re
import socket
import subprocess
import sys
import tempfile
from fcntl import LOCK_EX, flock
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from loomwright.web.settings import Settings
from loomwright.web.signals import hooks
from loomwright.web.signals.waiting import held_within

ROOT = Path(__file__).parents[2]


@pytest.fixture(autouse=True)
def nothing_served(monkeypatch: pytest.MonkeyPatch) -> Any:
    """What a process that serves nothing yet holds."""
    held = SimpleNamespace(
        folder=None, is_own_folder=False, lock=None, listener=None, place="server"
    )
    monkeypatch.setattr(hooks, "_Served", held)
    monkeypatch.setattr(hooks, "_LOCK_WAIT_S", 0.1)
    return held


def test_a_folder_of_its_own_is_made_for_it_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, nothing_served: Any
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    folder = hooks._folder(Settings())
    assert folder.parent == tmp_path
    assert folder.stat().st_mode & 0o777 == 0o700
    nothing_served.folder = folder
    (folder / "counter_0.db").touch()
    hooks.on_exit(None)
    assert list(tmp_path.iterdir()) == []


def test_a_stated_folder_is_emptied_of_counts_and_kept(tmp_path: Path, nothing_served: Any) -> None:
    for name in ("counter_0.db", "gauge_livesum_server.db", "0.ended", "notes"):
        (tmp_path / name).touch()
    assert hooks._folder(Settings(metrics_folder=tmp_path)) == tmp_path
    assert {path.name for path in tmp_path.iterdir()} == {"lock", "notes"}
    nothing_served.folder = tmp_path
    hooks.on_exit(None)
    assert tmp_path.exists()


def test_two_servers_share_no_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    other = os.open(tmp_path / "lock", os.O_RDWR | os.O_CREAT)
    flock(other, LOCK_EX)
    (tmp_path / "counter_0.db").touch()
    with pytest.raises(SystemExit):
        hooks._folder(Settings(metrics_folder=tmp_path))
    line = capsys.readouterr().err
    assert re.fullmatch(r"loomwright: LOOMWRIGHT_METRICS_FOLDER is '.*', .* uses\.\n", line)
    assert (tmp_path / "counter_0.db").exists()
    os.close(other)
    assert hooks._folder(Settings(metrics_folder=tmp_path)) == tmp_path


def test_without_a_folder_to_write_to_the_start_says_so(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def full(**_: str) -> str:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(tempfile, "mkdtemp", full)
    with pytest.raises(SystemExit):
        hooks._folder(Settings())
    assert "No space left on device; set LOOMWRIGHT_METRICS_FOLDER" in capsys.readouterr().err


def test_processes_take_the_first_free_place(tmp_path: Path, nothing_served: Any) -> None:
    nothing_served.folder = tmp_path
    server = SimpleNamespace(WORKERS={})
    places = []
    for number in range(4):
        worker = SimpleNamespace()
        hooks.pre_fork(server, worker)
        server.WORKERS[number] = worker
        places.append(worker.metrics_place)
    assert places == [0, 1, 2, 3]
    del server.WORKERS[1]
    worker = SimpleNamespace()
    hooks.pre_fork(server, worker)
    assert worker.metrics_place == 1


def start_with(**settings: str) -> list[str]:
    """Lines of a start that fails."""
    done = subprocess.run(
        [sys.executable, "-m", "gunicorn", "--config", ROOT / "deploy" / "gunicorn.conf.py"],
        env=os.environ | {f"LOOMWRIGHT_{name}": text for name, text in settings.items()},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 1, done.stderr
    return done.stderr.splitlines()


def test_an_address_that_is_taken_ends_the_start_with_a_line() -> None:
    def folders() -> set[Path]:
        return set(Path(tempfile.gettempdir()).glob("loomwright-metrics-*"))

    before = folders()
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        address = f"127.0.0.1:{taken.getsockname()[1]}"
        (line,) = start_with(METRICS_BIND=address)
    assert line == (
        f"loomwright: LOOMWRIGHT_METRICS_BIND is '{address}', where nothing can be served: "
        "Address already in use."
    )
    # Nothing is left of it.
    assert folders() <= before


def test_faults_of_the_settings_are_objects_where_the_log_is() -> None:
    lines = [json.loads(line) for line in start_with(LOG_FORMAT="json", PORT="x", THREADS="x")]
    assert [line["level"] for line in lines] == ["CRITICAL"] * 2
    assert [line["message"].split()[0] for line in lines] == [
        "LOOMWRIGHT_PORT",
        "LOOMWRIGHT_THREADS",
    ]


def test_waiting_ends_with_the_condition_or_the_time() -> None:
    answers = iter([False, False, True])
    assert held_within(lambda: next(answers), 10)
    assert not held_within(lambda: False, 0.1)
