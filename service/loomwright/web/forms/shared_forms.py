"""The forms that every calculator has."""

from dataclasses import replace
from functools import partial

from marshmallow import Schema

from loomwright.web.forms.csv_form import csv_of_part
from loomwright.web.forms.form import GREATEST_CHARACTERS, JSON_NAME, Form
from loomwright.web.forms.text_form import text_of_part
from loomwright.web.forms.xml_form import xml_of_part

JSON = Form(JSON_NAME, "application/json", "The whole answer.")
TEXT = Form(
    "text",
    "text/plain",
    "One value of the answer as UTF-8 text, `none` where it is null; `field` says which.",
    encode_part=text_of_part,
    parameters="; charset=utf-8",
    greatest_characters=GREATEST_CHARACTERS,
)
CSV = Form(
    "csv",
    "text/csv",
    "The answer as rows of path and value; with `field`, that part of it. A list of objects, and "
    "`candidates`, make a row of each entry.",
    parameters="; charset=utf-8; header=present",
    greatest_characters=GREATEST_CHARACTERS,
)
XML = Form(
    "xml",
    "application/xml",
    "The answer, or the part that `field` names, as elements without namespace below `answer`; an "
    "entry of a list is an `item`.",
    encode_part=xml_of_part,
    greatest_characters=GREATEST_CHARACTERS,
)


def calculator_forms(answer: type[Schema]) -> tuple[Form, ...]:
    """Return the forms of a calculator, JSON first.

    Parameters
    ----------
    answer
        Schema of its answer, which says which parts are tables and what their columns are.

    Returns
    -------
    tuple of Form
        JSON, text, CSV and XML.
    """
    return JSON, TEXT, replace(CSV, encode_part=partial(csv_of_part, answer)), XML
