"""A proxy that nobody here wrote, which holds requests and answers to the OpenAPI document."""

import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from document_calls import DOCUMENT

import node

LONGEST_START_S = 90.0


@contextmanager
def proxied(upstream: str, log: Path) -> Iterator[str]:
    """Yield the address of a proxy before a service; ``violations`` reads its log afterwards.

    Parameters
    ----------
    upstream
        Address of the service.
    log
        File of what the proxy says.
    """
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    place = ("--host", "127.0.0.1", "--port", str(port))
    # A copy: the proxy starts anew whenever its document changes.
    document = shutil.copy(DOCUMENT, log.parent)
    command = node.command("@stoplight/prism-cli", "dist/index.js")
    with log.open("w") as output:
        process = subprocess.Popen(
            [*command, "proxy", str(document), upstream, "--errors", *place],
            cwd=log.parent,
            env=node.environment(),
            stdin=subprocess.DEVNULL,
            stdout=output,
            stderr=subprocess.STDOUT,
        )
    try:
        _wait_until_ready(process, log)
        yield f"http://127.0.0.1:{port}"
    finally:
        process.terminate()
        try:
            process.wait(timeout=20)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def _wait_until_ready(process: "subprocess.Popen[bytes]", log: Path) -> None:
    deadline = time.monotonic() + LONGEST_START_S
    while time.monotonic() < deadline:
        assert process.poll() is None, log.read_text("utf-8")
        if "Prism is listening" in log.read_text("utf-8"):
            return
        time.sleep(0.1)
    raise AssertionError(f"the proxy did not start: {log.read_text('utf-8')}")


def forwarded(log: Path) -> int:
    """Return how many requests the proxy handed on."""
    return log.read_text("utf-8").count("> Forwarding ")


def violations(log: Path) -> list[str]:
    """Return the lines in which the proxy reports a breach of the document."""
    lines = log.read_text("utf-8").splitlines()
    return [line for line in lines if "✖" in line or "⚠" in line or "Violation" in line]
