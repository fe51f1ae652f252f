"""Documents as rows of dotted columns, such as ``circuits.amplifier_feed.route.0.length``.

A column is named by the names of members on the way from the document. Items of a list of objects
are named by their key where keys are unique in it, and by their number from 0 where not. In a key
``~1`` stands for a dot and ``~0`` for a tilde, as in JSON pointers (RFC 6901) for the slash. An
empty cell stands for what is absent, and an item whose cells are all empty is absent. A column may
also stop at an object or a list, whose cells hold it as a whole (``cell_forms``).

Items that have keys stand in the order of the columns. A document that has them in another order
than the header holds such lists as a whole.
"""

import difflib
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from loomwright.batch.cell_forms import form_message, plain_value, text_of_value, value_of_text
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


@dataclass(slots=True)
class _Slot:
    """What the columns below a member make up: the cell of the member itself, and its parts."""

    rule: Member
    path: str
    column: int | None = None
    parts: "dict[str, _Slot]" = field(default_factory=dict)
    items: "dict[str | int, dict[str, _Slot]]" = field(default_factory=dict)


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
        self._record = record
        self._slots: dict[str, _Slot] = {}
        self._cells: list[tuple[int, _Cells]] = []

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
        slot = self._slot(name)
        slot.column = index
        self._cells.append((index, _Cells(slot.rule, name)))

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
        values: dict[int, Any] = {}
        faults: list[str] = []
        for index, cells in self._cells:
            cell = row[index]
            if cell is None or cell == "":
                continue
            value, message = cells.read(cell)
            if message is None:
                values[index] = value
            else:
                faults.append(f"column {cells.name}: {message}")
        made = _object(self._slots, values, faults)
        return made or {}, faults

    def _slot(self, name: str) -> _Slot:
        slots, members = self._slots, self._record.members
        rest, done = name.split("."), list[str]()
        while True:
            token = rest.pop(0)
            if token not in members:
                raise UnknownColumnError(_advice(name, done, token, members), len(done))
            rule = members[token]
            done.append(token)
            slot = slots.setdefault(token, _Slot(rule, ".".join(done)))
            if not rest:
                return slot
            if isinstance(rule, Record):
                slots, members = slot.parts, rule.members
            elif isinstance(rule, Records) and len(rest) > 1:
                item = _item(name, rule, rest.pop(0), len(done))
                done.append(str(item))
                slots, members = slot.items.setdefault(item, {}), rule.members
            else:
                raise UnknownColumnError(_advice_behind(name, slot), len(done))


def _item(name: str, rule: Records, token: str, depth: int) -> str | int:
    if rule.unique:
        return _unescaped(token)
    if not _INDEX.fullmatch(token) or int(token) >= rule.most:
        message = f"{_unknown(name)} A number from 0 to {rule.most - 1} is needed, not {token}."
        raise UnknownColumnError(message, depth)
    return int(token)


def _unknown(name: str) -> str:
    return f"Unknown column {name}."


def _advice(name: str, done: Sequence[str], token: str, members: Mapping[str, Member]) -> str:
    near = difflib.get_close_matches(token, members, 1)
    listed = near if near else sorted(members)
    behind = f" behind {'.'.join(done)}" if done else ""
    words = "Is this meant" if near else "One of these is needed"
    end = "?" if near else "."
    return f"{_unknown(name)} {words}{behind}: {', '.join(listed)}{end}"


def _advice_behind(name: str, slot: _Slot) -> str:
    if not isinstance(slot.rule, Records):
        return f"{_unknown(name)} {slot.path} has no parts."
    which = f"the {slot.rule.unique} of an item" if slot.rule.unique else "the number of an item"
    return f"{_unknown(name)} Behind {slot.path} {which} and the name of a member are needed."


def _object(
    slots: Mapping[str, _Slot], values: Mapping[int, Any], faults: list[str]
) -> dict[str, Any] | None:
    """Return the object of a row, none where all its cells are empty."""
    made = {}
    for name, slot in slots.items():
        value = _value(slot, values, faults)
        if value is not None:
            made[name] = value
    return made or None


def _value(slot: _Slot, values: Mapping[int, Any], faults: list[str]) -> Any:
    parts: Any = None
    if slot.parts:
        parts = _object(slot.parts, values, faults)
    elif slot.items:
        parts = _list(slot, values, faults)
    whole = None if slot.column is None else values.get(slot.column)
    if whole is None:
        return parts
    if parts is not None:
        faults.append(f"column {slot.path}: {_STATED_TWICE}")
    return whole


def _list(slot: _Slot, values: Mapping[int, Any], faults: list[str]) -> list[dict[str, Any]] | None:
    assert isinstance(slot.rule, Records)
    unique, made = slot.rule.unique, {}
    for item, parts in slot.items.items():
        found = _object(parts, values, faults)
        if found is None:
            continue
        if unique and found.setdefault(unique, item) != item:
            column = f"{slot.path}.{_escaped(str(item))}.{unique}"
            faults.append(f"column {column}: {item} is needed, as in the name of the column.")
        made[item] = found
    if not unique and len(made) != max(made, default=-1) + 1:  # type: ignore[operator]
        first = next(index for index in range(len(made)) if index not in made)
        faults.append(f"column {slot.path}.{first}: It is empty, and a later item is not.")
    return [made[item] for item in (made if unique else sorted(made))] or None


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
            raise ValueError(_advice(before + name, [], name, members))
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
