"""The sample plugins, loaded from where they stand, and runs of the runner over them."""

import importlib.util
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import ThreadingHTTPServer
from pathlib import Path
from types import ModuleType
from typing import Any

from loomwright.conformance.receiver import ReceiverRunner
from loomwright.conformance.report import FAILED, PASSED, Ledger, Report, report_of
from loomwright.conformance.specification import FOLDER, specification
from loomwright.exchange import address_of

SAMPLES = FOLDER / "samples"
SPECIFICATION = specification()


def sample(name: str) -> ModuleType:
    """Load a sample as a module of its own name; samples beside it can be imported by it."""
    found = importlib.util.spec_from_file_location(name, SAMPLES / f"{name}.py")
    assert found is not None
    assert found.loader is not None
    module = importlib.util.module_from_spec(found)
    sys.modules[name] = module
    found.loader.exec_module(module)
    return module


@contextmanager
def serving(server: ThreadingHTTPServer) -> Iterator[str]:
    """Serve within the context; gives the base address."""
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, args=(0.01,))
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_address[1]}"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def receiver_report(url: str, token: str = "") -> Report:
    """Judge a receiver by all cases."""
    ledger = Ledger()
    ReceiverRunner(address_of(url, token)).judge(SPECIFICATION.cases_of("receiver"), ledger)
    return report_of("receiver", url, SPECIFICATION.of_role("receiver"), ledger)


def failed(report: Report) -> dict[str, list[str]]:
    """What a report finds failed: number -> what was seen, for the message of an assertion."""
    return {
        verdict.requirement.number: [finding.text for finding in verdict.findings]
        for verdict in report.verdicts
        if verdict.result == FAILED
    }


def passed(report: Report) -> set[str]:
    """Numbers of the requirements that a report finds passed."""
    return set(report.numbers(PASSED))


def binding(role: str) -> set[str]:
    """Numbers of the requirements that bind a role without excuse."""
    return {entry.number for entry in SPECIFICATION.of_role(role) if entry.binding}


def text_of(path: Path) -> Any:
    """Text of a file."""
    return path.read_text("utf-8")
