"""A test whose outside program is lacking is deselected, but fails where CI=true."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def collected(tmp_path: Path, ci: str) -> str:
    """Return what pytest says of the tests of clients on a machine without LibreOffice."""
    commands = tmp_path / "commands"
    commands.mkdir()
    bash = Path("/bin/bash")
    (commands / "bash").symlink_to(bash)
    done = subprocess.run(
        [
            sys.executable,
            "-m",
            "pytest",
            "--collect-only",
            "-p",
            "no:cacheprovider",
            "tests/clients",
        ],
        cwd=ROOT,
        env={**os.environ, "PATH": str(commands), "CI": ci},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    return done.stdout + done.stderr


@pytest.mark.parametrize(("ci", "is_there"), [("", False), ("true", True)])
def test_workbook_is_tried_unless_calc_is_lacking_outside_ci(
    tmp_path: Path, ci: str, is_there: bool
) -> None:
    said = collected(tmp_path, ci)
    assert ("test_spreadsheet.py" in said) is is_there, said
    assert ("deselected" in said) is not is_there, said
