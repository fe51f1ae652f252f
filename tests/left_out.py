"""Which of the outside programs are here.

A test that needs one that is not here is deselected and so counted in the closing line, but never
with CI=true, where it fails. ``tests/run.sh`` says in one line what is left out.
"""

import os
import shutil
import subprocess
from collections.abc import Callable, Mapping
from pathlib import Path
from types import MappingProxyType

import pytest

TESTS = Path(__file__).parent


def calc_is_here() -> bool:
    """Tell whether LibreOffice Calc is installed, with a Python that can talk to it."""
    script = ". deploy/environment.sh; calc_is_here"
    bash = shutil.which("bash")
    assert bash is not None
    return subprocess.run([bash, "-c", script], cwd=TESTS.parent, check=False).returncode == 0


def ngspice_is_here() -> bool:
    """Tell whether the circuit simulator is installed."""
    return shutil.which("ngspice") is not None


NEEDS: Mapping[Path, Callable[[], bool]] = MappingProxyType(
    {
        TESTS / "clients" / "test_spreadsheet.py": calc_is_here,
        TESTS / "engineering" / "test_network_simulator.py": ngspice_is_here,
    }
)


def deselect_what_is_not_here(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out the tests whose program is not here, unless nothing may be left out."""
    if os.environ.get("CI") == "true":
        return
    asked = {item.path for item in items}
    lacking = {path for path, is_here in NEEDS.items() if path in asked and not is_here()}
    left_out = [item for item in items if item.path in lacking]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if item.path not in lacking]
