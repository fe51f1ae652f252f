"""The audit of the locked packages: it never says clean where nobody could tell.

The auditor is a stand-in that answers as pip-audit does; the script is the real one. So is what
answers out of a folder, and only the advisories in it are made up.
"""

import importlib
import json
import os
import re
import shutil
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from packaging.version import Version

ROOT = Path(__file__).parents[2]
MADE_UP = Path(__file__).parent / "advisories"
sys.path.append(str(ROOT / "deploy" / "audit"))
ADVISORIES = importlib.import_module("advisories")
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
    lock.write_text("itsdangerous==2.2.0  # as far as this test goes\n", "utf-8")
    tools = tmp_path / ".venv-security" / "bin"
    tools.mkdir(parents=True)
    # A link would not find the packages of the environment that it leads to.
    (tools / "python").write_text(f'#!/bin/sh\nexec "{sys.executable}" "$@"\n', "utf-8")
    (tools / "python").chmod(0o755)
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


# --- out of a folder ---


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """All made-up advisories, and one of today, as a copy that is kept up has."""
    target = tmp_path / "copied database"
    shutil.copytree(MADE_UP, target)
    brought(target, 0)
    return target


def brought(folder: Path, age_days: int) -> None:
    """Put an advisory on a package of nobody into a folder, made a number of days ago."""
    modified = datetime.now(UTC) - timedelta(days=age_days)
    advisory = {"id": "MADE-UP-0", "modified": f"{modified:%Y-%m-%dT%H:%M:%SZ}", "affected": []}
    (folder / "newest.json").write_text(json.dumps(advisory), "utf-8")


def locked(copy: Path, *packages: str) -> None:
    """Lock these packages, with hashes as locks have them."""
    lines = (f"{each} \\\n    --hash=sha256:{'0' * 64}\n" for each in packages)
    (copy / "deploy" / "requirements.lock").write_text("".join(lines), "utf-8")


def audited_by(copy: Path, folder: Path) -> subprocess.CompletedProcess[str]:
    return run(copy, "deploy/audit.sh", "--advisories", str(folder))


def test_a_folder_answers_for_all_locks(copy: Path, folder: Path) -> None:
    done = audited_by(copy, folder)
    assert done.returncode == 0, done.stderr
    assert done.stdout.count("no known vulnerability") == 5
    today = datetime.now(UTC)
    assert f"9 advisories, the newest of {today:%Y-%m-%d}" in done.stdout


def test_what_a_folder_knows_of_a_lock_fails(copy: Path, folder: Path) -> None:
    locked(copy, "loom-shuttle==1.4.1", "loom-reed==2.1", "loom-treadle==7", "loom-pirn==1")
    done = audited_by(copy, folder)
    assert done.returncode == 1
    told = done.stdout.partition("deploy/requirements.lock:\n")[2].splitlines()
    assert told[:2] == [
        "loom-shuttle 1.4.1 MADE-UP-3 1.4.2 2.10",
        "loom-pirn skipped: MADE-UP-8 names no versions",
    ]
    assert "loom-treadle 7: MADE-UP-7 was withdrawn, not counted" in done.stdout
    assert done.stdout.count("no known vulnerability") == 4


@pytest.mark.parametrize("missing", ["jinja2.yaml", "urllib3.json"])
def test_a_folder_that_does_not_know_old_packages_tells_nothing(
    copy: Path, folder: Path, missing: str
) -> None:
    (folder / "canaries" / missing).unlink()
    done = audited_by(copy, folder)
    assert done.returncode == 1
    assert f"no vulnerability data of {missing.partition('.')[0]} is" in done.stderr
    assert "the audit was NOT done" in done.stderr
    assert "no known vulnerability" not in done.stdout


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("a.yaml", "id: [", "cannot be read"),
        ("a.json", "{", "cannot be read"),
        ("a.yml", "- one", "no advisory in the OSV format"),
        ("a.json", '{"id": "X"}', "no advisory in the OSV format: 'modified'"),
        ("a.json", '{"id": "X", "modified": "yesterday"}', "no advisory in the OSV format"),
        ("a.yaml", "{id: X, modified: 2021-01-02, affects: {}}", "the form from before OSV 1.0"),
        (
            "a.yaml",
            "{id: X, modified: 2026-01-02, affected: [{package: {name: a, ecosystem: PyPI}, "
            "ranges: [{type: ECOSYSTEM, events: [{fixed: 1.0}]}]}]}",
            "a range without introduced",
        ),
        (
            "a.yaml",
            "{id: X, modified: 2026-01-02, affected: [{package: {name: a, ecosystem: PyPI}, "
            "ranges: [{type: ECOSYSTEM, events: [{introduced: 0}, {mended: 1}]}]}]}",
            "a range with mended",
        ),
        (
            "a.yaml",
            "{id: X, modified: 2026-01-02, affected: [{package: {name: a, ecosystem: PyPI}, "
            "ranges: [{type: CALENDAR, events: [{introduced: 0}]}]}]}",
            "a range of type CALENDAR",
        ),
    ],
)
def test_a_file_that_is_no_advisory_is_named(folder: Path, name: str, text: str, said: str) -> None:
    path = folder / "sample" / name
    path.write_text(text, "utf-8")
    with pytest.raises(ADVISORIES.AdvisoriesError, match=re.escape(said)) as refused:
        ADVISORIES.read_folder(folder)
    assert str(path) in str(refused.value)


def test_a_file_that_is_no_advisory_ends_the_audit(copy: Path, folder: Path) -> None:
    (folder / "sample" / "a.yaml").write_text("id: [", "utf-8")
    done = audited_by(copy, folder)
    assert done.returncode == 1
    assert f"{folder}/sample/a.yaml cannot be read" in done.stderr
    assert "the audit was NOT done" in done.stderr
    assert "no known vulnerability" not in done.stdout


def test_a_folder_has_to_be_there_and_hold_advisories(copy: Path, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    for name, said in (("empty", "holds no advisory"), ("gone", "is no folder")):
        done = audited_by(copy, tmp_path / name)
        assert done.returncode == 1
        assert f"{tmp_path}/{name} {said}" in done.stderr
        assert "the audit was NOT done" in done.stderr
    assert run(copy, "deploy/audit.sh", "--advisories").returncode == 2


def test_a_lock_without_versions_ends_the_audit(copy: Path, folder: Path) -> None:
    for line, said in (("flask>=3", "names no version with =="), ("", "names no package")):
        (copy / "deploy" / "requirements.lock").write_text(f"{line}\n", "utf-8")
        done = audited_by(copy, folder)
        assert done.returncode == 1
        assert said in done.stderr
        assert "the audit was NOT done" in done.stderr


def test_an_old_copy_answers_and_yet_fails(copy: Path, folder: Path) -> None:
    brought(folder, 30)
    assert audited_by(copy, folder).returncode == 0
    brought(folder, 31)
    done = audited_by(copy, folder)
    assert done.returncode == 1
    assert done.stdout.count("no known vulnerability") == 5
    assert "the newest advisory is 31 days old" in done.stderr
    assert "the audit was NOT done" in done.stderr


@pytest.mark.parametrize(
    ("package", "affected", "unaffected"),
    [
        # PEP 440 orders them, the algorithm is that of the OSV schema, Evaluation.
        ("loom-shuttle", "0.dev1 1.4.1 1.4.2rc1 2.0 2.9 2.10rc2", "1.4.2 1.9 2.0rc1 2.10 2.10.1 9"),
        ("loom-heddle", "3 3.0.0 3.4 3.5 3.5.0", "2.9 3rc1 3.5.post1 3.5.1 4"),
        ("loom-reed", "2.10 2.10.0 2.11rc1 2.11c1", "2.1 2.10.1 2.11"),
        ("loom-beam", "1.1 3.999 4rc1", "1.0.9 4 4.1"),
    ],
)
def test_versions_are_held_against_ranges(package: str, affected: str, unaffected: str) -> None:
    database = ADVISORIES.read_folder(MADE_UP)
    (advisory,) = database.advisories[package]
    assert [each for each in affected.split() if not advisory.affects(Version(each))] == []
    assert [each for each in unaffected.split() if advisory.affects(Version(each))] == []


def test_a_bound_that_is_no_version_matters_to_its_package_only(folder: Path) -> None:
    """Releases from before PEP 440 have names such as this."""
    text = (MADE_UP / "sample" / "last-affected.yaml").read_text("utf-8")
    (folder / "old.yaml").write_text(text.replace('"3"', "1.0-bulrush").replace("heddle", "sley"))
    database = ADVISORIES.read_folder(folder)
    asked = [("loom-heddle", Version("3.1")), ("loom-sley", Version("3.1"))]
    (known, _), (unclear, _) = ADVISORIES.told(asked, database)
    assert [each["id"] for each in known["vulns"]] == ["MADE-UP-4"]
    assert "skip_reason" not in known
    assert "Invalid version: '1.0-bulrush'" in unclear["skip_reason"]


def test_every_real_lock_is_read_whole() -> None:
    """Counted the plain way: lines that begin with a name."""
    for lock in sorted((ROOT / "deploy").glob("*.lock")):
        lines = [line for line in lock.read_text("utf-8").splitlines() if line[:1].isalnum()]
        read = ADVISORIES.locked_packages(lock)
        assert [f"{name}=={version}" for name, version in read] == [
            line.partition(" ")[0] for line in lines
        ]
