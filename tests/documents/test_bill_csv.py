"""A bill as CSV: every amount is there, and no cell is a formula."""

import csv
import io
from decimal import Decimal
from pathlib import Path

import pytest
from answers import demo_answer, drawn_answer

from drawn_bills import VAT, book_of
from loomwright.documents.bill_csv import COLUMNS, bill_csv
from loomwright.documents.csv_text import csv_text
from loomwright.jobs.demo_library import DEMO_JOBS


def rows_of(text):
    return list(csv.DictReader(io.StringIO(text, newline="")))


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_demo_bill_has_a_row_for_each_line_and_adds_up(name):
    answer = demo_answer(name, {"deposit": {"percent": "30"}})
    text = bill_csv(answer)
    assert text.splitlines()[0].split(",") == list(COLUMNS)
    rows = rows_of(text)
    lines = [row for row in rows if row["row"] == "line"]
    for row, line in zip(lines, answer["lines"], strict=True):
        for column in ("key", "quantity", "unit", "unit_price", "total", "net_total", "reason"):
            assert row[column] == line[column]
    by_key = {row["key"]: Decimal(row["total"]) for row in rows if row["row"] == "total"}
    taxes = [Decimal(row["total"]) for row in rows if row["row"] == "tax"]
    assert sum(Decimal(row["net_total"]) for row in lines) == by_key["net_total"]
    assert by_key["net_total"] + sum(taxes) == by_key["total"]
    assert by_key["deposit"] + by_key["balance_due"] == by_key["total"]
    assert {row["currency"] for row in rows} == {answer["currency"]}


def test_what_is_not_priced_and_each_tax_have_rows():
    book = book_of(["100"], taxes=VAT)
    answer = drawn_answer(book, {}, 2)
    rows = rows_of(bill_csv(answer))
    assert [row["row"] for row in rows] == ["line", "unpriced", "tax", *["total"] * 3]
    assert rows[1]["description"] == "labour operation: lay"
    assert (rows[2]["quantity"], rows[2]["unit"], rows[2]["total"]) == ("20", "P1", "20.00")
    assert rows[1]["total"] == ""


@pytest.mark.parametrize(
    ("value", "cell"),
    [
        ("=1+1", "'=1+1"),
        ("+49 30", "'+49 30"),
        ("-cmd", "'-cmd"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("\tx", "'\tx"),
        ("-1.50", "-1.50"),
        ("-1e-5", "-1e-5"),
        ("-1-1", "'-1-1"),
        # A part number keeps its zeros: text is written as it stands.
        ("00123", "00123"),
        (True, "true"),
        (None, ""),
        (1.5, "1.5"),
    ],
)
def test_no_cell_is_a_formula(value, cell):
    # The header keeps a row of one empty cell from being no row at all.
    assert next(csv.reader([csv_text([[value, "x"]])])) == [cell, "x"]


def test_rows_end_as_the_standard_says():
    # RFC 4180, section 2: CR LF behind each record; quotes doubled within quotes.
    assert csv_text([["a", 'b "c"'], ["d,e", "f\ng"]]) == 'a,"b ""c"""\r\n"d,e","f\ng"\r\n'


def test_the_page_says_what_each_column_means():
    page = (Path(__file__).parents[2] / "deploy" / "business-documents.md").read_text("utf-8")
    rows = [line.strip("| ").split(" | ") for line in page.split("## CSV")[1].splitlines()]
    stated = {row[0].strip("`"): row[1] for row in rows if len(row) == 2 and row[0] != "column"}
    assert stated == dict(COLUMNS)
