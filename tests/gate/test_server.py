"""The real server: never open by mistake, problem documents only, and no key in a log."""

import contextlib
import json
import os
import re
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from loomwright.web.problems import CODE_OF_STATUS
from set_up import key_entry

ROOT = Path(__file__).parents[2]
COMMAND = [sys.executable, "-m", "gunicorn", "--config", str(ROOT / "deploy/gunicorn.conf.py")]


def environment(**settings: str) -> dict[str, str]:
    kept = {name: text for name, text in os.environ.items() if not name.startswith("LOOMWRIGHT_")}
    return kept | {f"LOOMWRIGHT_{name.upper()}": text for name, text in settings.items()}


def complaint(*arguments: str, **settings: str) -> list[str]:
    """Lines of a start that fails."""
    done = subprocess.run(
        [*COMMAND, *arguments],
        env=environment(**settings),
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 1, done.stderr
    return done.stderr.splitlines()


def test_every_fault_of_the_settings_is_one_line_and_nothing_starts() -> None:
    lines = complaint(port="x", threads="0", surplus="1")
    assert len(lines) == 3
    assert all(line.startswith("loomwright: LOOMWRIGHT_") for line in lines)


def test_the_server_does_not_stand_open_by_mistake() -> None:
    (line,) = complaint(bind="0.0.0.0:8080")
    assert "0.0.0.0:8080 can be reached by others" in line
    # The command line comes before the environment.
    (line,) = complaint("--bind", "0.0.0.0:8080")
    assert "0.0.0.0:8080 can be reached by others" in line


@contextlib.contextmanager
def served(log: Path, *arguments: str, **settings: str) -> Iterator[int]:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    with log.open("w") as output:
        process = subprocess.Popen(
            [*COMMAND, *arguments],
            env=environment(bind=f"127.0.0.1:{port}", workers="1", **settings),
            cwd=ROOT,
            stdout=output,
            stderr=output,
        )
    try:
        deadline = time.monotonic() + 60
        while time.monotonic() < deadline:
            assert process.poll() is None, log.read_text("utf-8")
            with contextlib.suppress(ConnectionRefusedError):
                socket.create_connection(("127.0.0.1", port), timeout=5).close()
                break
            time.sleep(0.05)
        yield port
    finally:
        process.terminate()
        process.wait(timeout=30)


def exchange(port: int, request: bytes) -> tuple[int, dict[str, str], bytes]:
    """Send raw bytes; return status, header fields and body."""
    with socket.create_connection(("127.0.0.1", port), timeout=30) as wire:
        wire.sendall(request)
        received = b""
        while piece := wire.recv(65536):
            received += piece
    head, _, body = received.partition(b"\r\n\r\n")
    first, *lines = head.decode("latin-1").split("\r\n")
    fields = dict(line.lower().split(": ", 1) for line in lines)
    return int(first.split()[1]), fields, body


QUERY = "series=awg&load_current=20&supply_voltage=12.6&length=4.5"
KEY, SECRET = "key-of-a-sheet", "S3cretKey"
END = b"Host: x\r\nConnection: close\r\n\r\n"
REFUSED_UNREAD = {
    400: b"GET /?key=" + SECRET.encode() + b" HTTP/1.1 x\r\n" + END,
    414: b"GET /?key=" + SECRET.encode() + b"&x=" + b"x" * 5000 + b" HTTP/1.1\r\n" + END,
    417: b"POST /v1/size-fuse HTTP/1.1\r\nExpect: the-moon\r\nContent-Length: 1\r\n" + END,
    431: b"GET / HTTP/1.1\r\nX-Long: " + b"x" * 9000 + b"\r\n" + END,
    501: b"POST /v1/size-fuse HTTP/1.1\r\nTransfer-Encoding: zip\r\n" + END,
}


def test_what_the_server_itself_refuses_is_a_problem_and_no_log_holds_a_key(
    tmp_path: Path,
) -> None:
    keys, log = tmp_path / "keys.toml", tmp_path / "log"
    keys.write_text(key_entry(KEY, "spreadsheet"), "utf-8")
    logs = ("--access-logfile", "-", "--log-level", "debug")
    with served(log, *logs, keys_file=str(keys)) as port:
        for status, request in REFUSED_UNREAD.items():
            found, fields, body = exchange(port, request)
            assert (found, fields["content-type"]) == (status, "application/problem+json")
            problem = json.loads(body)
            assert problem["status"] == status
            assert problem["code"] == CODE_OF_STATUS[status]
            assert int(fields["content-length"]) == len(body)
            assert SECRET.encode() not in body
            # Made up by the server: it has read no header field.
            assert re.fullmatch(r"[0-9a-f]{32}", fields["x-request-id"])
        for key, status in ((KEY, 200), (SECRET, 401)):
            line = f"GET /v1/size-conductor?{QUERY}&key={key} HTTP/1.1\r\n".encode()
            referer = f"Referer: http://x/?key={key}\r\n".encode()
            assert exchange(port, line + referer + END)[0] == status
    text = log.read_text("utf-8")
    assert "key=(redacted)" in text
    assert KEY not in text
    assert SECRET not in text


@pytest.mark.parametrize("bind", ["0.0.0.0:8080"])
def test_the_image_says_where_it_listens(bind: str) -> None:
    assert f"LOOMWRIGHT_BIND={bind}" in (ROOT / "Dockerfile").read_text("utf-8")
