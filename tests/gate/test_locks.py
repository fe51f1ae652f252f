"""The lock files: complete, hashed, without an index address, and of one mind."""

import re
import tomllib
from importlib.metadata import version
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
LOCKS = (
    "build.lock",
    "requirements.lock",
    "requirements-test.lock",
    "requirements-mutation.lock",
    "requirements-security.lock",
)


def text(lock: str) -> str:
    return (ROOT / "deploy" / lock).read_text(encoding="utf-8")


def pins(lock: str) -> dict[str, str]:
    """Package -> locked version; each entry must carry a hash."""
    entries = re.split(r"\n(?=\S)", text(lock).replace("\\\n", " ").strip())
    found = {}
    for entry in entries:
        match = re.fullmatch(r"([a-z0-9-]+)==(\S+)(\s+--hash=sha256:[0-9a-f]{64})+", entry.strip())
        assert match, entry
        found[match[1]] = match[2]
    return found


def names(requirements: list[str]) -> set[str]:
    return {re.split(r"[^a-z0-9-]", requirement.lower())[0] for requirement in requirements}


@pytest.mark.parametrize("lock", LOCKS)
def test_a_lock_names_no_address(lock: str) -> None:
    assert pins(lock)
    assert not re.search(r"https?:|file:|index|find-links|trusted-host", text(lock))


def test_every_declared_dependency_is_locked() -> None:
    runtime = names(PROJECT["project"]["dependencies"])
    assert runtime <= pins("requirements.lock").keys()
    groups = PROJECT["dependency-groups"]
    assert names(groups["test"]) <= pins("requirements-test.lock").keys()
    assert names(groups["mutation"]) <= pins("requirements-mutation.lock").keys()
    assert names(groups["security"]) <= pins("requirements-security.lock").keys()
    (build,) = PROJECT["build-system"]["requires"]
    assert build == f"setuptools=={pins('build.lock')['setuptools']}"


def test_the_tests_run_on_the_versions_that_are_served() -> None:
    tested = pins("requirements-test.lock")
    served = pins("requirements.lock")
    assert {name: tested.get(name) for name in served} == served


def test_the_versions_that_are_served_are_those_that_are_fuzzed() -> None:
    fuzzed = pins("requirements-security.lock")
    served = pins("requirements.lock")
    assert {name: fuzzed.get(name) for name in served} == served


def test_mutants_run_on_the_versions_that_are_tested() -> None:
    tried = pins("requirements-mutation.lock")
    tested = pins("requirements-test.lock")
    assert {name: tried.get(name) for name in tested} == tested


def test_the_running_environment_is_the_locked_one() -> None:
    locked = pins("requirements.lock")
    assert {name: version(name) for name in locked} == locked
