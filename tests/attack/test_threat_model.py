"""The threat model names what is there: each test that it relies on, each risk of the list.

Source: OWASP API Security Top 10, edition 2023 (names of the ten risks); STRIDE (Shostack 2014, 3).
"""

import ast
import re
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
MODEL = (ROOT / "deploy" / "threat-model.md").read_text("utf-8")
NAMED = sorted(set(re.findall(r"`(tests/[\w/]+\.py)(?:::(\w+))?`", MODEL)))
RISKS = (
    "Broken Object Level Authorization",
    "Broken Authentication",
    "Broken Object Property Level Authorization",
    "Unrestricted Resource Consumption",
    "Broken Function Level Authorization",
    "Unrestricted Access to Sensitive Business Flows",
    "Server Side Request Forgery",
    "Security Misconfiguration",
    "Improper Inventory Management",
    "Unsafe Consumption of APIs",
)
STRIDE = (
    "Spoofing",
    "Tampering",
    "Repudiation",
    "Information disclosure",
    "Denial of service",
    "Elevation",
)


@cache
def names_in(path: Path) -> set[str]:
    """Return the names of the tests that a file defines, none of them left out or expected bad."""
    tree = ast.parse(path.read_text("utf-8"))
    tests = [each for each in tree.body if isinstance(each, ast.FunctionDef)]
    marks = [ast.unparse(mark) for each in tests for mark in each.decorator_list]
    assert not [mark for mark in marks if "skip" in mark or "xfail" in mark], path
    return {each.name for each in tests}


@pytest.mark.parametrize(("path", "name"), NAMED)
def test_each_test_that_is_named_is_there(path: str, name: str) -> None:
    assert not name or name in names_in(ROOT / path)


def rows(heading: str) -> list[list[str]]:
    section = MODEL.split(f"## {heading}\n")[1].split("\n## ")[0]
    lines = [line for line in section.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in line.strip("|").split(" | ")] for line in lines[2:]]


def test_each_risk_of_the_list_stands_there_once_with_its_tests() -> None:
    found = rows("OWASP API Security Top 10 (2023)")
    assert [row[0] for row in found] == [
        f"API{number} {risk}" for number, risk in enumerate(RISKS, start=1)
    ]
    for _, here, done, tests in found:
        assert here
        assert done
        assert "::" in tests


def test_each_kind_of_threat_has_measures_with_tests() -> None:
    found = rows("Threats by STRIDE")
    marked = [match[1] for row in found if (match := re.match(r"\*\*(.+?)\*\*", row[0]))]
    assert tuple(marked) == STRIDE
    assert all(len(row) == 3 and "::" in row[2] for row in found)


def test_every_attack_is_part_of_the_model() -> None:
    files = {path.name for path in Path(__file__).parent.glob("test_*.py")}
    named = {Path(path).name for path, _ in NAMED}
    assert files - named <= {"test_audit.py"}
