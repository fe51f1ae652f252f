"""The service where nothing can be written: read-only file systems, full disks, a full log."""

import http.client
import json
import os
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import IO

import pytest
from proxied import free_ports, health_status

from batch_commands import PROGRAM
from batch_inputs import write_inputs
from loomwright.jobs.demo_library import demo_job

ROOT = Path(__file__).parents[2]
LONGEST_S = 120.0
# Whoever is not root is it within a namespace of its own, where the system lets it.
OWN_MOUNTS = ("unshare", "--mount", *(() if os.geteuid() == 0 else ("--map-root-user",)))
# Machine code goes along in memory where it is kept in a folder of its own, and is read from beside
# the byte code otherwise, as in the image.
READ_ONLY = """
set -eu
mount -t tmpfs tmpfs "$TEMPORARY"
if [ -n "${NUMBA_CACHE_DIR:-}" ]; then
    cp -r "$NUMBA_CACHE_DIR" "$TEMPORARY/numba"
    export NUMBA_CACHE_DIR="$TEMPORARY/numba"
else
    export NUMBA_CACHE_LOCATOR_CLASSES=kept_machine_code.KeptMachineCode
fi
for place in $(findmnt --noheadings --list --output TARGET); do
    case "$place" in
        "$TEMPORARY") ;;
        /proc | /proc/* | /sys | /sys/*) ;;
        *) mount -o remount,bind,ro "$place" ;;
    esac
done
if touch "$FORBIDDEN" 2>"$TEMPORARY/said"; then exit 9; fi
grep --quiet "Read-only file system" "$TEMPORARY/said"
export TMPDIR="$TEMPORARY" HOME=/nowhere
exec "$@"
"""
# Ends with the status of its child, where both have written to both streams.
ENDING = """
import contextlib, os, sys
from loomwright.web.exit_status import keep_exit_status
keep_exit_status()
child = os.fork()
for stream, line in ((sys.stdout, "told"), (sys.stderr, "faulty")):
    if stream is not None:
        with contextlib.suppress(OSError):
            stream.write(line + "\\n")
sys.exit(int(sys.argv[1]) if child == 0 else os.waitstatus_to_exitcode(os.wait()[1]))
"""


def answer(port: int, path: str, accept: str) -> tuple[int, bytes]:
    body = json.dumps({"job": demo_job("combustion_car")}).encode()
    headers = {"Content-Type": "application/json", "Accept": accept}
    request = urllib.request.Request(f"http://127.0.0.1:{port}{path}", body, headers)
    with urllib.request.urlopen(request, timeout=LONGEST_S) as response:
        return response.status, response.read()


def limited(blocks: str) -> list[str]:
    """Return what lets no file of a command grow above so many blocks of 512 bytes."""
    return ["sh", "-c", 'ulimit -f "$0" && exec "$@"', blocks]


@contextmanager
def served(command: list[str], own: Mapping[str, str], output: IO[bytes]) -> Iterator[int]:
    """Yield the port of the service; it must end as it should, and leave no process."""
    (port,) = free_ports(1)
    kept = {name: text for name, text in os.environ.items() if "LOOMWRIGHT_" not in name}
    settings = {"LOOMWRIGHT_BIND": f"127.0.0.1:{port}", "LOOMWRIGHT_WORKERS": "1"}
    gunicorn = [sys.executable, "-m", "gunicorn", "--config", str(ROOT / "deploy/gunicorn.conf.py")]
    server = subprocess.Popen(
        [*command, *gunicorn, "--access-logfile", "-", "--log-level", "debug"],
        env=kept | settings | own,
        cwd=ROOT,
        stdout=output,
        stderr=output,
        start_new_session=True,
    )
    try:
        deadline = time.monotonic() + LONGEST_S
        while health_status(port) != 200:
            assert server.poll() is None, "it ended"
            assert time.monotonic() < deadline, "no start"
            time.sleep(0.1)
        yield port
    finally:
        server.terminate()
        try:
            assert server.wait(timeout=40) == 0
        finally:
            with suppress(ProcessLookupError):
                os.killpg(server.pid, signal.SIGKILL)


def check_answers(port: int) -> None:
    """See that bills, documents and drawings come as ever."""
    bill = answer(port, "/v1/build-bill-of-materials", "application/json")
    plan = answer(port, "/v1/plan-installation", "application/pdf")
    drawing = answer(port, "/v1/draw-installation", "image/svg+xml")
    assert (bill[0], json.loads(bill[1])["verdict"]) == (200, "complete")
    assert plan[0] == drawing[0] == 200
    assert plan[1].startswith(b"%PDF-")
    assert b"<svg" in drawing[1][:200]


def test_the_service_serves_with_everything_read_only_but_temporary_files(
    tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    temporary = tmp_path / "temporary"
    temporary.mkdir()
    own = {
        "TEMPORARY": str(temporary),
        "FORBIDDEN": str(tmp_path / "forbidden"),
        "PYTHONPATH": f"{ROOT / 'deploy/container'}:{os.environ.get('PYTHONPATH', '')}",
    }
    is_permitted = subprocess.run([*OWN_MOUNTS, "true"], check=False).returncode == 0
    # Where no process may have mounts of its own, no file can grow above 4 KB; the standard library
    # looks for a folder for temporary files by writing some bytes to one.
    read_only = [*OWN_MOUNTS, "sh", "-c", READ_ONLY, "sh"]
    command = read_only if is_permitted else limited("8")
    file = tmp_path / "log"
    # The log is written by another process, which may.
    with (
        file.open("wb") as written,
        subprocess.Popen(["cat"], stdin=subprocess.PIPE, stdout=written) as log,
    ):
        assert log.stdin is not None
        with served(command, own, log.stdin) as port:
            check_answers(port)
        log.stdin.close()
    said = file.read_text("utf-8")
    assert "Traceback" not in said, said
    assert '"POST /v1/plan-installation HTTP/1.1" 200' in said
    assert not (tmp_path / "forbidden").exists()
    how = "read-only mounts" if is_permitted else "a limit to the size of files"
    record_property("summary", f"Served without a place to write, by {how}.")


# The interpreter keeps lines that are not taken unless it is told not to, as it is in the image.
@pytest.mark.parametrize("unbuffered", ["", "1"])
def test_a_full_log_stops_no_request(unbuffered: str) -> None:
    own = {"PYTHONUNBUFFERED": unbuffered}
    with open("/dev/full", "wb") as full, served([], own, full) as port:
        check_answers(port)
        with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=LONGEST_S)) as asked:
            for _ in range(200):
                asked.request("GET", "/v1/size-conductor?series=awg&key=a")
                response = asked.getresponse()
                assert (response.status, response.read()[:1]) == (422, b"{")


@pytest.mark.parametrize(
    ("streams", "taken"),
    [
        (">/dev/full 2>/dev/full", ""),
        ("2>/dev/full", "told\ntold\n"),
        ("2>&1 >/dev/full", "faulty\nfaulty\n"),
        (">&- 2>&-", ""),
        ("2>&1", None),
    ],
)
def test_a_process_and_its_child_end_as_they_mean_to_whatever_takes_their_lines(
    streams: str, taken: str | None
) -> None:
    ended = subprocess.run(
        ["sh", "-c", f'"$@" {streams}', "sh", sys.executable, "-c", ENDING, "3"],
        env=dict(os.environ) | {"PYTHONUNBUFFERED": ""},
        capture_output=True,
        text=True,
        timeout=LONGEST_S,
        check=False,
    )
    assert (ended.returncode, ended.stderr) == (3, "")
    if taken is None:
        assert sorted(ended.stdout.split()) == ["faulty", "faulty", "told", "told"]
    else:
        assert ended.stdout == taken


@pytest.mark.parametrize("out", ["quotes.csv", "quotes"])
def test_the_command_says_that_the_disk_is_full_and_goes_on_once_it_is_not(
    tmp_path: Path, out: str
) -> None:
    words = ["price-packages", *write_inputs(tmp_path, 2, 40), "--out", str(tmp_path / out)]

    def run(*before: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [*before, sys.executable, "-c", PROGRAM, *words],
            capture_output=True,
            text=True,
            timeout=LONGEST_S,
            check=False,
        )

    # What the run writes first, the list of what it is of, fits; its rows do not.
    full = run(*limited("8"))
    assert full.returncode == 2, full.stderr
    (line,) = full.stderr.splitlines()
    assert line.startswith("loomwright: File too large")
    assert not (tmp_path / out).exists()
    after = run()
    assert after.returncode == 0, after.stderr
    assert "80 pairs" in after.stdout
    assert (tmp_path / out).exists()
