"""A test whose outside program is lacking is deselected, but fails where CI=true."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from left_out import chromium_command
from outside_settings import CHROMIUM, set_aside

ROOT = Path(__file__).parents[2]


def collected(tmp_path: Path, ci: str, tests: str) -> str:
    """Return what pytest says of tests on a machine without the outside programs."""
    commands = tmp_path / "commands"
    commands.mkdir()
    bash = Path("/bin/bash")
    (commands / "bash").symlink_to(bash)
    surroundings = {name: text for name, text in os.environ.items() if name != CHROMIUM}
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
        env={**surroundings, "PATH": str(commands), "CI": ci},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    return done.stdout + done.stderr


@pytest.mark.parametrize(
    "tests",
    [
        "tests/browser/test_api_in_browser.py",
        "tests/clients/test_spreadsheet.py",
        "tests/engineering/test_network_simulator.py",
        "tests/gate/test_proxy.py",
        "tests/test_page_pictures.py",
    ],
)
@pytest.mark.parametrize(("ci", "is_there"), [("", False), ("true", True)])
def test_what_a_lacking_program_does_is_tried_in_ci_and_deselected_elsewhere(
    tmp_path: Path, tests: str, ci: str, is_there: bool
) -> None:
    said = collected(tmp_path, ci, tests)
    assert (f"{Path(tests).name}::" in said or f"{tests}:" in said) is is_there, said
    assert ("deselected" in said) is not is_there, said


def test_a_stated_browser_goes_before_those_on_the_path(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("chromium", "chromium-browser", "stated"):
        (tmp_path / name).write_text("#!/bin/sh\n", encoding="utf-8")
        (tmp_path / name).chmod(0o755)
    monkeypatch.setenv("PATH", str(tmp_path))
    # Set first, so that what is set aside below is taken back, too.
    monkeypatch.setenv(CHROMIUM, "")
    monkeypatch.delenv(CHROMIUM)
    assert chromium_command() == str(tmp_path / "chromium")
    (tmp_path / "chromium").unlink()
    assert chromium_command() == str(tmp_path / "chromium-browser")
    monkeypatch.setenv("LOOMWRIGHT_CHROMIUM", str(tmp_path / "stated"))
    set_aside()
    # The service would refuse to start with a variable that is no setting of its own.
    assert "LOOMWRIGHT_CHROMIUM" not in os.environ
    assert chromium_command() == str(tmp_path / "stated")
    (tmp_path / "stated").unlink()
    assert chromium_command() is None
