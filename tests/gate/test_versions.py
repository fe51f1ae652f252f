"""One version everywhere, and a changelog that knows it."""

import json
import re
import shutil
from collections.abc import Iterator
from datetime import date
from importlib.metadata import version
from pathlib import Path
from typing import Any

import keepachangelog
import pytest
import yaml
from release_tools import DEPLOY, PLACES, ROOT, VERSION

from loomwright.delivery import VERSION as SPECIFICATION_VERSION

# --- one version ---


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    """The OpenAPI document."""
    text = (ROOT / "openapi" / "loomwright.yaml").read_text("utf-8")
    read: dict[str, Any] = yaml.load(text, yaml.CSafeLoader)
    return read


def test_every_place_names_the_one_version(document: dict[str, Any]) -> None:
    assert PLACES.SEMANTIC.fullmatch(VERSION)
    assert PLACES.differences() == []
    assert version("loomwright") == VERSION
    assert document["info"]["version"] == VERSION
    recorded = ROOT / "service" / "loomwright" / "web" / "recorded_examples.json"
    for path in (recorded, ROOT / "openapi" / "loomwright.yaml"):
        named = re.findall(r"""engine_version["']?: *["']?([\d.]+)""", path.read_text("utf-8"))
        assert len(named) > 20
        assert set(named) == {VERSION}


def test_no_other_file_names_a_version_of_the_service() -> None:
    known = {ROOT / name for name in PLACES.PLACES} | {DEPLOY / "CHANGELOG.md"}
    looked_at = 0
    for path in texts():
        if path not in known:
            named = re.findall(r"loomwright[:=-]{1,2}v?(\d+\.\d+\.\d+)", path.read_text("utf-8"))
            assert not named, path
            looked_at += 1
    assert looked_at > 100


def texts() -> Iterator[Path]:
    yield from (ROOT / name for name in ("README.md", "DEVELOPERS.md", "Dockerfile", "setup.py"))
    for folder in ("deploy", "openapi", "service"):
        for path in (ROOT / folder).rglob("*"):
            if path.suffix in (".md", ".py", ".yaml", ".toml", ".sh", ".conf", ".js"):
                yield path


def test_a_place_that_lags_is_named_and_can_be_set(tmp_path: Path) -> None:
    for name in PLACES.PLACES:
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(ROOT / name, tmp_path / name)
    path = tmp_path / "deploy" / "compose.yaml"
    path.write_text(path.read_text("utf-8").replace(f":{VERSION}", ":9.9.9"), "utf-8")
    (tmp_path / "Dockerfile").write_text("FROM scratch\n", "utf-8")
    assert PLACES.differences(tmp_path) == [
        "Dockerfile names no version",
        f"deploy/compose.yaml names 9.9.9, not {VERSION}",
    ]
    shutil.copy(ROOT / "Dockerfile", tmp_path)
    PLACES.set_version("10.20.30", tmp_path)
    assert PLACES.differences(tmp_path) == []
    assert PLACES.current_version(tmp_path) == "10.20.30"
    # Nothing else changes, the versions of other images for one.
    for name in PLACES.PLACES:
        written = (tmp_path / name).read_text("utf-8").splitlines()
        before = (ROOT / name).read_text("utf-8").splitlines()
        changed = [line for line, old in zip(written, before, strict=True) if line != old]
        assert changed
        assert all("10.20.30" in line for line in changed)


def test_the_plugin_specification_has_one_version() -> None:
    folder = ROOT / "openapi" / "plugin"
    assert re.fullmatch(r"1\.\d+", SPECIFICATION_VERSION)
    head = (folder / "README.md").read_text("utf-8").partition("\n")[0]
    assert head == f"# Plugin specification, version {SPECIFICATION_VERSION}"
    stated = f"has a version of two numbers, `{SPECIFICATION_VERSION}`."
    assert stated in (folder / "versions.md").read_text("utf-8")
    requirements = json.loads((folder / "requirements.json").read_text("utf-8"))
    assert requirements["specification"] == SPECIFICATION_VERSION
    for name in ("provider.yaml", "receiver.yaml"):
        document = yaml.safe_load((folder / name).read_text("utf-8"))
        assert document["info"]["version"] == SPECIFICATION_VERSION


# --- the changelog ---

HEADING = re.compile(r"## (\[Unreleased\]|\[(\d+\.\d+\.\d+)\] - (\d{4}-\d{2}-\d{2}))")
KINDS = {"Added", "Changed", "Deprecated", "Removed", "Fixed", "Security"}


def test_the_changelog_is_of_its_form() -> None:
    """Keep a Changelog 1.1.0: newest first, dated by ISO 8601, six kinds of change."""
    lines = (DEPLOY / "CHANGELOG.md").read_text("utf-8").splitlines()
    headings = [HEADING.fullmatch(line) for line in lines if line.startswith("## ")]
    assert headings
    found = [heading for heading in headings if heading]
    assert len(found) == len(headings)
    assert all(heading[2] for heading in found[1:]), "Unreleased stands first or nowhere"
    released = [heading for heading in found if heading[2]]
    versions = [tuple(map(int, heading[2].split("."))) for heading in released]
    dates = [date.fromisoformat(heading[3]) for heading in released]
    assert versions == sorted(set(versions), reverse=True)
    assert dates == sorted(dates, reverse=True)
    assert {line.removeprefix("### ") for line in lines if line.startswith("### ")} <= KINDS
    # What is in force: a version that is not in it is being worked on.
    assert released[0][2] == VERSION or found[0][1] == "[Unreleased]"


# What says how the service is and which problems it knows, beside the operations for callers.
STATES = {"health", "live", "ready", "problems"}


def test_the_changelog_names_every_operation_and_none_that_is_gone(
    document: dict[str, Any],
) -> None:
    """Read by the parser of the package keepachangelog."""
    entries = keepachangelog.to_dict(str(DEPLOY / "CHANGELOG.md"), show_unreleased=True)
    newest = next(iter(entries.values()))
    assert newest["metadata"]["version"] in (VERSION, "unreleased")
    said = {
        kind: re.findall(r"`([a-z]+(?:-[a-z]+)+)`", " ".join(each.get(kind, "")))
        for each in entries.values()
        for kind in ("added", "removed")
    }
    operations = {path.removeprefix("/v1/") for path in document["paths"]} - STATES
    assert len(operations) > 15
    assert set(said["added"]) - set(said["removed"]) == operations
