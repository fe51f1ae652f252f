"""What the workbook looks like: headings, cells for input, widths, printed pages."""

from collections.abc import Sequence
from dataclasses import dataclass

from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet

_FONT = "Liberation Sans"
_HEAD = PatternFill("solid", fgColor="2F4858")
_GROUP = PatternFill("solid", fgColor="DCE3E8")
_INPUT = PatternFill("solid", fgColor="FFF8DC")
_LINE = Side(style="thin", color="B8C2C8")
_BOX = Border(left=_LINE, right=_LINE, top=_LINE, bottom=_LINE)


@dataclass(frozen=True)
class Column:
    """A column of a table: heading, unit, width, what it is, and its format."""

    heading: str
    unit: str
    width: float
    is_input: bool = False
    number_format: str = "General"
    horizontal: str = "left"


def title(sheet: Worksheet, title: str, below: str) -> None:
    """Write the head of a sheet."""
    sheet["A1"] = title
    sheet["A1"].font = Font(name=_FONT, size=15, bold=True, color="2F4858")
    sheet["A2"] = below
    sheet["A2"].font = Font(name=_FONT, size=10, italic=True, color="5A6A73")
    sheet.row_dimensions[1].height = 24
    sheet.sheet_view.showGridLines = False


def setting(
    sheet: Worksheet, row: int, name: str, value: str | float | None, form: str = "General"
) -> None:
    """Write one named setting."""
    sheet[f"A{row}"] = name
    sheet[f"A{row}"].font = Font(name=_FONT, size=10)
    cell = sheet[f"B{row}"]
    cell.value = value
    cell.font = Font(name=_FONT, size=10)
    cell.fill = _INPUT
    cell.border = _BOX
    cell.number_format = form
    cell.alignment = Alignment(horizontal="left", indent=1)
    sheet.merge_cells(f"B{row}:D{row}")
    for other in (f"C{row}", f"D{row}"):
        sheet[other].border = _BOX


def groups_of_columns(sheet: Worksheet, row: int, groups: Sequence[tuple[str, int, int]]) -> None:
    """Write names over groups of columns."""
    for name, first, last in groups:
        for column in range(first, last + 1):
            sheet.cell(row, column).fill = _GROUP
            sheet.cell(row, column).border = _BOX
        cell = sheet.cell(row, first, name)
        cell.font = Font(name=_FONT, size=10, bold=True)
        cell.alignment = Alignment(horizontal="center")
        sheet.merge_cells(start_row=row, start_column=first, end_row=row, end_column=last)


def heads(sheet: Worksheet, row: int, columns: Sequence[Column]) -> None:
    """Write headings and units of a table, and set its widths."""
    for place, column in enumerate(columns, 1):
        for line, words in ((row, column.heading), (row + 1, column.unit)):
            cell = sheet.cell(line, place, words or None)
            cell.font = Font(name=_FONT, size=10, bold=line == row, color="FFFFFF")
            cell.fill = _HEAD
            cell.alignment = Alignment(
                horizontal=column.horizontal, vertical="center", wrap_text=True, indent=1
            )
        sheet.column_dimensions[get_column_letter(place)].width = column.width
    sheet.row_dimensions[row].height = 28
    if not any(column.unit for column in columns):
        sheet.row_dimensions[row + 1].height = 4


def filled_row(
    sheet: Worksheet, row: int, columns: Sequence[Column], values: Sequence[object]
) -> None:
    """Write one row of a table."""
    for place, (column, value) in enumerate(zip(columns, values, strict=True), 1):
        cell = sheet.cell(row, place)
        cell.value = value
        cell.font = Font(name=_FONT, size=10)
        cell.border = _BOX
        cell.number_format = column.number_format
        cell.alignment = Alignment(horizontal=column.horizontal, vertical="center", indent=1)
        if column.is_input:
            cell.fill = _INPUT
    sheet.row_dimensions[row].height = 17


def addresses(sheet: Worksheet, row: int, column: str, heading: str, last: int) -> None:
    """Set off a column beside the table that holds what is asked of the service."""
    sheet[f"{column}{row}"] = heading
    for line in range(row, last + 1):
        sheet[f"{column}{line}"].font = Font(name=_FONT, size=8, color="7B878E")
        sheet[f"{column}{line}"].alignment = Alignment(horizontal="left", vertical="center")
    sheet.column_dimensions[column].width = 60


def choices_of(sheet: Worksheet, cells: str, choices: Sequence[str]) -> None:
    """Offer choices in cells."""
    validation = DataValidation("list", formula1=f'"{",".join(choices)}"', allow_blank=False)
    validation.add(cells)
    sheet.add_data_validation(validation)


def note(sheet: Worksheet, row: int, words: str) -> None:
    """Write a note below a table."""
    cell = sheet.cell(row, 1, words)
    cell.font = Font(name=_FONT, size=9, italic=True, color="5A6A73")


def print_setup(sheet: Worksheet, area: str, freeze: str) -> None:
    """Set what is printed and what stays in view."""
    sheet.print_area = area
    sheet.freeze_panes = freeze
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.paperSize = sheet.PAPERSIZE_A4
    sheet.page_setup.fitToWidth = 1
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    sheet.print_options.horizontalCentered = True
    sheet.page_margins.left = sheet.page_margins.right = 0.4
    sheet.oddFooter.center.text = "&A, page &P of &N"
