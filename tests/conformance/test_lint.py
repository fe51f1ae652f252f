"""The specification is sound, and the lint finds each way in which it could not be."""

import json
import shutil
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest
from conformance_samples import SPECIFICATION

from loomwright.conformance.command import known_checks
from loomwright.conformance.lint import faults, main, requirement_list
from loomwright.conformance.specification import FOLDER, KEYWORD, ROLES, specification

RENEWAL = "renew it: python -m loomwright.conformance.lint --write"


def test_specification_is_sound() -> None:
    assert faults(FOLDER, known_checks()) == [], RENEWAL


def test_list_for_programs_is_complete() -> None:
    listed = json.loads((FOLDER / "requirements.json").read_text("utf-8"))["requirements"]
    assert [entry["number"] for entry in listed] == [
        entry.number for entry in SPECIFICATION.requirements
    ]
    binding = [entry for entry in listed if "MUST" in entry["level"]]
    assert binding
    assert all(entry["cases"] for entry in binding)


def test_figures_are_told(record_property: Callable[[str, object], None]) -> None:
    levels = Counter(entry.level for entry in SPECIFICATION.requirements)
    binding = sum(entry.binding for entry in SPECIFICATION.requirements)
    roles = ", ".join(f"{len(SPECIFICATION.cases_of(role))} {role}" for role in (*ROLES, "service"))
    record_property(
        "summary",
        f"plugin specification: {sum(levels.values())} requirements, {binding} of them MUST or "
        f"MUST NOT, {len(SPECIFICATION.cases)} conformance cases ({roles})",
    )
    assert binding == levels["MUST"] + levels["MUST NOT"]
    assert binding == len(SPECIFICATION.requirements) - sum(
        levels[word] for word in ("SHOULD", "SHOULD NOT", "MAY", "RECOMMENDED", "OPTIONAL")
    )


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A copy of the specification, with the tests that its cases name."""
    root = FOLDER.parents[1]
    shutil.copytree(FOLDER, tmp_path / "openapi" / "plugin")
    for case in SPECIFICATION.cases_of("service"):
        file = Path(case.document["test"].partition("::")[0])
        (tmp_path / file).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(root / file, tmp_path / file)
    return tmp_path / "openapi" / "plugin"


def edit(page: str, old: str, new: str) -> Callable[[Path], None]:
    """An edit of a file, which has to change it."""

    def change(folder: Path) -> None:
        text = (folder / page).read_text("utf-8")
        assert text.count(old) >= 1, f"{page} has no {old!r}"
        (folder / page).write_text(text.replace(old, new, 1), encoding="utf-8")

    return change


def retire(folder: Path) -> None:
    (folder / "retired.json").write_text('{"retired": {"R-002": "of a test"}}', encoding="utf-8")


def without_case(folder: Path) -> None:
    file = folder / "cases" / "receiver.json"
    document = json.loads(file.read_text("utf-8"))
    document["cases"] = [case for case in document["cases"] if case["id"] != "receiver-hash"]
    file.write_text(json.dumps(document), encoding="utf-8")


def with_case(**stated: object) -> Callable[[Path], None]:
    """A case more."""

    def change(folder: Path) -> None:
        case = {"id": "more", "about": "One more.", "steps": [], **stated}
        role = case.pop("role", "receiver")
        document = {"role": role, "cases": [case]}
        (folder / "cases" / "more.json").write_text(json.dumps(document), encoding="utf-8")

    return change


def judging(number: str, check: str = "status") -> list[dict[str, object]]:
    return [{"requirement": number, "check": check, "is": [200]}]


HASH = (
    "> A receiver MUST refuse a delivery whose `quote_id` is not the SHA-256 of the bill's bytes "
    "with status 422."
)
# What is done to a copy -> the beginning of the fault that has to be found.
BREACHES: dict[str, tuple[Callable[[Path], None], str]] = {
    "number twice": (edit("receiver.md", "### R-014", "### R-013"), "R-013: stands 2 times"),
    "number retired": (retire, "R-002: is retired (of a test) and used again"),
    "no quote": (edit("receiver.md", HASH, HASH[2:]), "receiver.md R-014: has 0 block quotes"),
    "two quotes": (
        edit("receiver.md", HASH, f"{HASH}\n\n> And so on."),
        "receiver.md R-014: has 2 block quotes",
    ),
    "two sentences": (
        edit("receiver.md", HASH, f"{HASH} So it is."),
        "receiver.md R-014: is not one sentence",
    ),
    "no key word": (
        edit("receiver.md", HASH, HASH.replace("MUST refuse", "refuses")),
        "receiver.md R-014: has 0 key words",
    ),
    "two key words": (
        edit("receiver.md", HASH, HASH.replace("with status", "and MAY answer with status")),
        "receiver.md R-014: has 2 key words",
    ),
    "key word in small letters": (
        edit("receiver.md", HASH, HASH.replace("with status", "and should answer with status")),
        "receiver.md R-014: has 'should' besides its key word",
    ),
    "nobody bound": (
        edit("receiver.md", HASH, HASH.replace("A receiver", "Somebody")),
        "receiver.md R-014: names nobody",
    ),
    "no consequence": (
        edit("receiver.md", "If it is broken: a bill that was changed", "A bill that was changed"),
        "receiver.md R-014: does not say once what happens if it is broken",
    ),
    "key word in prose": (
        edit("receiver.md", "is not 123.", "is not 123, and MUST NOT become it."),
        "receiver.md: has MUST NOT outside a requirement",
    ),
    "demand in prose": (
        edit("receiver.md", "is not 123.", "is not 123, and must not become it."),
        "receiver.md: has 'must' outside a requirement",
    ),
    "quote in prose": (
        edit("receiver.md", "## Checks", "## Checks\n\n> As somebody said.\n"),
        "receiver.md: has a block quote under '## Checks'",
    ),
    "requirement elsewhere": (
        edit("rationale.md", "## Three roles", "### R-099 New\n\n## Three roles"),
        "rationale.md: holds requirements",
    ),
    "no case": (without_case, "R-014: binds a receiver and has no case"),
    "case for another role alone": (
        edit(
            "versions.md", "> A receiver MUST take a delivery", "> A caller or receiver MUST take a"
        ),
        "V-007: binds a caller and has no case for that role",
    ),
    "case twice": (
        with_case(id="receiver-hash", expect=judging("R-014")),
        "case receiver-hash: stands 2 times",
    ),
    "case of an unknown requirement": (
        with_case(expect=judging("R-999")),
        "more.json more: judges R-999, which does not exist",
    ),
    "case of another role's requirement": (
        with_case(expect=judging("C-001")),
        "more.json more: judges C-001, which does not bind a receiver",
    ),
    "case of nothing": (with_case(), "more.json more: judges no requirement"),
    "case of no role": (with_case(role="shop", expect=judging("R-014")), "more.json more: no role"),
    "case that wishes": (
        with_case(about="It should work.", expect=judging("R-014")),
        "more.json more: says what is wished",
    ),
    "unknown check": (
        with_case(expect=judging("R-014", "colour")),
        "more.json more: no check 'colour'",
    ),
    "test that is not there": (
        with_case(role="service", requirements=["S-009"], test="tests/none.py::test_it"),
        "more.json more: names no test: 'tests/none.py'",
    ),
    "list not renewed": (
        edit("requirements.json", "R-014", "R-114"),
        "requirements.json: is not what the pages and cases say",
    ),
}


@pytest.mark.parametrize("name", BREACHES)
def test_breach_of_the_rules_is_found(name: str, copy: Path) -> None:
    change, expected = BREACHES[name]
    assert faults(copy, known_checks()) == []
    change(copy)
    found = faults(copy, known_checks())
    assert any(fault.startswith(expected) for fault in found), found


def test_number_is_not_lost(copy: Path, capsys: pytest.CaptureFixture[str]) -> None:
    edit("receiver.md", "### R-022", "### R-099")(copy)
    assert main(["--write"], copy) == 1
    assert capsys.readouterr().out == "R-022: gone; enter them in retired.json\n"
    (copy / "retired.json").write_text('{"retired": {"R-022": "of a test"}}', encoding="utf-8")
    edit("cases/receiver.json", "R-022", "R-099")(copy)
    assert main(["--write"], copy) == 0
    # A retired number stays retired.
    (copy / "retired.json").write_text('{"retired": {}}', encoding="utf-8")
    assert main([], copy) == 1


def test_check_without_a_case_is_found() -> None:
    assert faults(FOLDER, {*known_checks(), "colour"}) == ["check colour: no case uses it"]


def test_code_is_no_key_word(copy: Path) -> None:
    edit("receiver.md", "is not 123.", "is not 123; `MUST` is a word.")(copy)
    assert faults(copy) == []


def test_every_key_word_of_bcp_14_is_known() -> None:
    # RFC 2119, sections 1 to 5, and RFC 8174, section 2.
    words = "MUST,MUST NOT,REQUIRED,SHALL,SHALL NOT,SHOULD,SHOULD NOT,RECOMMENDED,NOT RECOMMENDED"
    for word in [*words.split(","), "MAY", "OPTIONAL"]:
        assert KEYWORD.findall(f"A caller {word} do it.") == [word]
    assert KEYWORD.findall("A caller must do it, MUSTARD or not.") == []


def test_what_is_known_of_a_requirement_comes_from_its_sentence() -> None:
    by_number = {entry.number: entry for entry in specification().requirements}
    assert by_number["V-010"].roles == ("provider", "receiver")
    assert by_number["V-010"].over_http
    assert by_number["P-050"].in_process
    assert not by_number["P-050"].over_http
    assert by_number["R-020"].level == "SHOULD"
    assert not by_number["R-020"].binding
    assert by_number["C-005"].level == "MUST NOT"
    assert '"R-014"' in requirement_list(specification())
