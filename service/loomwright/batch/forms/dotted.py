"""Documents as rows of dotted columns, such as ``circuits.amplifier_feed.route.0.length``.

A column is named by the names of members on the way from the document. Items of a list of objects
are named by their key where keys are unique in it, and by their number from 0 where not. In a key
``~1`` stands for a dot and ``~0`` for a tilde, as in JSON pointers (RFC 6901) for the slash. An
empty cell stands for what is absent, and an item whose cells are all empty is absent. A column may
also stop at an object or a list, whose cells hold it as a whole (``cell_forms``).

Items that have keys stand in the order of their first columns that are filled. A document that has
them in another order than the header holds such lists as a whole.
"""

import difflib
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from loomwright.batch.forms.cell_forms import (
    form_message,
    plain_value,
    text_of_value,
    value_of_text,
)
from loomwright.pricing.members import Member, Record, Records

_INDEX = re.compile(r"0|[1-9][0-9]{0,3}", re.ASCII)
# Cells of a column repeat; a length in centimetres has some thousand values.
_MOST_KNOWN = 4096
_STATED_TWICE = "State it either in this column or in those below it."


class UnknownColumnError(ValueError):
    """A column that stands for no member, with what would be accepted.

    Parameters
    ----------
    message
        In sentences.
    depth
        Parts of its name that do stand for something.
    """

    def __init__(self, message: str, depth: int = 0) -> None:
        super().__init__(message)
        self.depth = depth


@dataclass(slots=True, eq=False)
class _Node:
    """A member or an item that has columns, or whose parts have.

    Parameters
    ----------
    holder
        What it is within; none for the document.
    token
        Its name, key or number there.
    rule
        Of the member, or of the list that it is an item of.
    path
        Dotted.
    is_list
        Whether it is a list of items.
    """

    holder: "_Node | None"
    token: str | int
    rule: Member
    path: str
    is_list: bool
    parts: "dict[str | int, _Node]" = field(default_factory=dict)

    def part(self, token: str | int, rule: Member, path: str, *, is_item: bool = False) -> "_Node":
        """Return a part, a new one where there is none yet."""
        found = self.parts.get(token)
        if found is None:
            is_list = isinstance(rule, Records) and not is_item
            found = self.parts[token] = _Node(self, token, rule, path, is_list)
        return found


# Objects of one row by their node; of a list the objects of its items by their key or number.
_Made = dict[_Node, dict[Any, Any]]


@dataclass(slots=True)
class _Cells:
    """The cells of one column: rule, name, and the values of those that were read already."""

    rule: Member
    name: str
    known: dict[str, tuple[Any, str | None]] = field(default_factory=dict)

    def read(self, cell: Any) -> tuple[Any, str | None]:
        """Return value and fault of a cell, none for an absent value."""
        if not isinstance(cell, str):
            value = plain_value(self.rule, cell)
            if not isinstance(value, str):
                return value, form_message(self.rule, value)
            cell = value
        found = self.known.get(cell)
        if found is None:
            value = value_of_text(self.rule, cell)
            found = value, form_message(self.rule, value)
            if len(self.known) < _MOST_KNOWN and len(cell) <= 100:
                self.known[cell] = found
        return found


class Columns:
    """The columns of a table against a document.

    Parameters
    ----------
    record
        Rules of the document.
    """

    def __init__(self, record: Record) -> None:
        self._document = _Node(None, "", record, "", is_list=False)
        self._cells: list[tuple[int, _Cells, _Node]] = []

    def add(self, index: int, name: str) -> None:
        """Add a column.

        Parameters
        ----------
        index
            Of its cell in each row.
        name
            Dotted.

        Raises
        ------
        UnknownColumnError
            It stands for no member.
        """
        node = self._node(name)
        self._cells.append((index, _Cells(node.rule, name), node))

    def document(self, row: Sequence[Any]) -> tuple[dict[str, Any], list[str]]:
        """Return the document of a row.

        Parameters
        ----------
        row
            Cells by the index of their column: text, a typed value, or none.

        Returns
        -------
        tuple of dict and list of str
            Document and faults, which name the column; a cell at fault is left out.
        """
        document: dict[str, Any] = {}
        made: _Made = {self._document: document}
        faults: list[str] = []
        for index, cells, node in self._cells:
            cell = row[index]
            if cell is None or cell == "":
                continue
            value, message = cells.read(cell)
            if message is None:
                assert node.holder is not None
                _put(node, value, made.get(node.holder) or _made(node.holder, made, faults), faults)
            else:
                faults.append(f"column {cells.name}: {message}")
        for node, items in made.items():
            if node.is_list:
                assert node.holder is not None
                holder = made[node.holder]
                # Where the cell of the whole list is filled too, that is a fault already.
                if holder[node.token] is items:
                    holder[node.token] = _list(node, items, faults)
        return document, faults

    def _node(self, name: str) -> _Node:
        node, rest = self._document, name.split(".")
        while True:
            token = rest.pop(0)
            assert isinstance(node.rule, Record | Records)
            members = node.rule.members
            if token not in members:
                depth = len(node.path.split(".")) if node.path else 0
                raise UnknownColumnError(_advice(name, node.path, token, members), depth)
            node = node.part(token, members[token], f"{node.path}.{token}".removeprefix("."))
            if not rest:
                return node
            if isinstance(node.rule, Records) and len(rest) > 1:
                token = rest.pop(0)
                item = _item(name, node, token)
                node = node.part(item, node.rule, f"{node.path}.{token}", is_item=True)
            elif not isinstance(node.rule, Record):
                raise UnknownColumnError(_advice_behind(name, node), node.path.count(".") + 1)


def _put(node: _Node, value: Any, holder: dict[Any, Any], faults: list[str]) -> None:
    if node.token in holder:
        faults.append(f"column {node.path}: {_STATED_TWICE}")
    else:
        holder[node.token] = value


def _made(node: _Node, made: _Made, faults: list[str]) -> dict[Any, Any]:
    """Return the object of a node in a row, made with all that it is within if need be."""
    found = made.get(node)
    if found is None:
        found = made[node] = {}
        assert node.holder is not None
        _put(node, found, _made(node.holder, made, faults), faults)
    return found


def _list(node: _Node, items: dict[Any, dict[str, Any]], faults: list[str]) -> list[Any]:
    assert isinstance(node.rule, Records)
    unique = node.rule.unique
    if unique:
        for item, found in items.items():
            if found.setdefault(unique, item) != item:
                column = f"{node.path}.{_escaped(item)}.{unique}"
                faults.append(f"column {column}: {item} is needed, as in the name of the column.")
        return list(items.values())
    if len(items) != max(items) + 1:
        first = next(index for index in range(len(items)) if index not in items)
        faults.append(f"column {node.path}.{first}: It is empty, and a later item is not.")
    return [items[index] for index in sorted(items)]


def _item(name: str, node: _Node, token: str) -> str | int:
    assert isinstance(node.rule, Records)
    if node.rule.unique:
        return _unescaped(token)
    if not _INDEX.fullmatch(token) or int(token) >= node.rule.most:
        message = f"A number from 0 to {node.rule.most - 1} is needed, not {token}."
        raise UnknownColumnError(f"{_unknown(name)} {message}", node.path.count(".") + 1)
    return int(token)


def _unknown(name: str) -> str:
    return f"Unknown column {name}."


def _advice(name: str, path: str, token: str, members: Mapping[str, Member]) -> str:
    near = difflib.get_close_matches(token, members, 1)
    behind = f" behind {path}" if path else ""
    words = "Is this meant" if near else "One of these is needed"
    end = "?" if near else "."
    return f"{_unknown(name)} {words}{behind}: {', '.join(near or sorted(members))}{end}"


def _advice_behind(name: str, node: _Node) -> str:
    if not isinstance(node.rule, Records):
        return f"{_unknown(name)} {node.path} has no parts."
    which = f"the {node.rule.unique} of an item" if node.rule.unique else "the number of an item"
    return f"{_unknown(name)} Behind {node.path} {which} and the name of a member are needed."


def _escaped(key: str) -> str:
    return key.replace("~", "~0").replace(".", "~1")


def _unescaped(token: str) -> str:
    return token.replace("~1", ".").replace("~0", "~")


def cells_of_document(
    document: Mapping[str, Any], record: Record, *, keys_in_columns: bool = True
) -> dict[str, str]:
    """Return the cells of a document by their column.

    Parameters
    ----------
    document
        Of right form, which need not say that its values are in bounds.
    record
        Its rules.
    keys_in_columns
        Whether items that have keys get columns of their own; lists of them stand in one cell
        otherwise, whatever their order.

    Returns
    -------
    dict
        From dotted names to texts, none of them empty.

    Raises
    ------
    ValueError
        A member is unknown.
    """
    return dict(_cells(document, record.members, "", keys_in_columns))


def _cells(
    stated: Mapping[str, Any], members: Mapping[str, Member], before: str, keys_in_columns: bool
) -> Iterator[tuple[str, str]]:
    for name, value in stated.items():
        if name not in members:
            raise ValueError(_advice(before + name, before.removesuffix("."), name, members))
        rule, path = members[name], f"{before}{name}"
        if isinstance(rule, Record) and value and isinstance(value, Mapping):
            yield from _cells(value, rule.members, f"{path}.", keys_in_columns)
        elif isinstance(rule, Records) and _has_columns(rule, value, keys_in_columns):
            for number, item in enumerate(value):
                token = _escaped(item[rule.unique]) if rule.unique else str(number)
                # The name of the column says the key, unless there is nothing else to say.
                rest = {each: item[each] for each in item if each != rule.unique} or item
                yield from _cells(rest, rule.members, f"{path}.{token}.", keys_in_columns)
        else:
            yield path, text_of_value(rule, value)


def _has_columns(rule: Records, value: Any, keys_in_columns: bool) -> bool:
    if not isinstance(value, list) or not value or len(value) > rule.most:
        return False
    if not all(isinstance(item, Mapping) and item for item in value):
        return False
    if not rule.unique:
        return True
    keys = [item.get(rule.unique) for item in value]
    return keys_in_columns and all(keys) and len(set(keys)) == len(keys)


def table_of_documents(
    documents: Sequence[Mapping[str, Any]], record: Record
) -> tuple[list[str], list[list[str]]]:
    """Return documents as a table of dotted columns.

    Parameters
    ----------
    documents
        Of right form.
    record
        Their rules.

    Returns
    -------
    tuple of list and list
        Header and rows of texts; what is absent is an empty one.
    """
    rows = [cells_of_document(document, record) for document in documents]
    header = list({name: None for row in rows for name in row})
    columns = Columns(record)
    for index, name in enumerate(header):
        columns.add(index, name)
    for index, document in enumerate(documents):
        read, _ = columns.document([rows[index].get(name) for name in header])
        if read != document:
            # Its items stand in another order than those of an earlier one.
            rows[index] = cells_of_document(document, record, keys_in_columns=False)
    # Columns of their own stand behind, so that the order of the others stays.
    header = list(dict.fromkeys([*header, *(name for row in rows for name in row)]))
    return header, [[row.get(name, "") for name in header] for row in rows]
