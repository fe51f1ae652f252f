"""Case files as pytest parameters by id, each checked for its shape."""

import json
from pathlib import Path
from typing import Any

import pytest

FOLDER = Path(__file__).parent
KEYS = {
    "id",
    "description",
    "source",
    "locator",
    "checked",
    "given",
    "expected",
    "tolerance",
    "tolerance_reason",
}
MARKS = {"page", "formula", "memory", "practice"}


def case_list(name: str) -> list[dict[str, Any]]:
    """Return the cases of ``cases/<name>.json``, every one with all keys and an id of its own."""
    cases: list[dict[str, Any]] = json.loads((FOLDER / f"{name}.json").read_text("utf-8"))
    for case in cases:
        assert set(case) == KEYS, f"{name}: {case.get('id')} has keys {sorted(case)}"
        assert case["checked"] in MARKS, f"{name}: {case['id']} is checked by {case['checked']}"
        assert "should" not in case["description"], f"{name}: {case['id']} says should"
        assert case["source"], f"{name}: {case['id']} has no source"
        assert case["locator"], f"{name}: {case['id']} has no locator"
        assert case["tolerance_reason"], f"{name}: {case['id']} gives no reason for its tolerance"
    ids = [case["id"] for case in cases]
    assert len(ids) == len(set(ids)), f"{name}: an id is used twice"
    return cases


def case_parameters(name: str) -> list[Any]:
    """Return the cases of ``cases/<name>.json`` for ``pytest.mark.parametrize``."""
    return [pytest.param(case, id=case["id"]) for case in case_list(name)]
