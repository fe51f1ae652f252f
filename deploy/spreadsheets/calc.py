"""Open a workbook in headless LibreOffice Calc, set cells, recalculate, tell what each cell shows.

Run it with a Python that has ``uno`` (on Debian: python3-uno with /usr/bin/python3). It reads one
JSON object from standard input and writes one to standard output; ``error`` is Calc's number of the
error that a cell shows, 0 for none:

    {"document": "/a/book.ods",           the workbook, which is only read
     "filter": "44,34,76,1",              how a text file is read: the options of its filter
     "locale": "de-DE",                   of the user, en-US unless stated
     "set": [["Circuits", "C4", "..."]],  cells to set before the recalculation
     "store": {"/b/book.ods": "calc8"}}   files to write, each with the name of its filter

    {"Circuits": {"C4": {"text": "...", "formula": "...", "number": null, "error": 0}, ...}, ...}

Calc calls a server only from a workbook in a trusted location, loaded with its links updated, and
then recalculated hard. So the folder of the workbook is a trusted location of a profile that lives
as long as this process.
"""

import contextlib
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import uno
from com.sun.star.beans import PropertyValue
from com.sun.star.connection import NoConnectException
from com.sun.star.document.UpdateDocMode import FULL_UPDATE
from com.sun.star.lang import DisposedException
from com.sun.star.table.CellContentType import EMPTY

LONGEST_START_S = 120.0
LONGEST_RUN_S = 480
PROFILE = """\
<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry"
 xmlns:xs="http://www.w3.org/2001/XMLSchema" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance">
<item oor:path="/org.openoffice.Office.Common/Security/Scripting">
<prop oor:name="SecureURL" oor:op="fuse"><value><it>{folder}</it></value></prop></item>
<item oor:path="/org.openoffice.Office.Calc/Content/Update">
<prop oor:name="Link" oor:op="fuse"><value>0</value></prop></item>
<item oor:path="/org.openoffice.Setup/L10N">
<prop oor:name="ooSetupSystemLocale" oor:op="fuse"><value>{locale}</value></prop></item>
</oor:items>
"""


def main() -> None:
    """Do what standard input asks."""
    # An office that hangs would keep whoever waits for this process; so both end.
    signal.signal(signal.SIGALRM, _out_of_time)
    signal.alarm(LONGEST_RUN_S)
    asked = json.load(sys.stdin)
    document = Path(asked["document"]).resolve()
    with tempfile.TemporaryDirectory(prefix="calc-") as folder:
        profile = Path(folder) / "profile"
        (profile / "user").mkdir(parents=True)
        trusted = escape(document.parent.as_uri())
        (profile / "user" / "registrymodifications.xcu").write_text(
            PROFILE.format(folder=trusted, locale=asked.get("locale", "en-US")), encoding="utf-8"
        )
        with office(profile) as context:
            shown = recalculated(context, document, asked)
    json.dump(shown, sys.stdout)


def _out_of_time(*_: object) -> None:
    raise SystemExit(f"LibreOffice was not done after {LONGEST_RUN_S} s")


@contextlib.contextmanager
def office(profile: Path) -> Iterator[Any]:
    """Yield the context of an office of its own, which ends with the block."""
    pipe = f"calc{uuid.uuid4().hex}"
    program = shutil.which("soffice")
    if program is None:
        raise SystemExit("soffice is not on PATH; install LibreOffice Calc")
    process = subprocess.Popen(
        [
            program,
            "--headless",
            "--norestore",
            "--nologo",
            "--nodefault",
            f"-env:UserInstallation={profile.as_uri()}",
            f"--accept=pipe,name={pipe};urp",
        ],
        stdin=subprocess.DEVNULL,
        stdout=sys.stderr,
        # The command is a script that starts the office proper; both end together.
        start_new_session=True,
    )
    try:
        context = connected(pipe, process)
        yield context
        # The office ends the connection while it answers.
        with contextlib.suppress(DisposedException):
            desktop_of(context).terminate()
        process.wait(timeout=60)
    finally:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()


def connected(pipe: str, process: subprocess.Popen[bytes]) -> Any:
    """Return the context of the office once it listens."""
    local = uno.getComponentContext()
    resolver = local.ServiceManager.createInstanceWithContext(
        "com.sun.star.bridge.UnoUrlResolver", local
    )
    deadline = time.monotonic() + LONGEST_START_S
    while time.monotonic() < deadline and process.poll() is None:
        try:
            return resolver.resolve(f"uno:pipe,name={pipe};urp;StarOffice.ComponentContext")
        except NoConnectException:
            time.sleep(0.2)
    raise SystemExit("LibreOffice did not start")


def desktop_of(context: Any) -> Any:
    """Return the desktop, which opens documents and ends the office."""
    return context.ServiceManager.createInstanceWithContext("com.sun.star.frame.Desktop", context)


def recalculated(context: Any, document: Path, asked: dict[str, Any]) -> dict[str, Any]:
    """Return every filled cell of a workbook after a hard recalculation."""
    desktop = desktop_of(context)
    how = properties(Hidden=True, UpdateDocMode=FULL_UPDATE)
    if "filter" in asked:
        how += properties(FilterName="Text - txt - csv (StarCalc)", FilterOptions=asked["filter"])
    loaded = desktop.loadComponentFromURL(document.as_uri(), "_blank", 0, how)
    try:
        for sheet, place, value in asked.get("set", ()):
            cell = loaded.Sheets.getByName(sheet).getCellRangeByName(place)
            if isinstance(value, str):
                cell.Formula = value
            else:
                cell.Value = value
        hard_recalculation(context, loaded)
        for path, filter_name in asked.get("store", {}).items():
            loaded.storeToURL(Path(path).resolve().as_uri(), properties(FilterName=filter_name))
        return {sheet.Name: cells_of(sheet) for sheet in loaded.Sheets}
    finally:
        loaded.close(True)


def hard_recalculation(context: Any, loaded: Any) -> None:
    """Calculate every formula anew, as Ctrl+Shift+F9 does."""
    dispatcher = context.ServiceManager.createInstanceWithContext(
        "com.sun.star.frame.DispatchHelper", context
    )
    frame = loaded.CurrentController.Frame
    dispatcher.executeDispatch(frame, ".uno:CalculateHard", "", 0, ())


def properties(**values: Any) -> tuple[Any, ...]:
    """Return named values as UNO takes them."""
    return tuple(PropertyValue(Name=name, Value=value) for name, value in values.items())


def cells_of(sheet: Any) -> dict[str, Any]:
    """Return text, formula, number and error of each filled cell of a sheet, by its name."""
    cursor = sheet.createCursor()
    cursor.gotoEndOfUsedArea(False)
    last = cursor.RangeAddress
    found = {}
    for row in range(last.EndRow + 1):
        for column in range(last.EndColumn + 1):
            cell = sheet.getCellByPosition(column, row)
            if cell.Type != EMPTY:
                name = cell.AbsoluteName.rpartition(".")[2].replace("$", "")
                found[name] = shown(cell)
    return found


def shown(cell: Any) -> dict[str, Any]:
    """Return what a cell holds and shows."""
    formula = cell.Formula if cell.Formula.startswith("=") else ""
    # 1 is a value, 2 a date or time, 4 a string (com.sun.star.sheet.FormulaResult).
    is_number = cell.FormulaResultType2 == 1 if formula else cell.Type.value == "VALUE"
    return {
        "text": cell.String,
        "formula": formula,
        "number": cell.Value if is_number and not cell.getError() else None,
        "error": cell.getError(),
    }


if __name__ == "__main__":
    main()
