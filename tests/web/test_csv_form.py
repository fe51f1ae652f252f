"""CSV: RFC 4180, no cell that a program takes for a formula, numbers and zeros as they are."""

import csv
import io
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.documents.csv_text import csv_of_rows
from loomwright.harmless import harmless, one_line

# What a program may take for the start of a formula, and what it may pass over in front of it.
SIGNS = "=+-@\uff1d\uff0b\uff0d\uff20"
FORMULAS = [
    "=1+1",
    "+1",
    "-1",
    "@SUM(A1)",
    "=cmd|' /C calc'!A0",
    "\t=1+1",
    "\r=1+1",
    "\n=1+1",
    "  =1+1",
    "\u00a0=1",
    "\uff1d1+1",
    '=HYPERLINK("http://x","y")',
]


def written(*rows):
    return csv_of_rows(("a", "b"), rows).decode()


def read(text, delimiter=","):
    return list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter))


@pytest.mark.parametrize("text", FORMULAS)
def test_text_that_starts_as_a_formula_gets_an_apostrophe(text):
    assert harmless(text).startswith("'")
    _, (_, cell) = read(written(("x", text)))
    assert cell.startswith("'")


@pytest.mark.parametrize("text", ["8 AWG", "00123", "4 mm2", "a=b", "1-2", "", "ä", "x@y", "2,5"])
def test_other_text_stays(text):
    assert harmless(text) == text


def test_part_numbers_keep_their_zeros_and_numbers_stay_numbers():
    text = written(("00123", 25), (-0.5, Decimal("12.50")), (1e-05, True), (None, "0"))
    assert text == ('"a","b"\r\n"00123",25\r\n-0.5,12.50\r\n0.00001,"true"\r\n"","0"\r\n')


def test_quotes_and_separators_are_kept():
    cell = 'size 8, "red"; long'
    assert read(written((cell, 1)))[1] == [cell, "1"]


@given(st.lists(st.tuples(st.text(), st.floats(allow_nan=False, allow_infinity=False))))
def test_any_text_is_read_back_and_is_no_formula(rows):
    text = written(*rows)
    assert text.endswith("\r\n")
    back = read(text)[1:]
    assert len(back) == len(rows)
    for (cell, number), (shown, bare) in zip(rows, back, strict=True):
        assert float(bare) == number
        assert not shown.lstrip(" \u00a0").startswith(tuple(SIGNS + "\t\r\n"))
        if one_line(cell) == cell and "'" not in shown:
            assert shown == cell


@given(st.text(alphabet="=+-@;| \"'a1\t\r\n", max_size=12))
def test_no_formula_appears_where_a_semicolon_separates(cell):
    for delimiter in (";", "|"):
        for row in read(written((cell, cell)), delimiter):
            for shown in row:
                assert not shown.lstrip(" ").startswith(tuple(SIGNS)), (cell, row)


@given(st.text(max_size=20))
def test_apostrophe_can_be_taken_away_again(cell):
    """A cell that starts with one got it here: text with an apostrophe of its own has two."""
    shown = harmless(cell)
    if one_line(cell) == cell and ";" not in cell and "|" not in cell:
        assert shown.removeprefix("'") == cell if shown.startswith("'") else shown == cell
