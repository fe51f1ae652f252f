"""Every test has an id of its own, or the run is refused."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from own_ids import give_own_ids

TESTS = Path(__file__).parents[1]
OPERATIONS = """
import schemathesis

RAW = {{
    "openapi": "3.1.0",
    "info": {{"title": "Two operations", "version": "1"}},
    "paths": {{
        path: {{"get": {{"responses": {{"200": {{"description": "done"}}}}}}}}
        for path in ("/a", "/b")
    }},
}}
schema = schemathesis.openapi.from_dict(RAW)


@schema.parametrize()
def test_operation(case):
    with open("{ran}", "a") as ran:
        print(case.operation.label, file=ran)
"""
CONFTEST = """
from own_ids import give_own_ids


def pytest_collection_modifyitems(items):
    give_own_ids(items)
"""


def pytest_of(folder: Path) -> subprocess.CompletedProcess[str]:
    """Run two operations in a process of their own, as the test command deals out files."""
    shutil.copy(TESTS / "own_ids.py", folder)
    (folder / "conftest.py").write_text(CONFTEST, "utf-8")
    (folder / "pytest.ini").write_text("[pytest]\n", "utf-8")
    text = OPERATIONS.format(ran=folder / "ran")
    (folder / "test_operations.py").write_text(text, "utf-8")
    return subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-n", "1", "--dist", "loadfile"],
        cwd=folder,
        env={key: value for key, value in os.environ.items() if not key.startswith("PYTEST_")},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def test_each_operation_is_run_where_files_are_dealt_out(tmp_path: Path) -> None:
    done = pytest_of(tmp_path)
    assert "2 passed" in done.stdout, done.stdout + done.stderr
    ran = (tmp_path / "ran").read_text("utf-8").splitlines()
    assert set(ran) == {"GET /a", "GET /b"}


def test_tests_of_one_id_are_refused() -> None:
    class Test:
        nodeid = "test_a.py::test_b"

    with pytest.raises(pytest.UsageError, match=r"test_a[.]py::test_b"):
        give_own_ids([Test(), Test()])  # type: ignore[list-item]
