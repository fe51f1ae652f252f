"""The contract, tried by schemathesis: on the application, and on the real server.

The pytest integration runs three of schemathesis' phases in each test of an operation: the examples
of the document, the boundary values of each keyword (coverage), and drawn requests (fuzzing), both
of valid and of invalid data. ``phases_seen`` holds it to that. The stateful phase needs links
between operations, and a service that keeps nothing has none.
"""

import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest
import schemathesis
from schemathesis.config import SchemathesisConfig

from loomwright.web.app import create_app
from served import served

SETTINGS = Path(__file__).with_name("schemathesis.toml")
LONGEST_RUN_S = 240.0

schema = schemathesis.openapi.from_wsgi(
    "/v1/openapi.json", create_app(), config=SchemathesisConfig.from_path(SETTINGS)
)


@pytest.fixture(scope="module")
def phases_seen():
    """Count the cases by operation, phase and class of status, and see that no phase is missing."""
    seen = Counter()
    yield seen
    for label in {label for label, _, _ in seen}:
        if label in ("GET /v1/health", "GET /v1/price-books"):
            # Without parameters there is nothing to show or to vary but the request itself.
            continue
        phases = {phase for name, phase, _ in seen if name == label}
        assert phases == {"examples", "coverage", "fuzzing"}, f"{label}: only {phases}"
        # Were all refused, no answer would have been looked at.
        assert seen[label, "examples", 200] > 0, f"{label}: no example is accepted"


@schema.parametrize()
def test_operation_keeps_the_contract(case, phases_seen):
    response = case.call()
    phases_seen[case.operation.label, case.meta.phase.name.value, response.status_code] += 1
    case.validate_response(response)


@pytest.fixture
def address(tmp_path):
    """Yield the address of the service under its own server."""
    with served(tmp_path / "server.log") as address:
        yield address


def test_command_line_finds_nothing_on_the_real_server(address, tmp_path):
    run = subprocess.run(
        [
            Path(sys.executable).with_name("st"),
            f"--config-file={SETTINGS}",
            "run",
            f"{address}/v1/openapi.json",
            "--checks=all",
            "--phases=examples,coverage,fuzzing",
            "--max-examples=25",
            "--continue-on-failure",
            "--no-color",
        ],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=LONGEST_RUN_S,
        check=False,
    )
    assert run.returncode == 0, run.stdout + run.stderr
    for phase in ("Examples", "Coverage", "Fuzzing"):
        assert f"✅ {phase}" in run.stdout, run.stdout
