"""Answer for locked packages out of a copy of an advisory database, as pip-audit would.

The advisories are in the Open Source Vulnerability format (OSV schema 1), one in each file, YAML
or JSON: the folder ``vulns`` of the PyPA's database, ``advisories/github-reviewed`` of GitHub's, or
the archive of PyPI that OSV hands out, unpacked. Nothing is asked of a network.
"""

import argparse
import json
import sys
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import yaml
from packaging.utils import canonicalize_name
from packaging.version import InvalidVersion, Version
from pip_requirements_parser import RequirementsFile

ECOSYSTEM = "PyPI"
# Every week brings advisories: a copy without any of the last weeks is an old copy.
GREATEST_AGE_DAYS = 30
_LONG_AGO = datetime.min.replace(tzinfo=UTC)
_NO_VERSION = Version("0")
_ORDER = {"fixed": 0, "last_affected": 1, "introduced": 2, "limit": 3}


class AdvisoriesError(Exception):
    """The folder or a file of requirements cannot be used; says which file and why."""


@dataclass(frozen=True)
class Advisory:
    """What one file says of one package."""

    name: str
    withdrawn: str | None
    versions: frozenset[str]
    # Each range is its events in order of their versions, and its limits.
    ranges: tuple["Range", ...]
    # Why nobody can tell by a version, empty if one can.
    unclear: str

    def affects(self, version: Version) -> bool:
        """Tell whether a version is affected, by the algorithm of the OSV schema (Evaluation)."""
        listed = any(_same(version, each) for each in self.versions)
        return listed or any(each.holds(version) for each in self.ranges)

    def fixed_in(self, version: Version) -> list[str]:
        """Return the versions that mend it and are above a version, least first."""
        fixes = {bound for each in self.ranges for bound in each.fixes() if bound > version}
        return [str(bound) for bound in sorted(fixes)]


@dataclass(frozen=True)
class Range:
    """Events of one range of versions."""

    # (version, what happens there); None is version "0" of the schema, which is below all others.
    events: tuple[tuple[Version | None, str], ...]

    def holds(self, version: Version) -> bool:
        """Tell whether a version is in the range."""
        limits = [bound for bound, kind in self.events if kind == "limit"]
        if limits and not any(bound is None or version < bound for bound in limits):
            return False
        inside = False
        for bound, kind in self.events:
            if kind == "introduced" and (bound is None or version >= bound):
                inside = True
            elif bound is not None and (
                (kind == "fixed" and version >= bound)
                or (kind == "last_affected" and version > bound)
            ):
                inside = False
        return inside

    def fixes(self) -> list[Version]:
        """Return the versions at which it ends."""
        return [bound for bound, kind in self.events if kind == "fixed" and bound is not None]


@dataclass
class Database:
    """All advisories of a folder, by normalised package name."""

    advisories: dict[str, list[Advisory]] = field(default_factory=lambda: defaultdict(list))
    newest: datetime = _LONG_AGO
    files: int = 0

    def add(self, path: Path) -> None:
        """Read one file; AdvisoriesError if it is no advisory in the format."""
        document = _document(path)
        try:
            if "affects" in document:
                raise ValueError("it has the form from before OSV 1.0, with affects")
            name = _text(document, "id")
            modified = _time(document, "modified")
            withdrawn = _text(document, "withdrawn") if document.get("withdrawn") else None
            if withdrawn is not None:
                _time(document, "withdrawn")
            for entry in document.get("affected") or ():
                package = entry.get("package") or {}
                if str(package.get("ecosystem", "")).partition(":")[0] == ECOSYSTEM:
                    advisory = _advisory(name, withdrawn, entry)
                    self.advisories[canonicalize_name(_text(package, "name"))].append(advisory)
        except (AttributeError, KeyError, TypeError, ValueError) as error:
            raise AdvisoriesError(f"{path} is no advisory in the OSV format: {error}") from error
        self.newest = max(self.newest, modified)
        self.files += 1


def read_folder(folder: Path) -> Database:
    """Return all advisories of a folder and of the folders in it.

    Parameters
    ----------
    folder
        Where the files are; names that begin with a dot are passed over.

    Returns
    -------
    Database
        What they say of packages of PyPI.

    Raises
    ------
    AdvisoriesError
        If there is no such folder or no advisory in it, or if one cannot be read.
    """
    if not folder.is_dir():
        raise AdvisoriesError(f"{folder} is no folder")
    database = Database()
    for path in sorted(folder.rglob("*")):
        hidden = any(part.startswith(".") for part in path.relative_to(folder).parts)
        if path.suffix in {".json", ".yaml", ".yml"} and path.is_file() and not hidden:
            database.add(path)
    if not database.files:
        raise AdvisoriesError(f"{folder} holds no advisory (*.yaml, *.yml or *.json)")
    return database


def locked_packages(path: Path) -> list[tuple[str, Version]]:
    """Return normalised name and version of each package of a lock.

    Parameters
    ----------
    path
        A file of requirements, all of them as ``name==version``.

    Returns
    -------
    list of tuple
        In the order of the file, whatever markers say: what is locked for any surroundings counts.

    Raises
    ------
    AdvisoriesError
        If a line is no such requirement, or there is none.
    """
    read = RequirementsFile.from_file(str(path))
    if read.invalid_lines:
        raise AdvisoriesError(f"{path}: cannot be read: {read.invalid_lines[0].line}")
    packages: list[tuple[str, Version]] = []
    for each in read.requirements:
        if each.name is None or not each.is_pinned:
            raise AdvisoriesError(f"{path}: names no version with ==: {each.line}")
        packages.append((canonicalize_name(each.name), Version(each.get_pinned_version)))
    if not packages:
        raise AdvisoriesError(f"{path} names no package")
    return packages


def told(
    packages: Iterable[tuple[str, Version]], database: Database
) -> Iterator[tuple[dict[str, Any], list[str]]]:
    """Yield for each package its entry as pip-audit's JSON has it, and what was withdrawn of it.

    Parameters
    ----------
    packages
        Normalised names with versions.
    database
        What is known.

    Yields
    ------
    tuple[dict[str, Any], list[str]]
        ``vulns`` with ``id`` and ``fix_versions``; ``skip_reason`` as well if one lets nobody
        tell, as it names commits only or nothing. The withdrawn are names of advisories.
    """
    for name, version in packages:
        known = database.advisories.get(name, ())
        entry: dict[str, Any] = {"name": name, "version": str(version), "vulns": []}
        affecting = [each for each in known if each.affects(version)]
        unclear = [
            f"{each.name} {each.unclear}" for each in known if each.unclear and not each.withdrawn
        ]
        for each in affecting:
            if not each.withdrawn:
                entry["vulns"].append({"id": each.name, "fix_versions": each.fixed_in(version)})
        if unclear:
            entry["skip_reason"] = ", ".join(unclear)
        yield entry, sorted({each.name for each in affecting if each.withdrawn})


def main() -> None:
    """Write an answer for each file of requirements into a folder, ``NAME.json`` for ``NAME``."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("advisories", type=Path, help="folder with advisories in the OSV format")
    parser.add_argument("answers", type=Path, help="folder that is there, for the answers")
    parser.add_argument("requirements", type=Path, nargs="+", help="locks with name==version")
    asked = parser.parse_args()
    try:
        database = read_folder(asked.advisories)
        for path in asked.requirements:
            entries = []
            for entry, withdrawn in told(locked_packages(path), database):
                entries.append(entry)
                for name in withdrawn:
                    print(f"{entry['name']} {entry['version']}: {name} was withdrawn, not counted")
            answer = json.dumps({"dependencies": entries, "fixes": []})
            (asked.answers / f"{path.name}.json").write_text(answer, "utf-8")
    except AdvisoriesError as error:
        sys.exit(str(error))
    age = (datetime.now(UTC) - database.newest).days
    print(f"{database.files} advisories, the newest of {database.newest:%Y-%m-%d}")
    if age > GREATEST_AGE_DAYS:
        (asked.answers / "old").write_text(f"{age}\n", "utf-8")


# --- one file ---


def _document(path: Path) -> dict[str, Any]:
    """Return what a file holds, every scalar of YAML as it is written: 2.10 is no number."""
    try:
        text = path.read_text("utf-8")
        as_json = path.suffix == ".json"
        # The loader makes texts, lists and mappings only, whatever a tag asks for.
        document = json.loads(text) if as_json else yaml.load(text, yaml.CBaseLoader)
    except (OSError, ValueError, yaml.YAMLError) as error:
        raise AdvisoriesError(f"{path} cannot be read: {error}") from error
    if not isinstance(document, dict):
        raise AdvisoriesError(f"{path} is no advisory in the OSV format")
    return document


def _advisory(name: str, withdrawn: str | None, entry: dict[str, Any]) -> Advisory:
    """Return what an entry of ``affected`` says.

    A bound of a range that is no version (PEP 440) is no reason to refuse the file: old packages
    have such, and it matters only to who uses one of them.
    """
    versions = frozenset(entry.get("versions") or ())
    bounds = [_bounds(each) for each in entry.get("ranges") or () if each["type"] != "GIT"]
    unclear = "" if versions or bounds else "names no versions"
    ranges = []
    for each in bounds:
        try:
            ranges.append(_range(each))
        except InvalidVersion as error:
            unclear = f"has a range that cannot be read ({error})"
    return Advisory(name, withdrawn, versions, tuple(ranges), unclear)


def _bounds(given: dict[str, Any]) -> list[tuple[str, str]]:
    """Return the events of a range as they are written; ValueError if there is none that begins."""
    if given["type"] not in {"ECOSYSTEM", "SEMVER"}:
        raise ValueError(f"a range of type {given['type']}")
    bounds = [(kind, _text(event, kind)) for event in given["events"] for kind in event]
    if unknown := {kind for kind, _ in bounds} - {*_ORDER}:
        raise ValueError(f"a range with {', '.join(sorted(unknown))}")
    if "introduced" not in {kind for kind, _ in bounds}:
        raise ValueError("a range without introduced")
    return bounds


def _range(bounds: list[tuple[str, str]]) -> Range:
    """Return a range with its events in order; where two meet, the end goes before the begin."""
    ends = {("introduced", "0"), ("limit", "*")}
    read = [(None if (kind, at) in ends else Version(at), kind) for kind, at in bounds]
    read.sort(key=lambda each: (each[0] is not None, each[0] or _NO_VERSION, _ORDER[each[1]]))
    return Range(tuple(read))


def _same(version: Version, listed: str) -> bool:
    """Tell whether a listed version is this one; what is no version is compared as text."""
    try:
        return Version(listed) == version
    except InvalidVersion:
        return listed == str(version)


def _text(document: dict[str, Any], member: str) -> str:
    text = document[member]
    if not isinstance(text, str) or not text:
        raise TypeError(f"{member} is no text")
    return text


def _time(document: dict[str, Any], member: str) -> datetime:
    """Return a time of RFC 3339; without an offset it is taken for UTC."""
    read = datetime.fromisoformat(_text(document, member))
    return read if read.tzinfo else read.replace(tzinfo=UTC)


if __name__ == "__main__":
    main()
