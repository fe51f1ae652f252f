"""A bill as CSV: every amount is there, and no cell is a formula."""

import csv
import io
from decimal import Decimal
from pathlib import Path

import pytest
from answers import demo_answer, drawn_answer

from drawn_bills import VAT, book_of
from loomwright.documents.bill_csv import COLUMNS, bill_csv
from loomwright.jobs.demo_library import DEMO_JOBS


def rows_of(text):
    return list(csv.DictReader(io.StringIO(text.decode(), newline="")))


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_demo_bill_has_a_row_for_each_line_and_adds_up(name):
    answer = demo_answer(name, {"deposit": {"percent": "30"}})
    text = bill_csv(answer)
    assert next(csv.reader([text.decode().splitlines()[0]])) == list(COLUMNS)
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


def test_part_numbers_keep_their_zeros_and_amounts_are_numbers():
    book = book_of(["100"])
    book["parts"][0].update(shop_part_number="00123", description="=1+1")
    text = bill_csv(drawn_answer(book, {"line_discounts": [{"key": "P0", "percent": "1"}]}, 0))
    line = text.decode().splitlines()[1]
    assert ',"00123",' in line
    assert ',"\'=1+1",' in line
    assert ",100.00,1.00,0.00,99.00," in line


def test_the_page_says_what_each_column_means():
    page = (Path(__file__).parents[2] / "deploy" / "business-documents.md").read_text("utf-8")
    of_bill = page.split("## CSV\n")[1].split("### Of a plan")[0]
    rows = [line.strip("| ").split(" | ") for line in of_bill.splitlines()]
    stated = {row[0].strip("`"): row[1] for row in rows if len(row) == 2 and row[0] != "column"}
    assert stated == dict(COLUMNS)
