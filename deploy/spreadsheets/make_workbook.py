"""Make the workbook: sheets and formulas here, values and files by LibreOffice with the service.

    python deploy/spreadsheets/make_workbook.py

Needs openpyxl (it is among the tests' packages), LibreOffice Calc, a Python with ``uno``, and port
8080 free on 127.0.0.1, where the service runs while the values are calculated. It writes
``circuits.ods`` and ``circuits.xlsx`` beside itself; a name with ``.pdf`` as argument gets the
printed pages.
"""

import contextlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Iterable, Iterator
from http import HTTPStatus
from pathlib import Path
from typing import Any

from openpyxl import Workbook
from openpyxl.styles import Alignment
from openpyxl.worksheet.worksheet import Worksheet
from workbook_looks import (
    Column,
    addresses,
    choices_of,
    filled_row,
    groups_of_columns,
    heads,
    note,
    print_setup,
    setting,
    title,
)

FOLDER = Path(__file__).resolve().parent
PORT = 8080
SERVER = f"http://127.0.0.1:{PORT}"
FIRST_CIRCUIT = 14
XLSX_FILTER = "Calc MS Excel 2007 XML"

# Name, load current [A], length [m], zone, bundled conductors, drop [%], fuse type. All invented.
CIRCUITS = (
    ("Second battery, charging", 40, 4.6, "engine_compartment", 2, 3, "iso_8820_4_b"),
    ("Inverter feed", 85, 1.4, "passenger_compartment", 1, 2, "iso_8820_5_sf30"),
    ("Under-seat bass unit", 25, 4.2, "passenger_compartment", 2, 3, "iso_8820_3_e"),
    ("Compressor refrigerator", 6.5, 5.8, "passenger_compartment", 3, 3, "iso_8820_3_c"),
    ("Diesel heater", 10, 3.75, "underbody", 2, 3, "iso_8820_3_c"),
    ("Water pump", 7, 3.1, "passenger_compartment", 2, 5, "iso_8820_3_c"),
    ("Ceiling lamps", 3.2, 6.4, "roof_lining", 4, 3, "iso_8820_3_c"),
    ("Reading lamps", 1.4, 5.25, "passenger_compartment", 4, 3, "iso_8820_3_c"),
    ("Recovery winch", 450, 9.5, "engine_compartment", 1, 3, "iso_8820_5_sf51"),
    ("Roof ventilator", 4, 7.2, "roof_lining", 3, 5, "iso_8820_3_c"),
    ("Rear view camera", 0.8, 8.5, "passenger_compartment", 6, 5, "iso_8820_3_c"),
    ("Work lamp at the rear", 12, 7.75, "underbody", 2, 5, "iso_8820_3_c"),
)
# Name, fuse rating [A], supply voltage [V], class, converter, impedance [ohm], claim [W].
EQUIPMENT = (
    ("Bass amplifier, one channel", 25, 12.6, "AB", "regulated", 4, 1200),
    ("Full-range amplifier", 30, 13.8, "D", "unregulated", 4, 300),
    ("Small head unit stage", 10, 12.6, "B", "none", 4, 50),
    ("Bass amplifier, low impedance", 60, 13.2, "D", "unregulated", 2, 900),
)
ERRORS = (
    ("Nothing wrong", "size-conductor", "load_current=20&length=4.5"),
    ("A decimal comma", "size-conductor", "load_current=20&length=4,5"),
    ("A current out of range", "size-conductor", "load_current=-20&length=4.5"),
    ("The length is missing", "size-conductor", "load_current=20"),
    ("Two loads at once", "size-conductor", "load_current=20&load_power=200&length=4.5"),
    ("A field that is none", "size-conductor", "load_current=20&lenght=4.5&length=4.5"),
    (
        "Too hot for the insulation",
        "size-conductor",
        "load_current=20&length=4.5&ambient_temperature=120",
    ),
    ("An operation that is none", "size-conducter", "load_current=20&length=4.5"),
)


def workbook() -> Workbook:
    """Return the workbook with all formulas and no values."""
    book = Workbook()
    book.remove(book.active)
    book.properties.creator = "Loomwright"
    book.properties.title = "Circuits sized by formula, invented data"
    _circuits(book.create_sheet("Circuits"))
    _equipment(book.create_sheet("Equipment"))
    _xml(book.create_sheet("XML"))
    _errors(book.create_sheet("Errors"))
    return book


def number(cell: str) -> str:
    """Return the part of a formula that writes a number with a point, whatever the country."""
    return f'SUBSTITUTE({cell},",",".")'


def text(cell: str) -> str:
    """Return the part of a formula that writes text into an address."""
    return f"_xlfn.ENCODEURL({cell})"


def call(address: str, rest: str) -> str:
    """Return the part of a formula that asks the service."""
    return f'_xlfn.WEBSERVICE({address}&"{rest}")'


def read_number(address: str, field: str) -> str:
    """Return the formula of a number, or of a dash where there is none; the message says why."""
    asked = call(address, f"&field={field}")
    return f'=IFERROR(_xlfn.NUMBERVALUE({asked},".",","),"-")'


def _address(operation: str, parameters: Iterable[tuple[str, str]], sheet: str = "") -> str:
    parts = [f'"&{name}="&{value}' for name, value in parameters]
    key = f'IF({sheet}$B$5="","","&key="&{text(f"{sheet}$B$5")})'
    return f'={sheet}$B$4&"/v1/{operation}?as=text"&' + "&".join([*parts, key])


def _circuits(sheet: Worksheet) -> None:
    columns = (
        Column("Circuit", "", 32, True),
        Column("Load", "A", 9, True, "0.0#", "right"),
        Column("Length, one way", "m", 10, True, "0.00", "right"),
        Column("Zone", "", 23, True),
        Column("Bundled", "", 10, True, "0", "right"),
        Column("Greatest drop", "%", 11, True, "0.0", "right"),
        Column("Fuse type", "", 17, True),
        Column("Size", "", 12),
        Column("Drop", "V", 8, False, "0.000", "right"),
        Column("Drop", "%", 8, False, "0.00", "right"),
        Column("Metal at load", "°C", 11, False, "0.0", "right"),
        Column("Verdict or error", "", 31),
        Column("Fuse", "A", 8, False, "0.0", "right"),
        Column("Verdict or error", "", 26),
    )
    title(sheet, "Circuits, sized by formula", "Invented data. Yellow cells are yours to change.")
    setting(sheet, 4, "Server", SERVER)
    setting(sheet, 5, "Key, if the server wants one", None)
    setting(sheet, 6, "Series of conductors", "metric")
    setting(sheet, 7, "Source voltage [V]", 12.6, "0.0#")
    setting(sheet, 8, "Source resistance [ohm]", 0.008, "0.000#")
    setting(sheet, 9, "Resistance up to the fuses [ohm]", 0.006, "0.000#")
    groups_of_columns(sheet, 11, (("Given", 1, 7), ("Conductor", 8, 12), ("Fuse", 13, 14)))
    heads(sheet, 12, columns)
    for row, circuit in enumerate(CIRCUITS, FIRST_CIRCUIT):
        conductor, fuse = f"$P{row}", f"$Q{row}"
        shared = [
            ("series", text("$B$6")),
            ("load_current", number(f"$B{row}")),
            ("length", number(f"$C{row}")),
            ("zone", text(f"$D{row}")),
            ("bundled_conductors", number(f"$E{row}")),
            ("source_resistance", number("$B$8")),
        ]
        size = f"$H{row}"
        computed = (
            f'=IFERROR({call(conductor, "&field=conductor.size")},"-")',
            read_number(conductor, "conductor.voltage_drop_v"),
            read_number(conductor, "conductor.voltage_drop_percent"),
            read_number(conductor, "conductor.conductor_temperature_c"),
            f"={call(conductor, '&field=verdict&errors=text')}",
            read_number(fuse, "rated_current_a"),
            f'=IF(OR({size}="-",{size}="none"),"no conductor to protect",'
            f"{call(fuse, '&field=verdict&errors=text')})",
        )
        filled_row(sheet, row, columns, (*circuit, *computed))
        sheet[f"P{row}"] = _address(
            "size-conductor",
            [
                *shared,
                ("supply_voltage", number("$B$7")),
                ("allowed_voltage_drop_percent", number(f"$F{row}")),
            ],
        )
        sheet[f"Q{row}"] = _address(
            "size-fuse",
            [
                *shared,
                ("size", text(size)),
                ("source_voltage", number("$B$7")),
                ("resistance_before_fuse", number("$B$9")),
                ("fuse_types", text(f'"["""&$G{row}&"""]"')),
            ],
        )
    last = FIRST_CIRCUIT - 1 + len(CIRCUITS)
    addresses(sheet, 12, "P", "Request for the conductor", last)
    addresses(sheet, 12, "Q", "Request for the fuse", last)
    choices_of(sheet, "B6", ("awg", "iso_6722", "metric", "sae"))
    choices_of(
        sheet,
        f"D{FIRST_CIRCUIT}:D{last}",
        (
            "passenger_compartment",
            "luggage_compartment",
            "engine_compartment",
            "underbody",
            "roof_lining",
        ),
    )
    note(
        sheet,
        last + 2,
        "The vehicle maker's instructions, local codes and licensed practice come before any "
        "figure here. A dash stands where there is no figure; what stands beside it says why.",
    )
    print_setup(sheet, f"A1:N{last + 2}", f"A{FIRST_CIRCUIT}")


def _equipment(sheet: Worksheet) -> None:
    columns = (
        Column("Equipment", "", 29, True),
        Column("Fuse", "A", 8, True, "0", "right"),
        Column("Supply", "V", 9, True, "0.0", "right"),
        Column("Class", "", 8, True),
        Column("Converter", "", 14, True),
        Column("Load", "ohm", 8, True, "0.0", "right"),
        Column("Claim", "W", 9, True, "0", "right"),
        Column("Input at most", "W", 10, False, "0", "right"),
        Column("Likely output", "W", 10, False, "0", "right"),
        Column("Verdict or error", "", 34),
    )
    title(sheet, "What equipment can really put out", "Server and key are those of Circuits.")
    heads(sheet, 4, columns)
    for row, item in enumerate(EQUIPMENT, 6):
        address = f"$L{row}"
        computed = (
            read_number(address, "input.ceiling_w"),
            read_number(address, "likely.power_w"),
            f"={call(address, '&field=verdict&errors=text')}",
        )
        filled_row(sheet, row, columns, (*item, *computed))
        sheet[address.replace("$", "")] = _address(
            "estimate-real-output",
            [
                ("fuse_rating", number(f"$B{row}")),
                ("supply_voltage", number(f"$C{row}")),
                ("amplifier_class", text(f"$D{row}")),
                ("converter", text(f"$E{row}")),
                ("load_impedance", number(f"$F{row}")),
                ("claimed_output", number(f"$G{row}")),
            ],
            "Circuits!",
        )
    last = 5 + len(EQUIPMENT)
    addresses(sheet, 4, "L", "Request", last)
    print_setup(sheet, f"A1:J{last}", "A6")


def _xml(sheet: Worksheet) -> None:
    columns = (
        Column("What", "", 34),
        Column("XPath", "", 40),
        Column("Value", "", 46),
    )
    title(
        sheet,
        "One request, many values",
        "The first circuit as XML; the paths have no prefix, as the elements have no namespace.",
    )
    heads(sheet, 4, columns)
    paths = (
        ("Verdict", "/answer/verdict"),
        ("Size", "/answer/conductor/size"),
        ("What decides", "/answer/deciding_criterion"),
        ("First size of all that were tried", "/answer/candidates/size/item[1]"),
        ("Title of the first source", "/answer/sources/item[1]/title"),
    )
    for row, (what, path) in enumerate(paths, 6):
        filled_row(sheet, row, columns, (what, path, f"=_xlfn.FILTERXML($E$6,$B{row})"))
    first = f"Circuits!$P${FIRST_CIRCUIT}"
    sheet["E6"] = f'=_xlfn.WEBSERVICE(SUBSTITUTE({first},"as=text","as=xml"))'
    addresses(sheet, 4, "E", "Answer", 6)
    print_setup(sheet, f"A1:C{5 + len(paths)}", "A6")


def _errors(sheet: Worksheet) -> None:
    columns = (
        Column("What is wrong", "", 28),
        Column("Without errors=text", "", 20),
        Column("With errors=text", "", 100),
    )
    title(
        sheet,
        "Errors in a cell",
        "A program that shows nothing of an error gets it as a line with errors=text.",
    )
    heads(sheet, 4, columns)
    for row, (what, operation, query) in enumerate(ERRORS, 6):
        address = f"$E{row}"
        filled_row(
            sheet,
            row,
            columns,
            (what, f"={call(address, '')}", f"={call(address, '&errors=text')}"),
        )
        sheet[f"C{row}"].alignment = Alignment(
            wrap_text=True, horizontal="left", vertical="center", indent=1
        )
        key = f'IF(Circuits!$B$5="","","&key="&{text("Circuits!$B$5")})'
        sheet[f"E{row}"] = (
            f'=Circuits!$B$4&"/v1/{operation}?as=text&series=awg&supply_voltage=12.6&{query}"&{key}'
        )
        sheet.row_dimensions[row].height = 28
    last = 5 + len(ERRORS)
    addresses(sheet, 4, "E", "Request", last)
    print_setup(sheet, f"A1:C{last}", "A6")


def main() -> None:
    """Write both files."""
    ready = {str(FOLDER / "circuits.ods"): "calc8", str(FOLDER / "circuits.xlsx"): XLSX_FILTER}
    ready |= {str(Path(name).resolve()): "calc_pdf_Export" for name in sys.argv[1:]}
    with tempfile.TemporaryDirectory() as folder, service():
        plain = Path(folder) / "circuits.xlsx"
        workbook().save(plain)
        recalculated(plain, store=ready)


def recalculated(document: Path, **asked: Any) -> dict[str, dict[str, Any]]:
    """Return what the cells of a workbook show in Calc, by sheet and cell; see ``calc.py``."""
    done = subprocess.run(
        [python_with_uno(), FOLDER / "calc.py"],
        input=json.dumps({"document": str(document), **asked}),
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    shown: dict[str, dict[str, Any]] = json.loads(done.stdout)
    return shown


def python_with_uno() -> str:
    """Return the command of a Python that can talk to LibreOffice."""
    # That of an environment has no packages of the system.
    for candidate in ("/usr/bin/python3", "python3"):
        found = shutil.which(candidate)
        if found is None:
            continue
        tried = subprocess.run([found, "-c", "import uno"], capture_output=True, check=False)
        if tried.returncode == 0:
            return found
    raise LookupError("no Python has uno; on Debian install python3-uno")


@contextlib.contextmanager
def service() -> Iterator[None]:
    """Run the service at the address that stands in the workbook."""
    root = FOLDER.parents[1]
    command = [sys.executable, "-m", "gunicorn", "--config", "deploy/gunicorn.conf.py"]
    surroundings = {**os.environ, "LOOMWRIGHT_BIND": f"127.0.0.1:{PORT}"}
    process = subprocess.Popen(command, cwd=root, env=surroundings)
    try:
        while not _answers():
            if process.poll() is not None:
                raise SystemExit(f"the service did not start; is port {PORT} free?")
            time.sleep(0.2)
        yield
    finally:
        process.terminate()
        process.wait()


def _answers() -> bool:
    try:
        with urllib.request.urlopen(f"{SERVER}/v1/health", timeout=5) as response:
            return bool(response.status == HTTPStatus.OK)
    except urllib.error.URLError:
        return False


if __name__ == "__main__":
    main()
