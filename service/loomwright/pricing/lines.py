"""The lines of a bill, each with the needs that it serves."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import fields
from decimal import Decimal
from operator import attrgetter

from loomwright.engineering.record import record
from loomwright.pricing.kept import Kept
from loomwright.pricing.kinds import UNIT_WORDS, Attribute
from loomwright.pricing.money import Money
from loomwright.pricing.price_book import Part
from loomwright.pricing.requirements import rounded_up

LABOUR = "labour"
KIT = "kit"


@record
class Need:
    """One reason for a line: how much of it, for which circuit, by which rule.

    ``part`` is the one that serves it, in whose unit the quantity is, also where a pack or a kit
    brings it; none for labour and for what no part serves.
    """

    circuit: str
    quantity: Decimal
    reason: str
    rule: str
    part: Part | None = None


def reason_of(needs: Sequence[Need]) -> str:
    """Return the reasons of needs in one text, once for all circuits that share them.

    Parameters
    ----------
    needs
        Needs of one line.

    Returns
    -------
    str
        Such as ``"lamp feed, heater feed (each): one at the source, one at the load"``.
    """
    if len(needs) == 1:
        return _shared_reason([needs[0].circuit], needs[0].reason)
    by_circuit: dict[str, dict[str, None]] = {}
    for need in needs:
        by_circuit.setdefault(need.circuit, {})[need.reason] = None
    sharing: dict[str, list[str]] = {}
    for circuit, reasons in by_circuit.items():
        sharing.setdefault(", ".join(reasons), []).append(circuit)
    return "; ".join(_shared_reason(circuits, text) for text, circuits in sharing.items())


def _shared_reason(circuits: Sequence[str], text: str) -> str:
    if circuits == [""]:
        return text
    each = " (each)" if len(circuits) > 1 else ""
    return f"{', '.join(circuit or 'job' for circuit in circuits)}{each}: {text}"


@record
class Line:
    """One priced line item.

    ``list_total`` is the unit price times the quantity, rounded once. ``discount`` is taken off;
    ``shared`` is the line's share of a document discount or of the difference to a package price,
    negative where it lowers the price. ``cost`` is what it costs the shop, none where the book does
    not say. ``stock`` is what the shop has of it, none where stock is not counted.
    ``shop_part_number`` is that of the shop's own system, none where the book has none and for
    labour.
    """

    kind: str
    key: str
    description: str
    quantity: Decimal
    unit: str
    unit_price: Decimal
    tax_category: str
    list_total: Money
    discount: Money
    shared: Money
    note: str
    cost: Money | None
    stock: Decimal | None
    shop_part_number: str | None = None
    # Last, since all before them is kept for many bills.
    needs: tuple[Need, ...] = ()

    @property
    def discounted_total(self) -> Money:
        """The list total less the line's own discount."""
        return self.list_total - self.discount

    @property
    def total(self) -> Money:
        """What the line costs the customer, on the price basis of the book."""
        # Most lines have neither discount nor share, and a bill asks for this often.
        if self.discount.amount or self.shared.amount:
            return self.discounted_total + self.shared
        return self.list_total

    @property
    def in_stock(self) -> bool | None:
        """Whether stock covers the quantity; none where stock is not counted."""
        return None if self.stock is None else self.quantity <= self.stock

    @property
    def unit_word(self) -> str:
        """The plain word for the unit code."""
        return UNIT_WORDS[self.unit]

    @property
    def reason(self) -> str:
        """Why the line is there, in one text."""
        return "; ".join(text for text in (self.note, reason_of(self.needs)) if text)


# The values of a line but its needs, in their order: `Line(*values, needs)` is the line.
LineValues = tuple[
    str,
    str,
    str,
    Decimal,
    str,
    Decimal,
    str,
    Money,
    Money,
    Money,
    str,
    Money | None,
    Decimal | None,
    str | None,
]
line_values: Callable[[Line], LineValues] = attrgetter(*[each.name for each in fields(Line)][:-1])
# Of one price book; each takes some 1 kB.
_GREATEST_KNOWN_LINES = 1024


class KnownLines(Kept[tuple[str, str], LineValues]):
    """Lines of one price book, by what is sold and by how much of it.

    Quantities stand as text, since decimals that are equal may print otherwise. One that is looked
    up before it is rounded is found too where the shop sells just that: what is rounded up already
    stays as it is, to the digit.
    """

    def __init__(self) -> None:
        super().__init__(_GREATEST_KNOWN_LINES)

    def rounded(
        self, key: str, needed: Decimal, increment: Decimal, line: Callable[[Decimal], Line]
    ) -> LineValues:
        """Return the line for what is needed, rounded up to what is sold.

        Parameters
        ----------
        key
            What is sold.
        needed
            How much, not yet looked up.
        increment
            What the shop sells by.
        line
            Makes the line of a quantity.

        Returns
        -------
        tuple
            Its values but the needs.
        """
        # Lengths differ from job to job, but mostly not what is sold for them.
        quantity = rounded_up(needed, increment)
        place = key, str(quantity)
        return self.get(place) or self.keep(place, line_values(line(quantity)))


@record
class Unpriced:
    """Something needed that the price book does not hold, with how much and why.

    ``unit`` is that of the need; the quantity is not rounded to any sale increment.
    """

    kind: str
    description: str
    attributes: Mapping[str, Attribute]
    quantity: Decimal
    unit: str
    needs: tuple[Need, ...]

    @property
    def unit_word(self) -> str:
        """The plain word for the unit code."""
        return UNIT_WORDS[self.unit]

    @property
    def reason(self) -> str:
        """Why it is needed, in one text."""
        return reason_of(self.needs)


def plain_number(value: Attribute) -> str:
    """Return an attribute as text, a number without needless zeros."""
    return value if isinstance(value, str) else format(value.normalize(), "f")


def exact_text(number: Decimal) -> str:
    """Return a number with every decimal that it is stated with, and without an exponent."""
    text = str(number)
    # Of most numbers it is the same text, in a third of the time of a format.
    return format(number, "f") if "E" in text else text


def summed(quantities: Iterable[Decimal]) -> Decimal:
    """Return the exact sum of quantities, 0 for none."""
    return sum(quantities, Decimal(0))
