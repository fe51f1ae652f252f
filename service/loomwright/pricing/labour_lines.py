"""Lines for the work that a job needs, by standard hours and the vehicle's difficulty."""

from collections.abc import Sequence
from decimal import Decimal
from typing import NamedTuple

from loomwright.pricing.attribute_words import in_words
from loomwright.pricing.growing import Exact, Growing
from loomwright.pricing.kept import Kept
from loomwright.pricing.lines import (
    LABOUR,
    KnownLines,
    Line,
    Need,
    Unpriced,
    plain_number,
    summed,
)
from loomwright.pricing.minor_units import Units
from loomwright.pricing.money import (
    ROUNDING_MODES,
    Money,
    money_from_minor_units,
    money_total,
    product,
    rounded_product,
)
from loomwright.pricing.price_book import DifficultyFactor, LabourOperation, PriceBook
from loomwright.pricing.requirements import LabourRequirement

MINIMUM_KEY = "labour_minimum"
_NO_DIFFICULTY = DifficultyFactor("", "", Decimal(1))
# Of one price book: one for each operation and difficulty; each takes some 0.5 kB.
_GREATEST_KNOWN_CHARGES = 1024


class _Charge(NamedTuple):
    """An operation on a vehicle: its hours each, and how they are read behind their number."""

    hours: Decimal
    words: str


class _KnownLabour:
    """Charges and lines of a price book."""

    def __init__(self, _: PriceBook) -> None:
        self.charges: Kept[tuple[str, str], _Charge] = Kept(_GREATEST_KNOWN_CHARGES)
        self.lines = KnownLines()

    def charge(self, operation: LabourOperation, factor: DifficultyFactor) -> _Charge:
        """Return the charge for an operation on a vehicle."""
        known = self.charges.get((operation.key, factor.key))
        if known is None:
            words = f"{plain_number(operation.standard_hours)} h"
            if operation.is_charged_once:
                words = f"{words} for the job"
            if factor.factor != 1:
                words = f"{words} x {plain_number(factor.factor)} ({factor.description})"
            charge = _Charge(product(operation.standard_hours, factor.factor), words)
            known = self.charges.keep((operation.key, factor.key), charge)
        return known


def labour_lines(
    labour: Sequence[LabourRequirement], book: PriceBook, difficulty: str | None
) -> tuple[list[Line], list[Unpriced]]:
    """Return the lines for labour, and the operations that the book does not know.

    Parameters
    ----------
    labour
        Operations needed.
    book
        Price book.
    difficulty
        Key of a difficulty factor of the book, if the vehicle has one.

    Returns
    -------
    tuple of two lists
        Lines in the order of the book, then what is not priced.
    """
    factor, known = difficulty_factor(book, difficulty), book.derived(_KnownLabour)
    by_operation: dict[str, list[LabourRequirement]] = {}
    for requirement in labour:
        by_operation.setdefault(requirement.operation, []).append(requirement)
    nothing = money_from_minor_units(0, book.currency)
    lines = [
        _labour_line(operation, by_operation[key], book, factor, nothing, known)
        for key, operation in book.labour.items()
        if key in by_operation
    ]
    missing = [
        _unpriced_labour(key, by_operation[key])
        for key in sorted(by_operation.keys() - book.labour.keys())
    ]
    return lines + _minimum(lines, book, nothing), missing


def _labour_line(
    operation: LabourOperation,
    wanted: Sequence[LabourRequirement],
    book: PriceBook,
    factor: DifficultyFactor,
    nothing: Money,
    known: _KnownLabour,
) -> Line:
    if operation.is_charged_once:
        wanted = wanted[:1]
    charge = known.charge(operation, factor)
    needs = tuple([_hours_needed(operation, requirement, charge) for requirement in wanted])
    needed = summed([need.quantity for need in needs])
    values = known.lines.get((operation.key, str(needed))) or known.lines.rounded(
        operation.key,
        needed,
        book.rules.labour_increment_h,
        lambda hours: operation_line(operation, hours, book, nothing),
    )
    return Line(*values, needs)


def operation_line(
    operation: LabourOperation,
    hours: Decimal,
    book: PriceBook,
    nothing: Money,
) -> Line:
    """Return the line for so many hours of an operation, not yet with what it is for.

    Parameters
    ----------
    operation
        The operation.
    hours
        A multiple of the labour increment of the book [h].
    book
        Price book, for its currency and its rounding.
    nothing
        No money in that currency.

    Returns
    -------
    Line
        At list price.
    """
    cost = operation.hourly_cost
    return Line(
        kind=LABOUR,
        key=operation.key,
        description=operation.description,
        quantity=hours,
        unit=operation.unit,
        unit_price=operation.hourly_rate,
        tax_category=operation.tax_category,
        list_total=_rounded(operation.hourly_rate, hours, book),
        discount=nothing,
        shared=nothing,
        note="",
        cost=None if cost is None else _rounded(cost, hours, book),
        stock=None,
    )


def hours_of(
    operation: LabourOperation, pieces: int, length_m: Exact, factor: DifficultyFactor
) -> Exact | Decimal:
    """Return the hours that an operation takes.

    Parameters
    ----------
    operation
        The operation.
    pieces
        How often it is done.
    length_m
        How far [m], for what is charged by the metre.
    factor
        Difficulty of the vehicle.

    Returns
    -------
    Decimal or Growing
        Not rounded to the increment of labour [h].
    """
    return _hours(operation, pieces, length_m, product(operation.standard_hours, factor.factor))


def _hours(
    operation: LabourOperation, pieces: int, length_m: Exact, each: Decimal
) -> Exact | Decimal:
    """Return the hours that an operation takes, from those of one piece or metre of it."""
    if operation.charged_per != "metre":
        return product(each, Decimal(1) if operation.is_charged_once else Decimal(pieces))
    return length_m * each if isinstance(length_m, Growing) else product(each, length_m)


def difficulty_factor(book: PriceBook, difficulty: str | None) -> DifficultyFactor:
    """Return the difficulty factor of a key, that of no difficulty for none."""
    return _NO_DIFFICULTY if difficulty is None else book.difficulty[difficulty]


def _rounded(each: Decimal, quantity: Decimal, book: PriceBook) -> Money:
    return rounded_product(each, quantity, book.currency, ROUNDING_MODES[book.rounding.mode])


def _hours_needed(operation: LabourOperation, wanted: LabourRequirement, charge: _Charge) -> Need:
    basis = charge.words
    if operation.charged_per == "metre":
        basis = f"{plain_number(wanted.length_m)} m x {basis}"
    elif not operation.is_charged_once:
        basis = f"{wanted.pieces} x {basis}"
    hours = _hours(operation, wanted.pieces, wanted.length_m, charge.hours)
    return Need(wanted.circuit, hours, f"{basis}, {wanted.reason}", wanted.rule)


def _minimum(lines: Sequence[Line], book: PriceBook, nothing: Money) -> list[Line]:
    """Return the line that brings labour up to the least charge, if it stays below it.

    It is taxed as the first line of labour.
    """
    if not lines or not book.labour_minimum:
        return []
    least = _rounded(book.labour_minimum, Decimal(1), book)
    charged = money_total([line.list_total for line in lines], book.currency)
    if charged.amount >= least.amount:
        return []
    lacking = money_from_minor_units(int(lacking_units(charged.minor_units, book)), book.currency)
    reason = f"the labour of a job is charged with {least} at least"
    return [
        Line(
            kind=LABOUR,
            key=MINIMUM_KEY,
            description="Difference to the least labour charge",
            quantity=Decimal(1),
            unit="C62",
            unit_price=lacking.amount,
            tax_category=lines[0].tax_category,
            list_total=lacking,
            discount=nothing,
            shared=nothing,
            needs=(Need("", Decimal(1), reason, MINIMUM_KEY),),
            note="",
            cost=nothing,
            stock=None,
        )
    ]


def lacking_units(charged: Units, book: PriceBook) -> Units:
    """Return what labour lacks to the least charge of a book [minor units], 0 where nothing."""
    lacking = _rounded(book.labour_minimum, Decimal(1), book).minor_units - charged
    return lacking * (lacking > 0)


def _unpriced_labour(key: str, wanted: Sequence[LabourRequirement]) -> Unpriced:
    return Unpriced(
        kind=LABOUR,
        description=f"labour operation: {in_words(key)}",
        attributes={"operation": key},
        quantity=Decimal(sum(requirement.pieces for requirement in wanted)),
        unit="C62",
        needs=tuple(
            Need(item.circuit, Decimal(item.pieces), item.reason, item.rule) for item in wanted
        ),
    )
