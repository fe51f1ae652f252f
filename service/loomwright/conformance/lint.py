"""Prove that the specification is sound: ``python -m loomwright.conformance.lint``."""

import ast
import json
import re
import sys
from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path

from loomwright.conformance.specification import (
    BREACH,
    FOLDER,
    KEYWORD,
    PAGES,
    ROLES,
    SERVICE,
    Requirement,
    Specification,
    quotes_and_prose,
    sections,
    specification,
)
from loomwright.delivery import VERSION

# A word of BCP 14 in small letters reads like a demand and is none.
_SMALL = re.compile(r"\b(?:must|shall|should|required|recommended|optional)\b", re.IGNORECASE)
_SENTENCE_END = re.compile(r"[.!?](?=\s|$)")
_CODE = re.compile(r"`[^`]*`")
_FENCE = re.compile(r"^```.*?^```", re.MULTILINE | re.DOTALL)
# The paragraph that BCP 14 asks for names the key words, and no other text does.
_BOILERPLATE = re.compile(r'^The key words "MUST".*$', re.MULTILINE)


def faults(folder: Path = FOLDER, checks: Iterable[str] | None = None) -> list[str]:
    """Return what is wrong with a specification, one line for each fault.

    Parameters
    ----------
    folder
        Of the specification.
    checks
        Names of the checks that the runner knows; not compared if none.

    Returns
    -------
    list of str
        Empty if it is sound.
    """
    read = specification(folder)
    found = [
        *_number_faults(read),
        *(fault for entry in read.requirements for fault in _requirement_faults(entry)),
        *_page_faults(folder),
        *_case_faults(read),
        *_cover_faults(read),
        *_test_faults(read, folder.parents[1]),
        *_list_faults(read, folder),
    ]
    if checks is not None:
        found += _check_faults(read, set(checks))
    return found


def requirement_list(read: Specification) -> str:
    """Return the requirements for programs, as the text of ``requirements.json``.

    Parameters
    ----------
    read
        The specification.

    Returns
    -------
    str
        JSON that ends in a line end.
    """
    cases: dict[str, list[str]] = {}
    for case in read.cases:
        for number in case.requirements:
            cases.setdefault(number, []).append(case.key)
    document = {
        "specification": VERSION,
        "requirements": [
            {
                "number": entry.number,
                "title": entry.title,
                "level": entry.level,
                "roles": list(entry.roles),
                "page": entry.page,
                "sentence": entry.sentence,
                "cases": cases.get(entry.number, []),
            }
            for entry in read.requirements
        ],
        "retired": dict(read.retired),
    }
    return json.dumps(document, indent=2, ensure_ascii=False) + "\n"


def _number_faults(read: Specification) -> Iterator[str]:
    counts = Counter(entry.number for entry in read.requirements)
    for number, count in counts.items():
        if count > 1:
            yield f"{number}: stands {count} times"
        if number in read.retired:
            yield f"{number}: is retired ({read.retired[number]}) and used again"


def _requirement_faults(entry: Requirement) -> Iterator[str]:
    where = f"{entry.page} {entry.number}"
    if len(entry.quotes) != 1:
        yield f"{where}: has {len(entry.quotes)} block quotes; one is right"
        return
    if len(_SENTENCE_END.findall(_CODE.sub("", entry.sentence))) != 1:
        yield f"{where}: is not one sentence"
    if len(entry.keywords) != 1:
        yield f"{where}: has {len(entry.keywords)} key words of BCP 14; one is right"
    small = _SMALL.findall(KEYWORD.sub("", _CODE.sub("", entry.sentence)))
    if small:
        yield f"{where}: has {small[0]!r} besides its key word"
    if not entry.roles:
        yield f"{where}: names nobody before its key word"
    if len(re.findall(rf"^{BREACH} \S", entry.prose, re.MULTILINE)) != 1:
        yield f"{where}: does not say once what happens {BREACH[:-1].lower()}"


def _page_faults(folder: Path) -> Iterator[str]:
    for page in sorted(folder.rglob("*.md")):
        name = page.relative_to(folder).as_posix()
        text = page.read_text("utf-8")
        if name not in PAGES and re.search(r"^### [A-Z]-[0-9]{3} ", text, re.MULTILINE):
            yield f"{name}: holds requirements and is not listed as a page"
        for section in sections(_FENCE.sub("", text)):
            quotes, prose = quotes_and_prose(section)
            numbered = re.match(r"### [A-Z]-[0-9]{3} ", section[0])
            if quotes and not numbered:
                yield f"{name}: has a block quote under {section[0]!r}, which is no requirement"
            prose = _CODE.sub("", _BOILERPLATE.sub("", prose))
            for word in KEYWORD.findall(prose):
                yield f"{name}: has {word} outside a requirement, under {section[0]!r}"
            # Generated pages repeat texts of the service, which binds nobody by them.
            if name in PAGES:
                for word in _SMALL.findall(KEYWORD.sub("", prose)):
                    yield f"{name}: has {word!r} outside a requirement, under {section[0]!r}"


def _case_faults(read: Specification) -> Iterator[str]:
    by_number = {entry.number: entry for entry in read.requirements}
    for key, count in Counter(case.key for case in read.cases).items():
        if count > 1:
            yield f"case {key}: stands {count} times"
    for case in read.cases:
        where = f"{case.file} {case.key}"
        if case.role not in (*ROLES, SERVICE):
            yield f"{where}: no role {case.role!r}"
        if not case.requirements:
            yield f"{where}: judges no requirement"
        if _SMALL.search(case.about):
            yield f"{where}: says what is wished, not what holds"
        for number in case.requirements:
            if number in read.retired:
                yield f"{where}: judges {number}, which is retired"
            elif number not in by_number:
                yield f"{where}: judges {number}, which does not exist"
            elif case.role not in by_number[number].roles:
                yield f"{where}: judges {number}, which does not bind a {case.role}"


def _cover_faults(read: Specification) -> Iterator[str]:
    covered = {(case.role, number) for case in read.cases for number in case.requirements}
    for entry in read.requirements:
        for role in entry.roles:
            if entry.binding and (role, entry.number) not in covered:
                yield f"{entry.number}: binds a {role} and has no case for that role"


def _test_faults(read: Specification, root: Path) -> Iterator[str]:
    """Find cases of the service that name a test which is not there."""
    for case in read.cases_of(SERVICE):
        file, colons, name = str(case.document.get("test", "")).partition("::")
        path = root / file
        if not colons or not path.is_file():
            yield f"{case.file} {case.key}: names no test: {file!r}"
            continue
        tree = ast.parse(path.read_text("utf-8"))
        tests = {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}
        if name not in tests or not name.startswith("test_"):
            yield f"{case.file} {case.key}: {file} has no test {name!r}"


def _list_faults(read: Specification, folder: Path) -> Iterator[str]:
    file = folder / "requirements.json"
    if not file.is_file() or file.read_text("utf-8") != requirement_list(read):
        yield "requirements.json: is not what the pages and cases say; renew it with --write"


def _check_faults(read: Specification, known: set[str]) -> Iterator[str]:
    used: set[str] = set()
    for case in read.cases:
        for expectation in case.expectations:
            name = expectation.get("check")
            used.add(str(name))
            if name not in known:
                yield f"{case.file} {case.key}: no check {name!r}"
    for name in sorted(known - used):
        yield f"check {name}: no case uses it"


def lost_numbers(read: Specification, folder: Path = FOLDER) -> list[str]:
    """Return numbers that the list has and neither the pages nor the retired ones do.

    Parameters
    ----------
    read
        The specification.
    folder
        Where the list stands.

    Returns
    -------
    list of str
        In the order of the list.
    """
    file = folder / "requirements.json"
    if not file.is_file():
        return []
    listed = json.loads(file.read_text("utf-8"))
    known = {entry.number for entry in read.requirements} | set(read.retired)
    numbers = [entry["number"] for entry in listed["requirements"]]
    return [number for number in [*numbers, *listed["retired"]] if number not in known]


def main(arguments: list[str], folder: Path = FOLDER) -> int:
    """Print what is unsound; with ``--write`` renew ``requirements.json`` first.

    Parameters
    ----------
    arguments
        ``--write`` or nothing.
    folder
        Of the specification.

    Returns
    -------
    int
        0, or 1 if something is unsound.
    """
    read = specification(folder)
    lost = lost_numbers(read, folder)
    if lost:
        # The list is the memory of which numbers were ever given.
        sys.stdout.write(f"{', '.join(lost)}: gone; enter them in retired.json\n")
        return 1
    if arguments == ["--write"]:
        (folder / "requirements.json").write_text(requirement_list(read), encoding="utf-8")
    # Imported here, as the checks are many and the lint of the pages needs none of them.
    from loomwright.conformance.command import known_checks  # noqa: PLC0415

    found = faults(folder, known_checks())
    sys.stdout.writelines(f"{fault}\n" for fault in found)
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
