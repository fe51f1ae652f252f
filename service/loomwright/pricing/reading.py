"""Reading of plain JSON documents, with every fault noted beside its JSON pointer."""

import math
import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

DECIMAL_PATTERN = r"^(0|[1-9][0-9]{0,8})(\.[0-9]{1,6})?$"
_DECIMAL = re.compile(DECIMAL_PATTERN, re.ASCII)
TEXT_LIMIT = 200
# Quantity and text such as "16 ft" -> number in the stated unit, or None if it is not of that form.
QuantityText = Callable[[str, str], float | None]
_REQUIRED: object = object()


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with a document.

    ``pointer`` is a JSON pointer (RFC 6901) from the root of the document that was read.
    """

    pointer: str
    message: str


class DocumentError(ValueError):
    """A document that cannot be used, with every fault found in it.

    Parameters
    ----------
    subject
        What was read: ``price_book`` or ``job``.
    faults
        All faults, in document order.
    """

    def __init__(self, subject: str, faults: Sequence[Fault]) -> None:
        listed = "; ".join(f"{fault.pointer or '/'}: {fault.message}" for fault in faults)
        super().__init__(f"The {subject} has {len(faults)} fault(s). {listed}")
        self.subject = subject
        self.faults = tuple(faults)


def pointer_token(name: object) -> str:
    """Return a member name or index escaped for a JSON pointer.

    Parameters
    ----------
    name
        Member name or array index.

    Returns
    -------
    str
        The reference token.

    References
    ----------
    RFC 6901, clause 3.
    """
    return str(name).replace("~", "~0").replace("/", "~1")


class ObjectReader:
    """Reader of the members of one JSON object.

    Each method notes a fault and hands back a harmless stand-in, so that reading goes on and all
    faults are found at once; the caller raises ``DocumentError`` if any was noted and so never
    lets a stand-in out.

    Parameters
    ----------
    value
        The value that ought to be an object.
    pointer
        Its JSON pointer.
    faults
        List to which faults are added.
    members
        Names that the object may have.
    quantity_text
        Reader of quantities with a unit; without one, only numbers are quantities.
    """

    def __init__(
        self,
        value: object,
        pointer: str,
        faults: list[Fault],
        members: Collection[str],
        quantity_text: QuantityText | None = None,
    ) -> None:
        self.pointer = pointer
        self.faults = faults
        self._quantity_text = quantity_text
        self._values: Mapping[str, object] = {}
        if not isinstance(value, Mapping):
            self.fault(None, "An object is needed.")
            # What is no object lacks all its members; one fault says so.
            self.faults = []
            return
        self._values = value
        for name in value:
            if name not in members:
                self.fault(name, "Unknown member; remove it or check its spelling.")

    def path(self, name: object) -> str:
        """Return the JSON pointer of a member."""
        return f"{self.pointer}/{pointer_token(name)}"

    def fault(self, name: object | None, message: str) -> None:
        """Note a fault at a member, or at the object itself for ``None``."""
        self.faults.append(Fault(self.pointer if name is None else self.path(name), message))

    def has(self, name: str) -> bool:
        """Return whether a member is present and not null."""
        return self._values.get(name) is not None

    def raw(self, name: str, default: object = _REQUIRED) -> object:
        """Return a member's value; note a fault where a required one is absent."""
        value = self._values.get(name)
        if value is not None:
            return value
        if default is _REQUIRED:
            self.fault(name, "Missing; it is required.")
            return None
        return default

    def text(self, name: str, default: object = _REQUIRED, *, empty: bool = False) -> str:
        """Return a text of at most ``TEXT_LIMIT`` printable characters."""
        value = self.raw(name, default)
        if value is None:
            return ""
        if not isinstance(value, str):
            self.fault(name, "A text is needed.")
            return ""
        if not empty and not value.strip():
            self.fault(name, "The text is empty.")
        elif len(value) > TEXT_LIMIT or not value.isprintable():
            self.fault(name, f"A text of at most {TEXT_LIMIT} printable characters is needed.")
        return value

    def choice(self, name: str, choices: Collection[str], default: object = _REQUIRED) -> str:
        """Return a text that is one of a closed list."""
        value = self.raw(name, default)
        if value is None:
            return ""
        if not isinstance(value, str) or value not in choices:
            self.fault(name, "One of these is needed: " + ", ".join(choices) + ".")
            return ""
        return value

    def decimal(
        self,
        name: str,
        default: object = _REQUIRED,
        *,
        lower: Decimal = Decimal(0),
        upper: Decimal = Decimal(999_999_999),
    ) -> Decimal:
        """Return an exact decimal from a string such as ``"12.50"``."""
        value = self.raw(name, default)
        if isinstance(value, Decimal):
            return value
        if value is None:
            return lower
        if not isinstance(value, str) or not _DECIMAL.fullmatch(value):
            self.fault(name, 'A decimal string such as "12.50" is needed, up to six decimals.')
            return lower
        number = Decimal(value)
        if not lower <= number <= upper:
            self.fault(name, f"A decimal from {lower} to {upper} is needed.")
        return number

    def number(
        self,
        name: str,
        default: object = _REQUIRED,
        *,
        lower: float = 0.0,
        upper: float,
        above: bool = False,
        quantity: str | None = None,
    ) -> float:
        """Return a finite number within bounds; ``above`` keeps the lower bound out.

        With a ``quantity``, a text with a unit of that quantity serves as well.
        """
        value = self.raw(name, default)
        if value is None:
            return lower
        if isinstance(value, str) and quantity and self._quantity_text:
            # What the reader refuses stays text and is named as no number below.
            read = self._quantity_text(quantity, value)
            value = value if read is None else read
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.fault(name, "A number is needed.")
            return lower
        # An int of thousands of digits would overflow in float(); the comparison does not.
        within = (lower < value if above else lower <= value) and value <= upper
        if not within or not math.isfinite(value):
            edge = "above" if above else "from"
            self.fault(name, f"A number {edge} {lower:g} to {upper:g} is needed.")
            return lower
        return float(value)

    def integer(self, name: str, default: object = _REQUIRED, *, lower: int, upper: int) -> int:
        """Return a whole number within bounds."""
        value = self.raw(name, default)
        if value is None:
            return lower
        if isinstance(value, bool) or not isinstance(value, int) or not lower <= value <= upper:
            self.fault(name, f"A whole number from {lower} to {upper} is needed.")
            return lower
        return value

    def boolean(self, name: str, default: bool) -> bool:
        """Return true or false."""
        value = self.raw(name, default)
        if not isinstance(value, bool):
            self.fault(name, "true or false is needed.")
            return default
        return value

    def object(self, name: str, members: Collection[str]) -> "ObjectReader":
        """Return a reader of a required member object."""
        value = self.raw(name)
        if value is None:
            # The missing member is already noted; an empty reader would list its members again.
            return ObjectReader({}, self.path(name), [], members)
        return ObjectReader(value, self.path(name), self.faults, members, self._quantity_text)

    def objects(
        self, name: str, members: Collection[str], *, least: int = 0, most: int
    ) -> "list[ObjectReader]":
        """Return readers of the objects of an array."""
        value = self.raw(name, _REQUIRED if least else [])
        if value is None:
            return []
        if not isinstance(value, list | tuple):
            self.fault(name, "An array is needed.")
            return []
        if not least <= len(value) <= most:
            self.fault(name, f"An array of {least} to {most} items is needed.")
            return []
        path = self.path(name)
        return [
            ObjectReader(item, f"{path}/{index}", self.faults, members, self._quantity_text)
            for index, item in enumerate(value)
        ]


def refuse_duplicates(readers: Sequence[ObjectReader], name: str) -> None:
    """Note a fault at each object whose named member repeats an earlier one.

    Parameters
    ----------
    readers
        Readers of the objects of one array.
    name
        Member that is unique in the array.
    """
    seen: set[str] = set()
    for reader in readers:
        value = reader.raw(name, "")
        if isinstance(value, str) and value and value in seen:
            reader.fault(name, "The same value stands earlier in the list; it is unique.")
        elif isinstance(value, str):
            seen.add(value)
