"""The audit of the locked packages: it never says clean where nobody could tell.

The auditor is a stand-in that answers as pip-audit does; the script is the real one.
"""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
CANARIES = {"jinja2": "2.10", "urllib3": "1.24.1"}
STAND_IN = """#!{python}
import json, pathlib, sys

words = sys.argv[1:]
output, asked = (words[words.index(name) + 1] for name in ("--output", "--requirement"))
answers = json.loads(pathlib.Path("answers.json").read_text())
answer = answers.get(pathlib.Path(asked).name, answers["other"])
if answer is None:
    sys.exit("no connection")
pathlib.Path(output).write_text(json.dumps({{"dependencies": answer, "fixes": []}}))
sys.exit(any("vulns" in each and each["vulns"] for each in answer))
"""


def vulnerable(name: str, version: str) -> dict[str, object]:
    found = {"id": "PYSEC-0", "fix_versions": ["9"], "aliases": [], "description": "x"}
    return {"name": name, "version": version, "vulns": [found]}


def skipped(name: str) -> dict[str, object]:
    return {"name": name, "skip_reason": "not found on the index"}


def clean(name: str) -> dict[str, object]:
    return {"name": name, "version": "1", "vulns": []}


REPORTED = [vulnerable(*each) for each in CANARIES.items()]


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    shutil.copytree(ROOT / "deploy", tmp_path / "deploy")
    lock = tmp_path / "deploy" / "requirements-security.lock"
    lock.write_text("# as far as this test goes\n", "utf-8")
    tools = tmp_path / ".venv-security" / "bin"
    tools.mkdir(parents=True)
    (tools / "python").symlink_to(sys.executable)
    (tools / "pip-audit").write_text(STAND_IN.format(python=sys.executable), "utf-8")
    (tools / "pip-audit").chmod(0o755)
    commands = tmp_path / "commands"
    commands.mkdir()
    (commands / "python3.11").symlink_to(sys.executable)
    stamp = '. deploy/environment.sh; environment_stamp "$(python_3_11)" deploy/build.lock '
    made = run(tmp_path, "-c", f"{stamp}deploy/requirements-security.lock")
    (tmp_path / ".venv-security" / "stamp").write_text(made.stdout, "utf-8")
    return tmp_path


def run(copy: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    path = f"{copy / 'commands'}{os.pathsep}{os.environ['PATH']}"
    return subprocess.run(
        ["bash", *arguments],
        cwd=copy,
        env={**os.environ, "PATH": path},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


def audited(copy: Path, **answers: object) -> subprocess.CompletedProcess[str]:
    (copy / "answers.json").write_text(json.dumps(answers), "utf-8")
    return run(copy, "deploy/audit.sh")


def test_locks_without_a_vulnerability_are_clean(copy: Path) -> None:
    done = audited(copy, **{"canary.txt": REPORTED}, other=[clean("flask")])
    assert done.returncode == 0, done.stderr
    locks = sorted((copy / "deploy").glob("*.lock"))
    assert done.stdout.count("no known vulnerability") == len(locks) == 5


@pytest.mark.parametrize(
    "canary",
    [
        [skipped(name) for name in CANARIES],
        [clean(name) for name in CANARIES],
        [],
        REPORTED[:1],
        None,
    ],
    ids=["skipped", "clean", "nothing", "one of two", "no connection"],
)
def test_where_nobody_can_tell_nothing_is_said_to_be_clean(copy: Path, canary: object) -> None:
    done = audited(copy, **{"canary.txt": canary}, other=[clean("flask")])
    assert done.returncode != 0
    assert "the audit was NOT done" in done.stderr
    assert "no known vulnerability" not in done.stdout


@pytest.mark.parametrize("answer", [[vulnerable("flask", "0.1")], [skipped("flask")]])
def test_what_is_found_or_skipped_fails(copy: Path, answer: object) -> None:
    done = audited(copy, **{"canary.txt": REPORTED, "requirements.lock": answer}, other=[])
    assert done.returncode != 0
    assert "deploy/requirements.lock:\nflask" in done.stdout
    assert "deploy/build.lock: no known vulnerability" in done.stdout
