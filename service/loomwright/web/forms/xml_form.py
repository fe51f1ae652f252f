"""Answers as XML, without namespace, so that a path of names alone leads to a value."""

import re
from typing import Any
from xml.etree.ElementTree import Element, SubElement, tostring  # writes only  # nosec B405

import orjson

from loomwright.web.forms.paths import Path, value_at

ROOT = "answer"
ITEM = "item"
# XML 1.0, production 5 within ASCII and without colon; longer ones of JSON are no names here.
_NAME = re.compile(r"(?!xml)[A-Za-z_][A-Za-z0-9_.-]*", re.ASCII | re.IGNORECASE)
# XML 1.0, production 2: what may stand in a document at all.
_NO_CHARACTER = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def xml_of_part(document: dict[str, Any], path: Path) -> bytes:
    """Return the part of an answer at a path as XML.

    A member is an element of its name, an entry of a list an element ``item``, null an element
    without content. A member whose name is no XML name is an ``item`` with the attribute ``name``.
    The part stands below the same names as in the whole answer, so that one XPath leads to a value
    in either.

    Parameters
    ----------
    document
        The answer in plain JSON values.
    path
        Empty for all of it.

    Returns
    -------
    bytes
        UTF-8 with XML declaration, root element ``answer``.
    """
    root = Element(ROOT)
    place = root
    for step in path:
        place = SubElement(place, ITEM) if step.isdecimal() else _member(place, step)
    _fill(place, value_at(document, path))
    return _written(root)


def xml_of_error(line: str) -> bytes:
    """Return the line of an error as the XML element ``error``."""
    root = Element("error")
    root.text = _characters(line)
    return _written(root)


def _written(root: Element) -> bytes:
    # The library leaves the declaration out for UTF-8, which some readers then do not assume.
    body: bytes = tostring(root, encoding="utf-8")
    return b'<?xml version="1.0" encoding="UTF-8"?>\n' + body


def _fill(element: Element, value: Any) -> None:
    if isinstance(value, dict):
        for name, entry in value.items():
            _fill(_member(element, name), entry)
    elif isinstance(value, list):
        for entry in value:
            _fill(SubElement(element, ITEM), entry)
    elif isinstance(value, str):
        element.text = _characters(value)
    elif value is not None:
        element.text = orjson.dumps(value).decode()


def _member(element: Element, name: str) -> Element:
    if _NAME.fullmatch(name):
        return SubElement(element, name)
    return SubElement(element, ITEM, {"name": _characters(name)})


def _characters(text: str) -> str:
    return _NO_CHARACTER.sub(" ", text)
