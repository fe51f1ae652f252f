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
TOOLS = ("ruff", "mypy", "lint-imports", "pydoclint", "bandit", "openapi-spec-validator", "python")
STEPS = [
    "ruff check",
    "ruff format --check",
    "mypy",
    "lint-imports",
    "pydoclint --quiet service/loomwright",
    "bandit --quiet --configfile pyproject.toml --recursive service",
    "openapi-spec-validator openapi/loomwright.yaml",
    "python -m pytest -n 2 --dist loadfile",
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
        stand_in(tools / tool, f'echo "ran {tool} $*"\n[ "$FAILING" != "{tool}" ]')
    commands = tmp_path / "commands"
    commands.mkdir()
    (commands / "python3.11").symlink_to(sys.executable)
    # Nothing is installed by a test, whatever this machine lacks.
    stand_in(commands / "apt-get", 'echo "apt-get $*"')
    stand_in(commands / "soffice", "exit 0")
    stand_in(commands / "id", "echo 0")
    stamp = run(
        tmp_path,
        "-c",
        '. deploy/environment.sh; environment_stamp "$(python_3_11)"'
        " deploy/build.lock deploy/requirements-test.lock",
    )
    (tmp_path / ".venv-test" / "stamp").write_text(stamp.stdout, encoding="utf-8")
    return tmp_path


def stand_in(path: Path, script: str) -> None:
    path.write_text(f"#!/bin/sh\n{script}\n", encoding="utf-8")
    path.chmod(0o755)


def make_office(copy: Path, *, is_there: bool) -> None:
    """Let the scripts find a Python with ``uno``, or none, whatever this machine has."""
    environment = copy / "deploy" / "environment.sh"
    found = environment.read_text(encoding="utf-8")
    assert found.count("/usr/bin/python3 python3;") == 1
    candidate = copy / "commands" / "python-with-uno"
    stand_in(candidate, "exit 0" if is_there else "exit 1")
    environment.write_text(
        found.replace("/usr/bin/python3 python3;", f"{candidate};"), encoding="utf-8"
    )


def make_command(copy: Path, name: str, *, is_there: bool) -> None:
    """Let the scripts find an outside program, or none, whatever this machine has."""
    environment = copy / "deploy" / "environment.sh"
    found = environment.read_text(encoding="utf-8")
    assert found.count(f"command -v {name} ") == 1
    program = copy / "commands" / f"stand-in-{name}"
    if is_there:
        stand_in(program, "exit 0")
    environment.write_text(
        found.replace(f"command -v {name} ", f"command -v {program} "), encoding="utf-8"
    )


# What the outside programs are installed from, and what is said where one is lacking.
PACKAGES = {
    "office": "libreoffice-calc python3-uno",
    "ngspice": "ngspice",
    "chromium": "chromium",
    "pdftoppm": "poppler-utils",
    "nginx": "nginx-light",
}
LEFT_OUT = {
    "office": "left out: the workbook in LibreOffice Calc",
    "ngspice": "left out: networks against the simulator",
    "chromium": "left out: pages in a browser",
    "pdftoppm": "left out: pictures of printed pages",
    "nginx": "left out: instances behind a proxy",
}
EVERY = tuple(PACKAGES)
LACKING = [(), *((name,) for name in EVERY), EVERY[::2], EVERY[1::2], EVERY]


def make_programs(copy: Path, lacking: tuple[str, ...]) -> None:
    """Let the scripts find all outside programs but some."""
    make_office(copy, is_there="office" not in lacking)
    for name in ("ngspice", "chromium", "pdftoppm", "nginx"):
        make_command(copy, name, is_there=name not in lacking)
    # The browser's other name.
    make_command(copy, "chromium-browser", is_there=False)


def run(
    copy: Path, *arguments: str, failing: str = "", **surroundings: str
) -> subprocess.CompletedProcess[str]:
    path = f"{copy / 'commands'}{os.pathsep}{os.environ['PATH']}"
    return subprocess.run(
        ["bash", *arguments],
        cwd=copy,
        env={**os.environ, "CI": "", "PATH": path, "FAILING": failing, **surroundings},
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
    assert done.stdout.splitlines()[-1].strip() == f"ran {STEPS[-1]}"


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


def left_out(output: str) -> list[str]:
    """Return the programs that the output says are lacking, a line for each."""
    lines = [line for line in output.splitlines() if "left out:" in line]
    return [name for line in lines for name, text in LEFT_OUT.items() if text in line]


@pytest.mark.parametrize("lacking", LACKING)
def test_what_is_left_out_is_said_in_one_line_each(copy: Path, lacking: tuple[str, ...]) -> None:
    make_programs(copy, lacking)
    done = run(copy, "tests/run.sh")
    assert done.returncode == 0, done.stderr
    assert left_out(done.stdout) == list(lacking)
    assert done.stdout.count("left out:") == len(lacking)
    assert done.stdout.splitlines()[-1].strip() == f"ran {STEPS[-1]}"


def test_under_ci_nothing_is_left_out(copy: Path) -> None:
    make_programs(copy, EVERY)
    assert "left out:" not in run(copy, "tests/run.sh", CI="true").stdout
    assert "left out:" not in run(copy, ".ci/run").stdout


@pytest.mark.parametrize("lacking", LACKING)
def test_ci_installs_what_is_lacking(copy: Path, lacking: tuple[str, ...]) -> None:
    make_programs(copy, lacking)
    asked = [line for line in run(copy, ".ci/run").stdout.splitlines() if "apt-get" in line]
    packages = " ".join(PACKAGES[name] for name in lacking)
    install = f"apt-get install -y -qq --no-install-recommends {packages}"
    assert asked == (["apt-get update -qq", install] if lacking else [])


def test_the_browser_may_have_its_other_name_or_a_stated_one(copy: Path) -> None:
    make_programs(copy, ("chromium",))
    assert left_out(run(copy, "tests/run.sh").stdout) == ["chromium"]
    stand_in(copy / "commands" / "stand-in-chromium-browser", "exit 0")
    assert left_out(run(copy, "tests/run.sh").stdout) == []
    stated = copy / "commands" / "browser"
    said = run(copy, "tests/run.sh", LOOMWRIGHT_CHROMIUM=str(stated)).stdout
    assert left_out(said) == ["chromium"]
    stand_in(stated, "exit 0")
    said = run(copy, "tests/run.sh", LOOMWRIGHT_CHROMIUM=str(stated)).stdout
    assert left_out(said) == []


def test_arguments_reach_the_tests(copy: Path) -> None:
    done = run(copy, "tests/run.sh", "-k", "two words")
    assert steps_run(done.stdout)[-1] == f"{STEPS[-1]} -k two words"


@pytest.mark.parametrize(
    "script",
    [
        "deploy/container/build-from-debian.sh",
        "deploy/audit.sh",
        "deploy/start.sh",
        "deploy/lock.sh",
        "tests/fuzz/run.sh",
        "tests/run.sh",
        ".ci/run",
    ],
)
def test_scripts_parse(script: str) -> None:
    subprocess.run(["bash", "-n", ROOT / script], check=True, timeout=10)
