"""The samples as they are started by hand: right ones fail nothing, broken ones what is stated."""

import ast
import json
import shlex
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from conformance_samples import SAMPLES, SPECIFICATION

from loomwright import cli

STATED = json.loads((SAMPLES / "broken.json").read_text("utf-8"))
ENTRIES: dict[str, dict[str, Any]] = {
    **{name: {**entry, "fails": {}} for name, entry in STATED["right"].items()},
    **STATED["samples"],
}


@contextmanager
def started(words: list[str]) -> Iterator[str]:
    """Start a sample that serves; gives the address that it prints."""
    process = subprocess.Popen(
        [sys.executable, *words], cwd=SAMPLES, stdout=subprocess.PIPE, text=True
    )
    try:
        assert process.stdout is not None
        yield process.stdout.readline().strip()
    finally:
        process.terminate()
        process.communicate()


@contextmanager
def words_of(entry: dict[str, Any]) -> Iterator[list[str]]:
    """Words of the command line that judge a sample."""
    if entry["role"] == "caller":
        command = shlex.join([sys.executable, *entry["start"]])
        yield ["--command", command, "--patience", "4", "--at-once", "16"]
    elif "factory" in entry:
        options = [f"--option={name}={text}" for name, text in entry.get("options", {}).items()]
        yield ["--factory", entry["factory"], *options]
    else:
        with started(entry["start"]) as url:
            yield ["--url", url]


def unexercised(report: dict[str, Any]) -> set[str]:
    """Numbers of the binding requirements that a report could not judge."""
    return {
        verdict["number"]
        for verdict in report["requirements"]
        if verdict["result"] == "not exercised" and "MUST" in verdict["level"]
    }


def test_every_sample_is_stated() -> None:
    assert {file.name for file in SAMPLES.glob("*.py")} == set(ENTRIES)


@pytest.mark.parametrize("name", ["caller.py", "receiver.py", "http_provider.py"])
def test_sample_that_speaks_http_needs_python_alone(name: str) -> None:
    tree = ast.parse((SAMPLES / name).read_text("utf-8"))
    modules = {
        module.partition(".")[0]
        for node in ast.walk(tree)
        for module in (
            [alias.name for alias in node.names]
            if isinstance(node, ast.Import)
            else [node.module or ""]
            if isinstance(node, ast.ImportFrom)
            else []
        )
    }
    assert modules - {"csv_provider"} <= sys.stdlib_module_names


def test_each_role_has_a_right_and_a_broken_sample() -> None:
    broken = {entry["role"] for entry in STATED["samples"].values()}
    assert broken == {entry["role"] for entry in STATED["right"].values()}
    assert broken == {"caller", "provider", "receiver"}


def test_what_is_broken_binds() -> None:
    for entry in STATED["samples"].values():
        assert entry["fails"]
        for number in entry["fails"]:
            (requirement,) = [one for one in SPECIFICATION.requirements if one.number == number]
            assert requirement.binding
            assert entry["role"] in requirement.roles


@pytest.mark.parametrize("name", ENTRIES)
def test_sample_fails_what_is_stated_and_no_more(
    name: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    entry = ENTRIES[name]
    monkeypatch.chdir(SAMPLES)
    with words_of(entry) as words:
        status = cli.main(["conformance", entry["role"], "--json", *words])
    report = json.loads(capsys.readouterr().out)
    found = {
        verdict["number"]: verdict["findings"]
        for verdict in report["requirements"]
        if verdict["result"] == "failed"
    }
    assert set(found) == set(entry["fails"]), found
    if name in STATED["right"]:
        assert unexercised(report) == set(entry["unexercised"])
    assert status == (1 if entry["fails"] else 0)
    assert report["counts"]["passed"] > 5
