"""The test command: every step runs, any failure counts, and the tests' closing line is last.

The tools are stand-ins that report their name and fail on request; the script is the real one.
"""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TOOLS = ("ruff", "mypy", "lint-imports", "pydoclint", "openapi-spec-validator", "python")
STEPS = [
    "ruff check",
    "ruff format --check",
    "mypy",
    "lint-imports",
    "pydoclint --quiet service/loomwright",
    "openapi-spec-validator openapi/loomwright.yaml",
    "python -m pytest",
]


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A copy of the scripts with an environment full of stand-ins."""
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    shutil.copytree(ROOT / "deploy", tmp_path / "deploy")
    shutil.copytree(ROOT / ".ci", tmp_path / ".ci")
    (tmp_path / "tests").mkdir()
    shutil.copy(ROOT / "tests" / "run.sh", tmp_path / "tests")
    tools = tmp_path / ".venv-test" / "bin"
    tools.mkdir(parents=True)
    for tool in TOOLS:
        script = f'#!/bin/sh\necho "ran {tool} $*"\n[ "$FAILING" != "{tool}" ]\n'
        (tools / tool).write_text(script, encoding="utf-8")
        (tools / tool).chmod(0o755)
    commands = tmp_path / "commands"
    commands.mkdir()
    (commands / "python3.11").symlink_to(sys.executable)
    stamp = run(
        tmp_path,
        "-c",
        '. deploy/environment.sh; environment_stamp "$(python_3_11)"'
        " deploy/build.lock deploy/requirements-test.lock",
    )
    (tmp_path / ".venv-test" / "stamp").write_text(stamp.stdout, encoding="utf-8")
    return tmp_path


def run(copy: Path, *arguments: str, failing: str = "") -> subprocess.CompletedProcess[str]:
    path = f"{copy / 'commands'}{os.pathsep}{os.environ['PATH']}"
    return subprocess.run(
        ["bash", *arguments],
        cwd=copy,
        env={**os.environ, "PATH": path, "FAILING": failing},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


def steps_run(output: str) -> list[str]:
    return [line.removeprefix("ran ") for line in output.splitlines() if line.startswith("ran ")]


@pytest.mark.parametrize("script", ["tests/run.sh", ".ci/run"])
def test_all_steps_run_and_the_tests_come_last(copy: Path, script: str) -> None:
    done = run(copy, script)
    assert done.returncode == 0, done.stderr
    assert [step.strip() for step in steps_run(done.stdout)] == STEPS
    assert done.stdout.splitlines()[-1].strip() == "ran python -m pytest"


@pytest.mark.parametrize("script", ["tests/run.sh", ".ci/run"])
@pytest.mark.parametrize("failing", TOOLS)
def test_one_failing_step_fails_the_command_yet_all_run(
    copy: Path, script: str, failing: str
) -> None:
    done = run(copy, script, failing=failing)
    assert done.returncode != 0
    assert len(steps_run(done.stdout)) == len(STEPS)
    if failing != "python":
        assert f"failed before the tests: {failing}" in done.stderr


def test_arguments_reach_the_tests(copy: Path) -> None:
    done = run(copy, "tests/run.sh", "-k", "two words")
    assert steps_run(done.stdout)[-1] == "python -m pytest -k two words"


@pytest.mark.parametrize("script", ["deploy/start.sh", "deploy/lock.sh", "tests/run.sh", ".ci/run"])
def test_scripts_parse(script: str) -> None:
    subprocess.run(["bash", "-n", ROOT / script], check=True, timeout=10)
