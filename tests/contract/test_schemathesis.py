"""The contract, tried by schemathesis: on the application, and on the real server.

The pytest integration runs three of schemathesis' phases in each test of an operation: the examples
of the document, the boundary values of each keyword (coverage), and drawn requests (fuzzing), both
of valid and of invalid data. ``phases_seen`` holds it to that. The stateful phase follows the links
of the document: the service keeps nothing, but one answer gives what the next request asks for.
"""

import json
import os
import re
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest
import schemathesis
import schemathesis_hooks
from hypothesis import HealthCheck, settings
from schemathesis.config import SchemathesisConfig

from drawn_requests import validator
from loomwright.jobs.demo_library import demo_price_book
from loomwright.web.app import create_app
from served import served
from set_up import change_settings

SETTINGS = Path(__file__).with_name("schemathesis.toml")
# More in CI, where nobody waits for it.
IS_CI = os.environ.get("CI") == "true"
LIVE_EXAMPLES = 300 if IS_CI else 25
LONGEST_RUN_S = 1800.0 if IS_CI else 600.0
PHASES = ("Examples", "Coverage", "Fuzzing", "Stateful")
SEQUENCES, STEPS = 120, 5
# A required parameter that is JSON text is written as JSON once more by schemathesis, so none of
# its requests can be right; tests/recording.py and tests/clients ask the examples by GET.
ENCODED_TWICE = ("GET /v1/match-load-impedance",)
# Without parameters there is nothing to show or to vary but the request itself.
BARE = tuple(f"GET /v1/{name}" for name in ("health", "live", "price-books", "problems", "ready"))
# Called as WSGI, schemathesis asks for gzip and does not unpack it; on the real server it does.
UNPACKED = {"Accept-Encoding": "identity"}

app = create_app()
schema = schemathesis.openapi.from_wsgi(
    "/v1/openapi.json", app, config=SchemathesisConfig.from_path(SETTINGS)
)


@pytest.fixture(scope="module")
def book_folder(tmp_path_factory):
    """Yield a folder with one price book, mounted in this process: what links begin with."""
    folder = tmp_path_factory.mktemp("books")
    (folder / "spring.json").write_text(json.dumps(demo_price_book()), "utf-8")
    change_settings(app, price_books=folder)
    yield folder
    change_settings(app, price_books=None)


@pytest.fixture(scope="module")
def phases_seen():
    """Count the cases by operation, phase and class of status, and see that no phase is missing."""
    seen = Counter()
    yield seen
    for label in {label for label, _, _ in seen}:
        if label in BARE:
            continue
        phases = {phase for name, phase, _ in seen if name == label}
        assert phases == {"examples", "coverage", "fuzzing"}, f"{label}: only {phases}"
        if label in ENCODED_TWICE:
            continue
        # Were all refused, no answer would have been looked at.
        assert seen[label, "examples", 200] > 0, f"{label}: no example is accepted"


def test_no_example_of_a_body_is_passed_over():
    """An example that the schema refuses is left out by schemathesis, which says nothing of it."""
    written, asked = {}, {}
    for found in schema.get_all_operations():
        operation = found.ok()
        document = schema.raw_schema["paths"][operation.path][operation.method]
        content = document.get("requestBody", {"content": {}})["content"]
        if content:
            written[operation.label] = sum(
                len(each.get("examples", ())) for each in content.values()
            )
            asked[operation.label] = len(operation.get_strategies_from_examples())
    assert len(written) > 12
    assert asked == written


@schema.parametrize()
def test_operation_keeps_the_contract(case, phases_seen):
    response = case.call(headers=UNPACKED)
    phases_seen[case.operation.label, case.meta.phase.name.value, response.status_code] += 1
    case.validate_response(response)
    if response.headers.get("content-type") == ["application/x-ndjson"]:
        check_lines(response.text)


def check_lines(text):
    """See that each line of a stream is a row as the document describes it, and the last the sum.

    To schemathesis the media type is text.
    """
    *rows, last = [json.loads(line) for line in text.splitlines()]
    for row in rows:
        validator("PackageQuoteAnswer").validate(row)
    assert list(last) == ["summary"]
    validator("BatchSummaryAnswer").validate(last["summary"])
    assert last["summary"]["rows"] == len(rows)


@pytest.mark.usefixtures("book_folder")
def test_sequences_of_operations_keep_the_contract(phases_seen, record_property):
    """Follow the links of the document; the answer of one operation feeds the next."""
    followed = Counter()

    class Sequences(schema.as_state_machine()):
        def get_call_kwargs(self, case):  # noqa: ARG002  signature of schemathesis
            return {"headers": UNPACKED}

        def after_call(self, response, case):
            followed[case.operation.label] += 1
            super().after_call(response, case)

    Sequences.run(
        settings=settings(
            max_examples=SEQUENCES,
            stateful_step_count=STEPS,
            deadline=None,
            # The same sequences in each run, so that the same links are followed.
            derandomize=True,
            suppress_health_check=list(HealthCheck),
        )
    )
    linked = {"POST /v1/size-fuse", "POST /v1/check-price-book", "POST /v1/build-bill-of-materials"}
    assert linked <= set(followed)
    record_property(
        "summary",
        f"schemathesis over WSGI: {phases_seen.total()} cases in examples, coverage and fuzzing, "
        f"{followed.total()} in {SEQUENCES} sequences",
    )


@pytest.fixture
def address(tmp_path, book_folder):
    """Yield the address of the service under its own server."""
    with served(tmp_path / "server.log", LOOMWRIGHT_PRICE_BOOKS=str(book_folder)) as address:
        yield address


def test_command_line_finds_nothing_on_the_real_server(address, tmp_path, record_property):
    run = subprocess.run(
        [
            Path(sys.executable).with_name("st"),
            f"--config-file={SETTINGS}",
            "run",
            f"{address}/v1/openapi.json",
            "--checks=all",
            f"--phases={','.join(PHASES).lower()}",
            f"--max-examples={LIVE_EXAMPLES}",
            "--continue-on-failure",
            "--no-color",
        ],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        env={
            **os.environ,
            "SCHEMATHESIS_HOOKS": schemathesis_hooks.__name__,
            "PYTHONPATH": str(Path(__file__).parent),
        },
        timeout=LONGEST_RUN_S,
        check=False,
    )
    assert run.returncode == 0, run.stdout + run.stderr
    for phase in PHASES:
        assert f"✅ {phase}" in run.stdout, run.stdout
    cases = re.search(r"(\d+) generated, (\d+) passed", run.stdout)
    assert cases is not None, run.stdout
    assert cases[1] == cases[2]
    operations = re.search(r"Tested: (\d+)", run.stdout)
    assert operations is not None, run.stdout
    tried = sum(len(path) for path in schema.raw_schema["paths"].values())
    assert int(operations[1]) == tried
    # Health and the list of books take nothing that could be drawn.
    assert int(cases[1]) > LIVE_EXAMPLES * (tried - 2)
    record_property(
        "summary",
        f"schemathesis on the real server: {cases[1]} cases, {LIVE_EXAMPLES} examples drawn for "
        f"each of {operations[1]} operations, all phases",
    )
