"""Documents of a plan as tables for programs: every step, part, reading and label, unrounded."""

import csv
import io
from collections import Counter
from decimal import Decimal
from pathlib import Path

import pytest

from loomwright.documents.bill_csv import COLUMNS, bill_csv
from loomwright.documents.plan_csv import LABEL_COLUMNS, STEP_COLUMNS, plan_csv
from loomwright.jobs.demo_library import DEMO_JOBS
from people_documents import demo_plan

PAGE = (Path(__file__).parents[2] / "deploy" / "business-documents.md").read_text("utf-8")


def rows_of(name, kind):
    text = plan_csv(demo_plan(name), kind).decode()
    return list(csv.DictReader(io.StringIO(text, newline="")))


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_quote_is_the_table_of_its_bill(name):
    answer = demo_plan(name)
    assert plan_csv(answer, "quote") == bill_csv(answer)
    rows = rows_of(name, "quote")
    assert list(rows[0]) == list(COLUMNS)
    lines = [row for row in rows if row["row"] == "line"]
    assert sum(Decimal(row["total"]) for row in lines) == Decimal(answer["lines_total"])


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_work_order_has_a_row_for_each_thing(name):
    answer = demo_plan(name)
    rows = rows_of(name, "work_order")
    steps = answer["work_order"]["steps"]
    assert Counter(row["row"] for row in rows) == {
        kind: count
        for kind, count in {
            "step": len(steps),
            "part": sum(len(step["parts"]) for step in steps),
            "torque": sum(len(step["torques"]) for step in steps),
            "check": sum(len(step["checks"]) for step in steps),
            "reading": len(answer["expected_measurements"]),
        }.items()
        if count
    }
    stated = [row for row in rows if row["row"] == "step"]
    assert [row["text"] for row in stated] == [step["text"] for step in steps]
    assert sum(Decimal(row["hours"]) for row in stated) == Decimal(
        answer["work_order"]["labour_hours"]
    )
    parts = [part for step in steps for part in step["parts"]]
    for row, part in zip((row for row in rows if row["row"] == "part"), parts, strict=True):
        assert (row["key"], row["text"], row["unit"]) == (
            part["key"],
            part["description"],
            part["unit"],
        )
        assert Decimal(row["quantity"]) == Decimal(part["quantity"])
    readings = [row for row in rows if row["row"] == "reading"]
    for row, entry in zip(readings, answer["expected_measurements"], strict=True):
        assert [float(row[column]) for column in ("value", "low", "high")] == [
            entry[member] for member in ("expected", "low", "high")
        ]


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_labels_have_a_row_for_each_fuse(name):
    answer = demo_plan(name)
    rows = rows_of(name, "fuse_labels")
    assert [row["circuit"] for row in rows] == [each["key"] for each in answer["circuits"]]
    for row, circuit in zip(rows, answer["circuits"], strict=True):
        assert float(row["rated_current_a"]) == circuit["fuse"]["rated_current_a"]
        assert float(row["cross_section_mm2"]) == circuit["conductor"]["cross_section_mm2"]
        assert row["conductor"] == circuit["conductor"]["size"]
        assert row["feeds"]


def test_no_cell_is_a_formula():
    answer = demo_plan(DEMO_JOBS[0])
    hostile = {
        **answer,
        "circuits": [entry | {"description": "=1+1"} for entry in answer["circuits"]],
    }
    text = plan_csv(hostile, "fuse_labels").decode()
    assert '"\'=1+1"' in text
    assert ',"=1+1"' not in text


@pytest.mark.parametrize("columns", [STEP_COLUMNS, LABEL_COLUMNS])
def test_columns_are_described(columns):
    for name, meaning in columns.items():
        assert f"| `{name}` | {meaning} |" in PAGE
