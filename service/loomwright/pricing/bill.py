"""From requirements and a price book to a priced bill of materials."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from loomwright.pricing.kinds import KINDS, LABOUR_UNIT, UNIT_WORDS, Attribute
from loomwright.pricing.money import Money, money_total, product, rounded_money, tax_on
from loomwright.pricing.price_book import LabourOperation, Part, PriceBook
from loomwright.pricing.requirements import LabourRequirement, Requirement, rounded_up

LABOUR = "labour"


@dataclass(frozen=True, slots=True)
class Need:
    """One reason for a line: how much of it, for which circuit, by which rule."""

    circuit: str
    quantity: Decimal
    reason: str
    rule: str


def reason_of(needs: Iterable[Need]) -> str:
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


@dataclass(frozen=True, slots=True)
class Line:
    """One priced line item; ``total`` is the unit price times the quantity, rounded once."""

    kind: str
    key: str
    description: str
    quantity: Decimal
    unit: str
    unit_price: Decimal
    total: Money
    needs: tuple[Need, ...]

    @property
    def unit_word(self) -> str:
        """The plain word for the unit code."""
        return UNIT_WORDS[self.unit]

    @property
    def reason(self) -> str:
        """Why the line is there, in one text."""
        return reason_of(self.needs)


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
class TaxAmount:
    """One tax of a bill: ``amount`` is ``percent`` of ``base``, rounded once."""

    name: str
    percent: Decimal
    base: Money
    amount: Money


@dataclass(frozen=True, slots=True)
class Bill:
    """A priced bill of materials.

    ``net_total`` is the exact sum of the lines, ``parts_total`` and ``labour_total`` its two parts;
    each tax is computed once on the net total; ``total`` adds the taxes.
    """

    price_book: str
    price_book_digest: str
    currency: str
    lines: tuple[Line, ...]
    unpriced: tuple[Unpriced, ...]
    parts_total: Money
    labour_total: Money
    net_total: Money
    taxes: tuple[TaxAmount, ...]
    total: Money


def bill_of_materials(
    requirements: Sequence[Requirement], labour: Sequence[LabourRequirement], book: PriceBook
) -> Bill:
    """Return the priced lines that serve all requirements.

    Needs that one part serves share a line, so that slack and sale increment are paid once.
    Amounts are rounded half up to the minor unit, at the line and at the tax, nowhere else.

    Parameters
    ----------
    requirements
        Parts needed; the order of needs within a line follows it.
    labour
        Operations needed.
    book
        Price book.

    Returns
    -------
    Bill
        Lines by kind and, within a kind, in the order of the book; what could not be priced; tax
        and totals.
    """
    part_lines, missing_parts = _part_lines(requirements, book)
    labour_lines, missing_labour = _labour_lines(labour, book)
    parts_total = money_total((line.total for line in part_lines), book.currency)
    labour_total = money_total((line.total for line in labour_lines), book.currency)
    net_total = parts_total + labour_total
    tax = tax_on(net_total, book.tax.percent)
    return Bill(
        price_book=book.name,
        price_book_digest=book.digest,
        currency=book.currency,
        lines=(*part_lines, *labour_lines),
        unpriced=(*missing_parts, *missing_labour),
        parts_total=parts_total,
        labour_total=labour_total,
        net_total=net_total,
        taxes=(TaxAmount(book.tax.name, book.tax.percent, net_total, tax),),
        total=net_total + tax,
    )


def _need(requirement: Requirement, quantity: Decimal) -> Need:
    return Need(requirement.circuit, quantity, requirement.reason, requirement.rule)


_METRES = {"MTR": Decimal(1), "FOT": Decimal("0.3048")}


def _in_unit(quantity: Decimal, unit: str, sold_in: str) -> Decimal:
    """Return a quantity in the unit that a part is sold in; a metre may be sold by the foot."""
    if unit in _METRES and sold_in in _METRES:
        return quantity * _METRES[unit] / _METRES[sold_in]
    return quantity


def _part_lines(
    requirements: Sequence[Requirement], book: PriceBook
) -> tuple[list[Line], list[Unpriced]]:
    served: dict[str, tuple[Part, list[Need]]] = {}
    missing: dict[tuple[object, ...], tuple[Requirement, list[Need]]] = {}
    for requirement in requirements:
        part = book.part_for(requirement.what, requirement.attributes)
        if part is None:
            same = (requirement.what, *sorted(requirement.attributes.items()), requirement.unit)
            entry = missing.setdefault(same, (requirement, []))
            entry[1].append(_need(requirement, requirement.quantity))
        else:
            quantity = _in_unit(requirement.quantity, requirement.unit, part.unit)
            served.setdefault(part.key, (part, []))[1].append(_need(requirement, quantity))
    order = list(KINDS)
    lines = [
        _part_line(part, served[part.key][1], book.currency)
        for kind in order
        for part in book.parts[kind]
        if part.key in served
    ]
    absent = [_unpriced(first, needs) for first, needs in missing.values()]
    absent.sort(key=lambda entry: (order.index(entry.kind), entry.description))
    return lines, absent


def _part_line(part: Part, needs: list[Need], currency: str) -> Line:
    quantity = rounded_up(_sum(need.quantity for need in needs), part.sale_increment)
    return Line(
        kind=part.kind,
        key=part.key,
        description=part.description,
        quantity=quantity,
        unit=part.unit,
        unit_price=part.unit_price,
        total=rounded_money(product(part.unit_price, quantity), currency),
        needs=tuple(needs),
    )


def _unpriced(first: Requirement, needs: list[Need]) -> Unpriced:
    stated = ", ".join(f"{name} {_plain(value)}" for name, value in first.attributes.items())
    return Unpriced(
        kind=first.what,
        description=f"{KINDS[first.what].words}: {stated}",
        attributes=first.attributes,
        quantity=_sum(need.quantity for need in needs),
        unit=first.unit,
        needs=tuple(needs),
    )


def _plain(value: Attribute) -> str:
    return value if isinstance(value, str) else format(value.normalize(), "f")


def _sum(quantities: Iterable[Decimal]) -> Decimal:
    return sum(quantities, Decimal(0))


def _labour_lines(
    labour: Sequence[LabourRequirement], book: PriceBook
) -> tuple[list[Line], list[Unpriced]]:
    by_operation: dict[str, list[LabourRequirement]] = {}
    for requirement in labour:
        by_operation.setdefault(requirement.operation, []).append(requirement)
    lines = [
        _labour_line(operation, by_operation[key], book)
        for key, operation in book.labour.items()
        if key in by_operation
    ]
    missing = [
        _unpriced_labour(key, by_operation[key])
        for key in sorted(by_operation.keys() - book.labour.keys())
    ]
    return lines, missing


def _labour_line(
    operation: LabourOperation, wanted: Sequence[LabourRequirement], book: PriceBook
) -> Line:
    if operation.charged_per == "job":
        wanted = wanted[:1]
    needs = tuple(_hours_needed(operation, requirement) for requirement in wanted)
    hours = rounded_up(_sum(need.quantity for need in needs), book.rules.labour_increment_h)
    return Line(
        kind=LABOUR,
        key=operation.key,
        description=operation.description,
        quantity=hours,
        unit=LABOUR_UNIT,
        unit_price=operation.hourly_rate,
        total=rounded_money(product(operation.hourly_rate, hours), book.currency),
        needs=needs,
    )


def _hours_needed(operation: LabourOperation, wanted: LabourRequirement) -> Need:
    standard = _plain(operation.standard_hours)
    if operation.charged_per == "job":
        count, basis = Decimal(1), f"{standard} h for the job"
    elif operation.charged_per == "metre":
        count, basis = wanted.length_m, f"{_plain(wanted.length_m)} m x {standard} h"
    else:
        count, basis = Decimal(wanted.pieces), f"{wanted.pieces} x {standard} h"
    return Need(
        circuit=wanted.circuit,
        quantity=product(operation.standard_hours, count),
        reason=f"{basis}, {wanted.reason}",
        rule=wanted.rule,
    )


def _unpriced_labour(key: str, wanted: Sequence[LabourRequirement]) -> Unpriced:
    return Unpriced(
        kind=LABOUR,
        description=f"labour operation: {key}",
        attributes={"operation": key},
        quantity=Decimal(sum(requirement.pieces for requirement in wanted)),
        unit="C62",
        needs=tuple(
            Need(item.circuit, Decimal(item.pieces), item.reason, item.rule) for item in wanted
        ),
    )
