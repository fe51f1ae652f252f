"""The sample plugins, loaded from where they stand, and runs of the runner over them."""

import copy
import importlib.util
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from http.server import ThreadingHTTPServer
from pathlib import Path
from types import ModuleType
from typing import Any

from loomwright.conformance.receiver import ReceiverRunner
from loomwright.conformance.report import FAILED, PASSED, Ledger, Report, report_of
from loomwright.conformance.specification import FOLDER, specification
from loomwright.exchange import address_of
from loomwright.jobs.demo_library import demo_price_book

SAMPLES = FOLDER / "samples"
SPECIFICATION = specification()
NAME = "spring"
KINDS = ("price_book", "labour_rates", "tax_rules", "stock", "mapping")
BOOK = demo_price_book()
BOOK["tax_categories"] = [
    {"key": "standard", "taxes": [tax["key"] for tax in BOOK["taxes"]]},
    {"key": "exempt", "taxes": []},
]
PART, OTHER = BOOK["parts"][0]["key"], BOOK["parts"][1]["key"]


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


def sample_documents() -> dict[str, Any]:
    """Documents of a right provider, by kind; the price book is small enough to be asked often."""
    named = {"specification": "1.0"}
    categories = [entry["key"] for entry in BOOK["tax_categories"]]
    return {
        "capabilities": {
            **named,
            "roles": ["provider"],
            "name": "Wren Car Electrics (invented)",
            "serves": list(KINDS),
            "price_books": [NAME],
        },
        "price_book": {**named, "price_book": copy.deepcopy(BOOK)},
        "labour_rates": {
            **named,
            "currency": BOOK["currency"],
            "labour": {"labour": copy.deepcopy(BOOK["labour"]), "labour_minimum": "41.00"},
        },
        "tax_rules": {
            **named,
            "tax_rules": {name: copy.deepcopy(BOOK[name]) for name in ("taxes", "tax_categories")},
        },
        "stock": {
            **named,
            "as_of": datetime.now(UTC).isoformat(),
            "stock": [{"part": PART, "quantity": "12"}, {"part": OTHER, "quantity": "0.5"}],
        },
        "mapping": {
            **named,
            "parts": [
                {"part": part["key"], "shop_part_number": f"{number:05}"}
                for number, part in enumerate(BOOK["parts"])
            ],
            "tax_categories": [
                {"tax_category": key, "shop_tax_code": f"V{number}"}
                for number, key in enumerate(categories)
            ],
        },
    }
