"""The glossary of DEVELOPERS.md against the names of the OpenAPI document."""

import re
from pathlib import Path
from typing import Any

import pytest

from loomwright.web.openapi import openapi_document
from loomwright.web.operations import OPERATIONS

DEVELOPERS = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text("utf-8")
UNIT_SUFFIXES = (
    "_mm2", "_n_m", "_ohm", "_percent", "_rpm", "_km", "_mm", "_mv", "_px", "_db", "_ah", "_a",
    "_v", "_w", "_c", "_d", "_h", "_j", "_k", "_m", "_s",
)  # fmt: skip


def rows() -> list[tuple[str, str]]:
    """Term and name part of each row of the glossary."""
    table = DEVELOPERS.split("## Glossary")[1].split("## How to add")[0]
    return [
        (term.strip(), part.strip(" `"))
        for term, part in re.findall(r"^\| ([^|]+)\| ([^|]+)\|", table, re.MULTILINE)
        if term.strip() != "term"
    ]


def properties(document: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """Every property of every schema by name."""
    found: dict[str, dict[str, Any]] = {}

    def walk(node: Any) -> None:
        if isinstance(node, dict):
            for name, schema in node.get("properties", {}).items():
                if isinstance(schema, dict):
                    found[name] = schema
            for value in node.values():
                walk(value)
        elif isinstance(node, list):
            for value in node:
                walk(value)

    walk(document["components"]["schemas"])
    return found


PROPERTIES = properties(openapi_document(OPERATIONS))


def stem(name: str, schema: dict[str, Any]) -> str | None:
    """Name of a quantity without its unit; none where the name is no quantity's."""
    for suffix in UNIT_SUFFIXES:
        if name.endswith(suffix):
            return name.removesuffix(suffix)
    # A ratio or a count is no quantity.
    return name if schema.get("x-unit", "1") != "1" else None


STEMS = sorted({found for name, schema in PROPERTIES.items() if (found := stem(name, schema))})


def test_there_are_stems_and_rows():
    assert len(STEMS) > 80
    assert len(rows()) > 30


@pytest.mark.parametrize("name", STEMS)
def test_quantity_is_in_the_glossary(name: str):
    parts = [part for _, part in rows()]
    assert any(re.search(rf"(^|_){re.escape(part)}s?(_|$)", name) for part in parts), (
        f"{name} uses no term of the glossary"
    )


@pytest.mark.parametrize(("term", "part"), rows())
def test_term_of_the_glossary_is_used(term: str, part: str):
    used = [name for name in PROPERTIES if re.search(rf"(^|_){re.escape(part)}s?(_|$)", name)]
    assert used, f"{term}: no name contains {part}"


def test_terms_and_parts_are_listed_once():
    terms = [term for term, _ in rows()]
    parts = [part for _, part in rows()]
    assert len(set(terms)) == len(terms)
    assert len(set(parts)) == len(parts)
