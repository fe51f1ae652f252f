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

from outside_settings import CHROMIUM

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


def chromium_command() -> str | None:
    """Return the browser's command: the one that is stated, or Debian's, or None."""
    stated = os.environ.get(CHROMIUM)
    names = (stated,) if stated else ("chromium", "chromium-browser")
    return next(filter(None, map(shutil.which, names)), None)


def chromium_is_here() -> bool:
    """Tell whether the browser is installed."""
    return chromium_command() is not None


def pdftoppm_is_here() -> bool:
    """Tell whether the program is installed that turns pages of a PDF into pictures."""
    return shutil.which("pdftoppm") is not None


def nginx_command() -> str | None:
    """Return the proxy's command, or None."""
    return shutil.which("nginx")


def nginx_is_here() -> bool:
    """Tell whether the proxy is installed."""
    return nginx_command() is not None


# A file, or a folder with all that is in it.
NEEDS: Mapping[Path, Callable[[], bool]] = MappingProxyType(
    {
        TESTS / "browser": chromium_is_here,
        TESTS / "clients" / "test_spreadsheet.py": calc_is_here,
        TESTS / "engineering" / "test_network_simulator.py": ngspice_is_here,
        TESTS / "gate" / "test_proxy.py": nginx_is_here,
        TESTS / "test_page_pictures.py": pdftoppm_is_here,
    }
)


def deselect_what_is_not_here(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out the tests whose program is not here, unless nothing may be left out."""
    if os.environ.get("CI") == "true":
        return
    files = {item.path for item in items}
    lacking: set[Path] = set()
    for place, is_here in NEEDS.items():
        needing = {file for file in files if file.is_relative_to(place)}
        if needing and not is_here():
            lacking |= needing
    left_out = [item for item in items if item.path in lacking]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if item.path not in lacking]
