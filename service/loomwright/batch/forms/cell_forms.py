"""Cells of dotted columns against the members that they stand for.

A cell of text is read as in CSV price books (``loomwright.pricing.cells``): numbers as in JSON,
quantities also with their unit, ``true`` or ``false``, lists of texts with a space between them,
all else as it stands. ``[]`` is a list without items. A whole object or a whole list of objects may
stand in one cell as JSON text.
"""

from collections.abc import Callable, Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any

import orjson

from loomwright.pricing.cells import cell_of_value, value_of_cell
from loomwright.pricing.faults import Fault
from loomwright.pricing.members import (
    Choice,
    Choices,
    DateText,
    DecimalText,
    InstantText,
    Member,
    Number,
    NumberChoice,
    Record,
    Records,
    Text,
    Texts,
    Truth,
    Whole,
)
from loomwright.pricing.reading import ObjectReader
from loomwright.unique_members import DuplicateMemberError, json_of_unique_members
from loomwright.units import KINDS, quantity_text

EMPTY_LIST = "[]"
_LISTS = (Texts, Choices)
_NUMBERS = (Number, NumberChoice, Whole)
_READERS: Mapping[type[Member], Callable[[ObjectReader, str], object]] = {
    Choice: ObjectReader.choice,
    Choices: ObjectReader.choices,
    DateText: ObjectReader.date,
    DecimalText: ObjectReader.decimal,
    InstantText: ObjectReader.instant,
    Number: ObjectReader.number,
    NumberChoice: ObjectReader.number_choice,
    Texts: ObjectReader.texts,
    Truth: ObjectReader.truth,
    Whole: ObjectReader.whole,
}


def value_of_text(rule: Member, cell: str) -> Any:
    """Return the JSON value that a cell of text stands for.

    Parameters
    ----------
    rule
        Of the member.
    cell
        Not empty.

    Returns
    -------
    object
        The value; what is of no right form stays text.
    """
    if isinstance(rule, Record | Records):
        try:
            return json_of_unique_members(cell)
        except orjson.JSONDecodeError:
            return cell
    if isinstance(rule, _LISTS) and cell == EMPTY_LIST:
        return []
    return value_of_cell(rule, cell)


def text_of_value(rule: Member, value: Any) -> str:
    """Return the cell of text that stands for a JSON value of right form.

    Parameters
    ----------
    rule
        Of the member.
    value
        What the document states.

    Returns
    -------
    str
        ``value_of_text`` makes the value of it.
    """
    if isinstance(rule, Record | Records):
        return orjson.dumps(value).decode()
    if isinstance(rule, _LISTS):
        if not value:
            return EMPTY_LIST
        # What would be read as no items is quoted.
        return f'"{EMPTY_LIST}"' if value == [EMPTY_LIST] else cell_of_value(rule, value)
    return cell_of_value(rule, value)


def plain_value(rule: Member | None, value: Any) -> Any:
    """Return a value of a typed column as JSON has it; what is null in an object is left out.

    Parameters
    ----------
    rule
        Of the member, none where no member has that name.
    value
        Not null.

    Returns
    -------
    object
        The value.
    """
    if isinstance(value, Mapping):
        members = rule.members if isinstance(rule, Record | Records) else {}
        return {
            name: plain_value(members.get(name), each)
            for name, each in value.items()
            if each is not None
        }
    if isinstance(value, list):
        return [plain_value(rule, each) for each in value]
    if isinstance(value, date | datetime):
        return value.isoformat()
    if isinstance(value, Decimal):
        return _number(value) if isinstance(rule, _NUMBERS) else f"{value:f}"
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if is_number and isinstance(rule, Text | DecimalText):
        # Files of other programs keep keys and amounts as numbers where all of them look like one.
        return f"{Decimal(repr(value)):f}".removesuffix(".0")
    return value


def _number(value: Decimal) -> float:
    return int(value) if value == value.to_integral_value() else float(value)


def form_message(rule: Member, value: Any) -> str | None:
    """Return what is wrong with the form of a value, if anything is.

    Bounds are left to the reader of the job, as for any other form of a batch.

    Parameters
    ----------
    rule
        Of the member.
    value
        As ``value_of_text`` or ``plain_value`` gives it.

    Returns
    -------
    str or None
        What would be accepted.
    """
    if isinstance(rule, Record):
        return None if isinstance(value, dict) else _not_read(value, "An object")
    if isinstance(rule, Records):
        return None if isinstance(value, list) else _not_read(value, "A list of objects")
    if isinstance(rule, Text):
        return None if isinstance(value, str) else "A text is needed."
    if isinstance(rule, Number | Whole) and _is_figure(rule, value):
        return None
    read = _READERS.get(type(rule))
    if read is None:
        return None
    faults: list[Fault] = []
    read(ObjectReader({"": value}, "", faults, {"": rule}, quantity_text), "")
    return f"{faults[0].message}{_units(rule)}" if faults else None


def _not_read(value: Any, needed: str) -> str:
    if isinstance(value, str):
        try:
            json_of_unique_members(value)
        except DuplicateMemberError as error:
            return f"Members are {error.msg}."
        except orjson.JSONDecodeError as error:
            return f"{needed} is needed, as JSON text; not JSON: {error}."
    return f"{needed} is needed, as JSON text."


def _is_figure(rule: Number | Whole, value: Any) -> bool:
    if isinstance(value, str) and isinstance(rule, Number) and rule.quantity:
        return quantity_text(rule.quantity, value) is not None
    return isinstance(value, int | float) and not isinstance(value, bool)


def _units(rule: Member) -> str:
    if not isinstance(rule, Number) or not rule.quantity:
        return ""
    return f" Or a number with one of these units: {', '.join(KINDS[rule.quantity].units)}."
