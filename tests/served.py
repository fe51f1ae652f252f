"""The service under its own server, for tests that reach it as clients do."""

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
LONGEST_START_S = 60.0


@contextmanager
def served(log: Path, **settings: str) -> Iterator[str]:
    """Yield the address of the service on a free loopback port.

    Afterwards no process of it may be left and no failure may stand in its log. ``settings`` are
    further environment variables.
    """
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    own = {"LOOMWRIGHT_BIND": f"127.0.0.1:{port}", "LOOMWRIGHT_WORKERS": "1"}
    # A file: a pipe that nobody reads would stop the server once it is full.
    with log.open("w") as output:
        server = subprocess.Popen(
            [sys.executable, "-m", "gunicorn", "--config", ROOT / "deploy" / "gunicorn.conf.py"],
            env={**os.environ, **own, **settings},
            start_new_session=True,
            stdout=output,
            stderr=subprocess.STDOUT,
        )
    try:
        _wait_until_ready(server, f"http://127.0.0.1:{port}/v1/health", log)
        yield f"http://127.0.0.1:{port}"
    finally:
        server.terminate()
        try:
            server.wait(timeout=20)
        except subprocess.TimeoutExpired:
            os.killpg(server.pid, signal.SIGKILL)
            server.wait()
    said = log.read_text("utf-8")
    assert server.returncode == 0, said
    assert "Traceback" not in said, said
    with pytest.raises(ProcessLookupError):
        os.killpg(server.pid, 0)


def _wait_until_ready(server: subprocess.Popen[bytes], url: str, log: Path) -> None:
    deadline = time.monotonic() + LONGEST_START_S
    while time.monotonic() < deadline:
        assert server.poll() is None, log.read_text("utf-8")
        try:
            with urllib.request.urlopen(url, timeout=5) as response:
                assert response.status == 200
                return
        except OSError:
            time.sleep(0.1)
    raise AssertionError(f"no answer from {url} within {LONGEST_START_S:g} s")
