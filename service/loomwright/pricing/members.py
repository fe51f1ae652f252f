"""What each member of a plain JSON document may be, stated once.

The reader of a document and the JSON Schema of the same document both follow these records, so
that neither can promise what the other does not hold.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

DECIMAL_PATTERN = r"^(0|[1-9][0-9]{0,8})(\.[0-9]{1,6})?$"
DATE_PATTERN = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$"
INSTANT_PATTERN = (
    r"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]{1,6})?"
    r"(Z|[+-][0-9]{2}:[0-9]{2})$"
)
TEXT_LIMIT = 200
# Control characters, line and paragraph separators, marks that turn the direction of writing.
_UNPRINTABLE = r"\x00-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ufeff"
TEXT_PATTERN = rf"^[^ {_UNPRINTABLE}][^{_UNPRINTABLE}]*$"
GREATEST_DECIMAL = Decimal(10**9)


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """A member of an object; ``about`` says what it is for a reader of the documentation.

    A member with a default is never required.
    """

    about: str = ""
    required: bool = True


@dataclass(frozen=True, slots=True)
class Text(Member):
    """Printable text of at most ``TEXT_LIMIT`` characters that does not begin with a space."""

    default: str | None = None


@dataclass(frozen=True, slots=True)
class CsvText(Member):
    """A CSV table as one text (RFC 4180, media type ``text/csv``)."""


@dataclass(frozen=True, slots=True)
class Choice(Member):
    """One text out of a closed list; ``words`` replace the list in the message of a fault."""

    choices: tuple[str, ...]
    words: str = ""
    default: str | None = None


@dataclass(frozen=True, slots=True)
class Choices(Member):
    """An array of texts out of a closed list, each at most once."""

    choices: tuple[str, ...]
    least: int
    most: int


@dataclass(frozen=True, slots=True)
class Texts(Member):
    """An array of texts, each at most once."""

    least: int
    most: int


@dataclass(frozen=True, slots=True)
class DateText(Member):
    """A calendar date as text, such as ``"2031-04-30"``.

    References
    ----------
    RFC 3339, ``full-date``.
    """


@dataclass(frozen=True, slots=True)
class InstantText(Member):
    """An instant with its offset, such as ``"2031-04-30T08:00:00+02:00"``.

    References
    ----------
    RFC 3339, ``date-time`` with microseconds at most.
    """


@dataclass(frozen=True, slots=True)
class NumberChoice(Member):
    """One number out of a closed list, or the same as text with its unit."""

    numbers: tuple[int, ...]
    unit: str


@dataclass(frozen=True, slots=True)
class DecimalText(Member):
    """An exact decimal as text, such as ``"12.50"``, within closed bounds."""

    lower: Decimal = Decimal(0)
    upper: Decimal = GREATEST_DECIMAL
    default: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Number(Member):
    """A number within closed bounds in ``unit``.

    With a ``quantity``, the key of an accepted quantity, text with a unit serves as well.
    """

    lower: float
    upper: float
    unit: str = ""
    quantity: str = ""
    default: float | None = None


@dataclass(frozen=True, slots=True)
class Whole(Member):
    """A whole number within closed bounds."""

    lower: int
    upper: int
    default: int | None = None


@dataclass(frozen=True, slots=True)
class Truth(Member):
    """``true`` or ``false``."""

    default: bool


@dataclass(frozen=True, slots=True)
class Record(Member):
    """An object; ``name`` is that of its schema."""

    name: str
    members: Mapping[str, Member]


@dataclass(frozen=True, slots=True)
class Records(Member):
    """An array of objects; with ``least`` above 0 it is required."""

    name: str
    members: Mapping[str, Member]
    least: int
    most: int
    unique: str = ""


def is_required(member: Member) -> bool:
    """Return whether an object without the member is at fault."""
    if isinstance(member, Records):
        return member.required and member.least > 0
    return member.required and getattr(member, "default", None) is None
