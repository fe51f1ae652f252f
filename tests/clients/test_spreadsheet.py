"""The workbook of deploy/spreadsheets in LibreOffice Calc, against the JSON answers of the service.

Calc loads the file from a trusted location with its links updated and recalculates it hard, so each
formula calls the running service; the test asks the same of it by POST, from the values in the
cells, and compares every computed cell.
"""

import importlib
import json
import shutil
import sys
import urllib.error
import urllib.parse
import urllib.request
from pathlib import Path

import pytest

from loomwright.documents.csv_text import csv_of_rows
from loomwright.web.forms.errors import error_line
from loomwright.web.forms.form import GREATEST_CHARACTERS
from served import served

FOLDER = Path(__file__).parents[2] / "deploy" / "spreadsheets"
sys.path.append(str(FOLDER))
MAKER = importlib.import_module("make_workbook")
FILES = ("circuits.ods", "circuits.xlsx")
LONGEST_ADDRESS = 2048
# #VALUE! as Calc numbers it: what WEBSERVICE shows of a status of 400 and above.
NO_VALUE = 519
DASH = "-"


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    with served(tmp_path_factory.mktemp("served") / "server.log") as address:
        yield address


def shown(file, server, folder, locale="en-US", further=()):
    """Return what the cells of a workbook show, from a folder that is trusted."""
    workbook = Path(shutil.copy(file, folder))
    wanted = [["Circuits", "B4", server], *further]
    return MAKER.recalculated(workbook, set=wanted, locale=locale)


def post(address, operation, body):
    """Return status and JSON of a request."""
    request = urllib.request.Request(
        f"{address}/v1/{operation}",
        json.dumps(body).encode(),
        {"Content-Type": "application/json"},
    )
    try:
        with urllib.request.urlopen(request, timeout=30) as response:
            return response.status, json.load(response)
    except urllib.error.HTTPError as error:
        with error:
            return error.code, json.load(error)


class Sheet:
    """The cells of a sheet, with a note of those that were compared."""

    def __init__(self, cells):
        self.cells = cells
        self.compared = set()

    def text(self, name):
        return self.cells[name]["text"]

    def number(self, name):
        return self.cells[name]["number"]

    def expect(self, name, value):
        """Compare a cell with a value of JSON: to the last bit, a number as a number."""
        cell = self.cells[name]
        self.compared.add(name)
        assert cell["error"] == 0, (name, cell)
        if isinstance(value, str):
            assert (cell["text"], cell["number"]) == (value, None), name
        elif value is None:
            assert cell["text"] == DASH, (name, cell)
        else:
            assert cell["number"] == value, (name, cell)

    def expect_error(self, name):
        self.compared.add(name)
        assert self.cells[name]["error"] == NO_VALUE, (name, self.cells[name])

    def computed(self):
        """Return the cells with a formula that are no address of a request."""
        return {
            name
            for name, cell in self.cells.items()
            if cell["formula"] and not cell["text"].startswith("http")
        }


def compare_circuits(sheet, address):
    rows = range(MAKER.FIRST_CIRCUIT, MAKER.FIRST_CIRCUIT + len(MAKER.CIRCUITS))
    found = 0
    for row in rows:
        shared = {
            "series": sheet.text("B6"),
            "load_current": sheet.number(f"B{row}"),
            "length": sheet.number(f"C{row}"),
            "zone": sheet.text(f"D{row}"),
            "bundled_conductors": sheet.number(f"E{row}"),
            "source_resistance": sheet.number("B8"),
        }
        status, sized = post(
            address,
            "size-conductor",
            {
                **shared,
                "supply_voltage": sheet.number("B7"),
                "allowed_voltage_drop_percent": sheet.number(f"F{row}"),
            },
        )
        assert status == 200
        conductor = sized["conductor"] or {"size": "none"}
        sheet.expect(f"H{row}", conductor["size"])
        sheet.expect(f"I{row}", conductor.get("voltage_drop_v"))
        sheet.expect(f"J{row}", conductor.get("voltage_drop_percent"))
        sheet.expect(f"K{row}", conductor.get("conductor_temperature_c"))
        sheet.expect(f"L{row}", sized["verdict"])
        if sized["conductor"] is None:
            sheet.expect(f"M{row}", None)
            sheet.expect(f"N{row}", "no conductor to protect")
            continue
        found += 1
        status, fused = post(
            address,
            "size-fuse",
            {
                **shared,
                "size": conductor["size"],
                "source_voltage": sheet.number("B7"),
                "resistance_before_fuse": sheet.number("B9"),
                "fuse_types": [sheet.text(f"G{row}")],
            },
        )
        assert status == 200
        sheet.expect(f"M{row}", fused["rated_current_a"])
        sheet.expect(f"N{row}", fused["verdict"])
    # A dozen, of which one cannot be met.
    assert (len(rows), found) == (12, 11)


def compare_equipment(sheet, address):
    for row in range(6, 6 + len(MAKER.EQUIPMENT)):
        status, estimate = post(
            address,
            "estimate-real-output",
            {
                "fuse_rating": sheet.number(f"B{row}"),
                "supply_voltage": sheet.number(f"C{row}"),
                "amplifier_class": sheet.text(f"D{row}"),
                "converter": sheet.text(f"E{row}"),
                "load_impedance": sheet.number(f"F{row}"),
                "claimed_output": sheet.number(f"G{row}"),
            },
        )
        assert status == 200
        sheet.expect(f"H{row}", estimate["input"]["ceiling_w"])
        sheet.expect(f"I{row}", estimate["likely"]["power_w"])
        sheet.expect(f"J{row}", estimate["verdict"])


def compare_xml(sheet, circuits, address):
    row = MAKER.FIRST_CIRCUIT
    body = {
        "series": circuits.text("B6"),
        "load_current": circuits.number(f"B{row}"),
        "length": circuits.number(f"C{row}"),
        "zone": circuits.text(f"D{row}"),
        "bundled_conductors": circuits.number(f"E{row}"),
        "source_resistance": circuits.number("B8"),
        "supply_voltage": circuits.number("B7"),
        "allowed_voltage_drop_percent": circuits.number(f"F{row}"),
    }
    status, sized = post(address, "size-conductor", body)
    assert status == 200
    sheet.expect("C6", sized["verdict"])
    sheet.expect("C7", sized["conductor"]["size"])
    sheet.expect("C8", sized["deciding_criterion"])
    sheet.expect("C9", sized["candidates"]["size"][0])
    sheet.expect("C10", sized["sources"][0]["title"])
    sheet.compared.add("E6")
    assert sheet.text("E6").startswith('<?xml version="1.0" encoding="UTF-8"?>')
    assert len(sheet.text("E6")) < GREATEST_CHARACTERS


def json_of_query(query):
    """Return the query of a sheet as a JSON body: numbers as numbers, all else as text."""
    return {
        name: float(text) if text.lstrip("-").replace(".", "", 1).isdecimal() else text
        for name, text in urllib.parse.parse_qsl(query)
    }


def compare_errors(sheet, address):
    refused = 0
    for row, (_, operation, query) in enumerate(MAKER.ERRORS, 6):
        body = {"series": "awg", "supply_voltage": 12.6, **json_of_query(query)}
        status, answer = post(address, operation, body)
        if status == 200:
            sheet.expect(f"B{row}", answer["conductor"]["size"])
            sheet.expect(f"C{row}", answer["conductor"]["size"])
            continue
        assert 400 <= status < 500
        refused += 1
        sheet.expect_error(f"B{row}")
        sheet.expect(f"C{row}", error_line(answer))
        assert sheet.text(f"C{row}").startswith("Error: ")
    assert refused == len(MAKER.ERRORS) - 1


@pytest.mark.parametrize(
    ("file", "locale"), [("circuits.ods", "en-US"), ("circuits.xlsx", "de-DE")]
)
def test_every_computed_cell_is_that_of_the_json_answer(
    file, locale, address, tmp_path, record_property
):
    probe = ["Circuits", "Z1", '=C14&""']
    cells = shown(FOLDER / file, address, tmp_path, locale, [probe])
    # The country of the user is really another: it joins a number to text with a comma.
    assert cells["Circuits"].pop("Z1")["text"] == ("4,6" if locale == "de-DE" else "4.6")
    sheets = {name: Sheet(entries) for name, entries in cells.items()}
    compare_circuits(sheets["Circuits"], address)
    compare_equipment(sheets["Equipment"], address)
    compare_xml(sheets["XML"], sheets["Circuits"], address)
    compare_errors(sheets["Errors"], address)
    compared = 0
    for name, sheet in sheets.items():
        assert sheet.compared == sheet.computed(), name
        compared += len(sheet.compared)
        for cell in sheet.cells.values():
            if cell["text"].startswith("http"):
                assert len(cell["text"]) < LONGEST_ADDRESS
    assert compared > 100
    record_property("summary", f"spreadsheet cells compared in {file} ({locale}): {compared}")


def test_without_the_service_no_cell_shows_a_stale_value(tmp_path):
    """Were values of the file still shown, the comparison above would show nothing."""
    key = ["Circuits", "B5", "a key&more"]
    cells = shown(FOLDER / "circuits.ods", "http://127.0.0.1:9", tmp_path, further=[key])
    circuits = Sheet(cells["Circuits"])
    for row in range(MAKER.FIRST_CIRCUIT, MAKER.FIRST_CIRCUIT + len(MAKER.CIRCUITS)):
        assert circuits.cells[f"L{row}"]["error"] != 0
        assert [circuits.text(f"{column}{row}") for column in "HIJKM"] == [DASH] * 5
    for sheet, names in (("Errors", ("B6", "C6", "C7")), ("XML", ("C6", "E6"))):
        assert all(cells[sheet][name]["error"] for name in names)
    # The key of the one cell goes into every request, and its characters stay within it.
    asked = [
        cell["text"]
        for entries in cells.values()
        for cell in entries.values()
        if cell["formula"] and cell["text"].startswith("http")
    ]
    assert len(asked) == 2 * 12 + len(MAKER.EQUIPMENT) + len(MAKER.ERRORS)
    assert all(text.endswith("&key=a%20key%26more") for text in asked)


# Separator, quotes, UTF-8, first line; then, in its seventh place, quoted cells as text or as they
# look, and in the thirteenth, formulas calculated: the most that the program can be talked into.
CSV_FILTER = "{separator},34,76,1,,0,{as_text},true,false,false,false,0,true"
TEXTS = (
    "00123",
    "007-4",
    "=1+1",
    "+1+1",
    "-1-1",
    "@SUM(A1)",
    "\t=1+1",
    "\n=1+1",
    " =1+1",
    '"=1+1"',
    "a;=1+1",
    'a;"=1+1";b',
    'a; "=1+1',
    '=HYPERLINK("http://127.0.0.1:9/";"x")',
    "4 mm2",
)


@pytest.mark.parametrize("separator", [44, 59], ids=["comma", "semicolon"])
@pytest.mark.parametrize("as_text", ["true", "false"])
def test_csv_opened_in_calc_holds_no_formula(separator, as_text, tmp_path):
    file = tmp_path / "cells.csv"
    file.write_bytes(csv_of_rows(("text", "number"), [(text, -0.25) for text in TEXTS]))
    options = CSV_FILTER.format(separator=separator, as_text=as_text)
    (cells,) = MAKER.recalculated(file, filter=options).values()
    assert [name for name, cell in cells.items() if cell["formula"]] == []
    assert len(cells) >= len(TEXTS)
    if separator == 44:
        rows = range(2, 2 + len(TEXTS))
        assert [cells[f"B{row}"]["number"] for row in rows] == [-0.25] * len(TEXTS)
        # With the option to take quoted cells as text, which the recipes name, zeros stay.
        first = cells["A2"]
        assert first["text"] == ("00123" if as_text == "true" else "123")
        assert (first["number"] is None) is (as_text == "true")


def test_a_formula_would_be_seen(tmp_path):
    file = tmp_path / "cells.csv"
    file.write_text('"text"\r\n=1+1\r\n', "utf-8")
    options = CSV_FILTER.format(separator=44, as_text="false")
    (cells,) = MAKER.recalculated(file, filter=options).values()
    assert cells["A2"]["formula"] == "=1+1"
    assert cells["A2"]["number"] == 2


def test_both_files_are_what_the_generator_makes(tmp_path):
    made = tmp_path / "made.xlsx"
    MAKER.workbook().save(made)
    sheets = [
        MAKER.recalculated(made),
        *(MAKER.recalculated(Path(shutil.copy(FOLDER / file, tmp_path))) for file in FILES),
    ]
    stated = [
        {
            (name, place): cell["formula"] or cell["text"]
            for name, cells in book.items()
            for place, cell in cells.items()
        }
        for book in sheets
    ]
    assert len(stated[0]) > 300
    assert stated[1] == stated[0]
    assert stated[2] == stated[0]
