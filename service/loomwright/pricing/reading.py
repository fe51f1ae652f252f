"""Reading of plain JSON documents, with every fault noted beside its JSON pointer."""

import re
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from datetime import date, datetime
from decimal import Decimal
from typing import TypeVar

from loomwright.pricing.faults import Fault, pointer_token
from loomwright.pricing.members import (
    DATE_PATTERN,
    DECIMAL_PATTERN,
    INSTANT_PATTERN,
    TEXT_LIMIT,
    TEXT_PATTERN,
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
    is_required,
)
from loomwright.pricing.stated_numbers import QuantityText, number_needed, stated_number

_DECIMAL = re.compile(DECIMAL_PATTERN, re.ASCII)
_TEXT = re.compile(TEXT_PATTERN)
_DATE = re.compile(DATE_PATTERN, re.ASCII)
_INSTANT = re.compile(INSTANT_PATTERN, re.ASCII)
_TEXT_NEEDED = f"A text of 1 to {TEXT_LIMIT} printable characters is needed, the first no space."
REPEATED = "The same value stands earlier in the list; it is unique."
_Rule = TypeVar("_Rule", bound=Member)
_Moment = TypeVar("_Moment", date, datetime)


class ObjectReader:
    """Reader of the members of one JSON object, each under its own rule.

    Each method notes a fault and hands back a harmless stand-in, so that reading goes on and all
    faults are found at once; the caller raises ``DocumentError`` if any was noted and so never
    lets a stand-in out. ``null`` is a value like any other and serves for no member.

    Parameters
    ----------
    value
        The value that ought to be an object.
    pointer
        Its JSON pointer.
    faults
        List to which faults are added.
    members
        Rules by name of the members that the object may have.
    quantity_text
        Reader of quantities with a unit; without one, only numbers are quantities.
    """

    def __init__(
        self,
        value: object,
        pointer: str,
        faults: list[Fault],
        members: Mapping[str, Member],
        quantity_text: QuantityText | None = None,
    ) -> None:
        self.pointer = pointer
        self.faults = faults
        self._members = members
        self._quantity_text = quantity_text
        self._values: Mapping[str, object] = {}
        # A dict is looked for first, as the parser makes them and the answer for others takes long.
        if not isinstance(value, (dict, Mapping)):
            self.fault(None, "An object is needed.")
            # What is no object lacks all its members; one fault says so.
            self.faults = []
            return
        self._values = value
        if value.keys() <= members.keys():
            return
        for name in value:
            if name not in members:
                self.fault(name, "Unknown member; remove it or check its spelling.")

    def path(self, name: object) -> str:
        """Return the JSON pointer of a member."""
        return f"{self.pointer}/{pointer_token(name)}"

    def fault(self, name: object | None, message: str) -> None:
        """Note a fault at a member, or at the object itself for ``None``."""
        self.faults.append(Fault(self.pointer if name is None else self.path(name), message))

    def fault_at(self, name: str, index: int, message: str) -> None:
        """Note a fault at an item of a member that is an array."""
        self.faults.append(Fault(f"{self.path(name)}/{index}", message))

    def has(self, name: str) -> bool:
        """Return whether a member is present."""
        return name in self._values

    def stated(self, name: str) -> object:
        """Return a member's value as it stands, ``None`` where it is absent."""
        return self._values.get(name)

    def _rule(self, name: str, kind: type[_Rule]) -> _Rule:
        rule = self._members[name]
        assert isinstance(rule, kind)
        return rule

    def _note_absence(self, name: str) -> None:
        """Note a fault at a member that is absent, if it is required."""
        if is_required(self._members[name]):
            self.fault(name, "Missing; it is required.")

    def text(self, name: str, default: str | None = None) -> str:
        """Return a text; a default stands in for that of the rule."""
        rule = self._members[name]
        assert isinstance(rule, Text)
        fall_back = rule.default if default is None else default
        if fall_back is not None and name not in self._values:
            return fall_back
        if name not in self._values:
            self._note_absence(name)
            return ""
        value = self._values[name]
        if not isinstance(value, str):
            self.fault(name, "A text is needed.")
            return ""
        if not is_text(value):
            self.fault(name, _TEXT_NEEDED)
        return value

    def choice(
        self, name: str, default: str | None = None, among: tuple[str, ...] | None = None
    ) -> str:
        """Return a text out of the closed list of its rule, or of a narrower one."""
        rule = self._members[name]
        assert isinstance(rule, Choice)
        fall_back = rule.default if default is None else default
        if fall_back is not None and name not in self._values:
            return fall_back
        if name not in self._values:
            self._note_absence(name)
            return ""
        value = self._values[name]
        if not isinstance(value, str) or value not in rule.choices:
            self.fault(name, rule.words or _one_of(among or rule.choices))
            return ""
        if among is not None and value not in among:
            self.fault(name, f"Not of what stands beside it. {_one_of(among)}")
            return ""
        return value

    def choices(self, name: str) -> tuple[str, ...]:
        """Return the texts of an array, each out of a closed list and at most once."""
        rule = self._rule(name, Choices)
        return self._texts(name, rule, rule.choices.__contains__, lambda: _one_of(rule.choices))

    def texts(self, name: str) -> tuple[str, ...]:
        """Return the texts of an array, each at most once."""
        return self._texts(name, self._rule(name, Texts), is_text, lambda: _TEXT_NEEDED)

    def _texts(
        self,
        name: str,
        rule: Choices | Texts,
        is_right: Callable[[object], bool],
        wanted: Callable[[], str],
    ) -> tuple[str, ...]:
        if name not in self._values:
            self._note_absence(name)
            return ()
        value = self._values[name]
        if not isinstance(value, list | tuple) or not rule.least <= len(value) <= rule.most:
            self.fault(name, f"An array of {rule.least} to {rule.most} items is needed.")
            return ()
        for index, item in enumerate(value):
            if not isinstance(item, str) or not is_right(item):
                self.fault_at(name, index, wanted())
            elif item in value[:index]:
                self.fault_at(name, index, REPEATED)
        return tuple(map(str, value))

    def date(self, name: str) -> date | None:
        """Return a calendar date, or ``None`` where it is absent."""
        self._rule(name, DateText)
        return self._moment(name, _DATE, date.fromisoformat, 'calendar date such as "2031-04-30"')

    def instant(self, name: str) -> datetime | None:
        """Return an instant with its offset, or ``None`` where it is absent."""
        self._rule(name, InstantText)
        words = 'time with its offset such as "2031-04-30T08:00:00+02:00"'
        return self._moment(name, _INSTANT, datetime.fromisoformat, words)

    def _moment(
        self, name: str, pattern: re.Pattern[str], read: Callable[[str], _Moment], words: str
    ) -> _Moment | None:
        if name not in self._values:
            self._note_absence(name)
            return None
        value = self._values[name]
        if isinstance(value, str) and pattern.fullmatch(value):
            with suppress(ValueError):
                return read(value)
        self.fault(name, f"A {words} is needed.")
        return None

    def number_choice(self, name: str) -> float:
        """Return a number out of a closed list, given as number or as text with its unit."""
        rule = self._members[name]
        assert isinstance(rule, NumberChoice)
        if name not in self._values:
            self._note_absence(name)
            return 0.0
        value = self._values[name]
        for number in rule.numbers:
            if value in (number, f"{number} {rule.unit}"):
                return float(number)
        listed = ", ".join(map(str, rule.numbers))
        self.fault(
            name, f"One of these numbers is needed, in {rule.unit} or with that unit: {listed}."
        )
        return 0.0

    def decimal(self, name: str) -> Decimal:
        """Return an exact decimal from a text such as ``"12.50"``."""
        rule = self._members[name]
        assert isinstance(rule, DecimalText)
        if rule.default is not None and name not in self._values:
            return rule.default
        if name not in self._values:
            self._note_absence(name)
            return rule.lower
        value = self._values[name]
        if not isinstance(value, str) or not _DECIMAL.fullmatch(value):
            self.fault(name, 'A decimal string such as "12.50" is needed, up to six decimals.')
            return rule.lower
        number = Decimal(value)
        if not rule.lower <= number <= rule.upper:
            self.fault(name, f"A decimal from {rule.lower:f} to {rule.upper:f} is needed.")
        return number

    def number(self, name: str) -> float:
        """Return a finite number within the bounds of its rule, in the stated unit."""
        rule = self._members[name]
        assert isinstance(rule, Number)
        if rule.default is not None and name not in self._values:
            return rule.default
        if name not in self._values:
            self._note_absence(name)
            return rule.lower
        value = self._values[name]
        read = stated_number(rule, value, self._quantity_text)
        if read is None:
            self.fault(name, number_needed(rule, value, self._quantity_text))
            return rule.lower
        return read

    def optional_decimal(self, name: str) -> Decimal | None:
        """Return an exact decimal, or ``None`` where it is absent."""
        return self.decimal(name) if name in self._values else None

    def optional_whole(self, name: str) -> int | None:
        """Return a whole number, or ``None`` where it is absent."""
        return self.whole(name) if name in self._values else None

    def optional_number(self, name: str) -> float | None:
        """Return a number, or ``None`` where it is absent."""
        return self.number(name) if name in self._values else None

    def optional_text(self, name: str) -> str | None:
        """Return a text, or ``None`` where it is absent."""
        return self.text(name) if name in self._values else None

    def whole(self, name: str) -> int:
        """Return a whole number within the bounds of its rule."""
        rule = self._members[name]
        assert isinstance(rule, Whole)
        if rule.default is not None and name not in self._values:
            return rule.default
        if name not in self._values:
            self._note_absence(name)
            return rule.lower
        value = self._values[name]
        is_whole = isinstance(value, int) or (isinstance(value, float) and value.is_integer())
        if isinstance(value, bool) or not is_whole or not rule.lower <= value <= rule.upper:  # type: ignore[operator]
            self.fault(name, f"A whole number from {rule.lower} to {rule.upper} is needed.")
            return rule.lower
        return int(value)  # type: ignore[call-overload,no-any-return]

    def truth(self, name: str) -> bool:
        """Return true or false."""
        rule = self._members[name]
        assert isinstance(rule, Truth)
        value = self._values.get(name, rule.default)
        if not isinstance(value, bool):
            self.fault(name, "true or false is needed.")
            return rule.default
        return value

    def object(self, name: str, members: Mapping[str, Member] | None = None) -> "ObjectReader":
        """Return a reader of a member object, under the rules given or those of its own rule."""
        rules = self._rule(name, Record).members if members is None else members
        if name not in self._values:
            self._note_absence(name)
            # A missing object is already noted; an empty reader would list its members again.
            return ObjectReader({}, self.path(name), [], rules)
        value = self._values[name]
        return ObjectReader(value, self.path(name), self.faults, rules, self._quantity_text)

    def objects(self, name: str) -> "list[ObjectReader]":
        """Return readers of the objects of an array; noted where a unique member repeats."""
        rule = self._members[name]
        assert isinstance(rule, Records)
        if name not in self._values:
            if rule.least > 0:
                self._note_absence(name)
            return []
        value = self._values[name]
        if not isinstance(value, list | tuple):
            self.fault(name, "An array is needed.")
            return []
        if not rule.least <= len(value) <= rule.most:
            self.fault(name, f"An array of {rule.least} to {rule.most} items is needed.")
            return []
        path = self.path(name)
        readers = [
            ObjectReader(item, f"{path}/{index}", self.faults, rule.members, self._quantity_text)
            for index, item in enumerate(value)
        ]
        if rule.unique:
            _refuse_duplicates(readers, rule.unique)
        return readers


def is_text(value: object) -> bool:
    """Return whether a value is text that a document may hold, see ``Text``."""
    if not isinstance(value, str) or not 0 < len(value) <= TEXT_LIMIT:
        return False
    # What Python takes for printable is; what else may stand in a text the pattern says.
    return (value.isprintable() and value[0] != " ") or bool(_TEXT.fullmatch(value))


def _one_of(choices: Sequence[str]) -> str:
    return f"One of these is needed: {', '.join(choices)}."


def _refuse_duplicates(readers: Sequence[ObjectReader], name: str) -> None:
    seen: set[str] = set()
    for reader in readers:
        value = reader.stated(name)
        if isinstance(value, str) and value and value in seen:
            reader.fault(name, REPEATED)
        elif isinstance(value, str):
            seen.add(value)
