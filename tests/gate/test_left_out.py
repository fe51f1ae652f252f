"""A test whose outside program is lacking is deselected, but fails where CI=true."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def collected(tmp_path: Path, ci: str, tests: str) -> str:
    """Return what pytest says of tests on a machine without LibreOffice and ngspice."""
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
            tests,
        ],
        cwd=ROOT,
        env={**os.environ, "PATH": str(commands), "CI": ci},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    return done.stdout + done.stderr


@pytest.mark.parametrize(
    "tests", ["tests/clients/test_spreadsheet.py", "tests/engineering/test_network_simulator.py"]
)
@pytest.mark.parametrize(("ci", "is_there"), [("", False), ("true", True)])
def test_what_a_lacking_program_does_is_tried_in_ci_and_deselected_elsewhere(
    tmp_path: Path, tests: str, ci: str, is_there: bool
) -> None:
    said = collected(tmp_path, ci, tests)
    assert (f"{Path(tests).name}::" in said or f"{tests}:" in said) is is_there, said
    assert ("deselected" in said) is not is_there, said
