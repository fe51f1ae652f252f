"""The quote of one pair by the single call: what the array path must answer for each row."""

from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Any, NamedTuple

from loomwright.batch.pair import Package, Vehicle, pair_job
from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.record import record
from loomwright.figures import KELVIN_AT_0_C, six_digits
from loomwright.jobs.bill_answer import labour_hours
from loomwright.jobs.circuit_conductors import circuit_conductors
from loomwright.jobs.circuit_fuses import sized_circuits
from loomwright.jobs.circuit_sources import source_loads
from loomwright.jobs.job import Job
from loomwright.jobs.job_bills import JobBills
from loomwright.jobs.priced_job import verdict_of
from loomwright.jobs.sized_circuit import SizedCircuit
from loomwright.pricing.bill import Bill
from loomwright.pricing.faults import DocumentError, Fault
from loomwright.pricing.money import MoneyError
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.pricing_options import PricingOptions, batch_pricing_from_document
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables

# Code of a pair whose job cannot be read; of others it is that of the engineering.
INVALID_PAIR = "invalid_pair"


class QuotedCircuit(NamedTuple):
    """A circuit in a quote: its verdict and sizes, none where there is none.

    Parameters
    ----------
    key
        Of the circuit.
    verdict
        ``sized`` or why not.
    conductor
        Size of the conductor.
    fuse_type
        Key of the fuse type.
    rated_current_a
        Rating of the fuse [A].
    """

    key: str
    verdict: str
    conductor: str | None
    fuse_type: str | None
    rated_current_a: float | None


class Amounts(NamedTuple):
    """Amounts of money of a quote, as the bill gives them.

    Parameters
    ----------
    list_total, discount_total, shared_total, parts_total, labour_total, lines_total
        Of the lines.
    net_total, exempt_total, tax_total, total
        With taxes; ``tax_total`` is the sum of all taxes.
    deposit
        Due at once, none where none is asked for.
    balance_due
        The rest.
    """

    list_total: Decimal
    discount_total: Decimal
    shared_total: Decimal
    parts_total: Decimal
    labour_total: Decimal
    lines_total: Decimal
    net_total: Decimal
    exempt_total: Decimal
    tax_total: Decimal
    total: Decimal
    deposit: Decimal | None
    balance_due: Decimal


class Quote(NamedTuple):
    """What a package comes to for a vehicle.

    Parameters
    ----------
    verdict
        Of the bill.
    circuits
        In the order of the job.
    load_current_a
        Taken from all sources together [A], six digits.
    voltage_drop_percent
        Greatest of the circuits, of the voltage of the source [%], six digits; none without any
        conductor.
    conductor_temperature_c
        Of the hottest conductor [C], six digits; none without any.
    amounts
        Money.
    labour_hours
        Working hours [h].
    unpriced
        Needs that no part of the book serves.
    valid_until
        Last day, none where nothing limits it.
    """

    verdict: str
    circuits: tuple[QuotedCircuit, ...]
    load_current_a: float
    voltage_drop_percent: float | None
    conductor_temperature_c: float | None
    amounts: Amounts
    labour_hours: Decimal
    unpriced: int
    valid_until: date | None


class Refusal(NamedTuple):
    """Why a pair has no quote.

    Parameters
    ----------
    code
        ``invalid_pair``, or the code of the engineering.
    detail
        What is wrong, in words.
    faults
        Pointers are into the job that package and vehicle make together, or ``/pricing`` first.
    """

    code: str
    detail: str
    faults: tuple[Fault, ...] = ()


@record
class Pricing:
    """What all pairs of a batch are priced by.

    Parameters
    ----------
    book
        Price book.
    stated
        Pricing options as a document; those of a package go before.
    """

    book: PriceBook
    stated: Mapping[str, Any]

    def options(self, package: Package) -> PricingOptions:
        """Return the pricing options of a package.

        Parameters
        ----------
        package
            A package of the batch.

        Returns
        -------
        PricingOptions
            Those of the batch, with what the package states in their place.

        Raises
        ------
        DocumentError
            Anything is wrong with them.
        """
        stated = {**self.stated, **package.pricing}
        # One price for the whole outweighs a share off it, whichever of the two states it.
        if "package" in package.pricing:
            stated = {name: value for name, value in stated.items() if name != "document_discount"}
        elif "document_discount" in package.pricing:
            stated = {name: value for name, value in stated.items() if name != "package"}
        return batch_pricing_from_document(stated, self.book.currency)


def reference_quote(package: Package, vehicle: Vehicle, pricing: Pricing) -> Quote | Refusal:
    """Return the quote of one pair as the single call works it out.

    Parameters
    ----------
    package
        The package.
    vehicle
        The vehicle.
    pricing
        Price book and options.

    Returns
    -------
    Quote or Refusal
        What a row of the batch says.
    """
    if package.faults or vehicle.faults:
        return refusal_of_faults((*package.faults, *vehicle.faults))
    try:
        options = pricing.options(package)
    except DocumentError as error:
        faults = tuple(Fault(f"/pricing{each.pointer}", each.message) for each in error.faults)
        return refusal_of_faults(faults)
    try:
        job = pair_job(package, vehicle)
    except DocumentError as error:
        return refusal_of_faults(error.faults)
    return quote_of_job(job, pricing.book, options)


def refusal_of_faults(faults: Sequence[Fault]) -> Refusal:
    """Return the refusal of a pair whose documents are at fault."""
    listed = "; ".join(f"{fault.pointer or '/'}: {fault.message}" for fault in faults)
    return Refusal(INVALID_PAIR, listed, tuple(faults))


def quote_of_job(job: Job, book: PriceBook, options: PricingOptions) -> Quote | Refusal:
    """Return the quote of a job, without substitutes.

    Parameters
    ----------
    job
        The job of a pair.
    book
        Price book.
    options
        Pricing options of the package.

    Returns
    -------
    Quote or Refusal
        A refusal where the job lies outside the models or the options do not fit its bill.
    """
    try:
        conductors = circuit_conductors(job, tables())
        sized = sized_circuits(job, conductors, tables(), fuse_tables())
        bill = JobBills(job, book, options).of(sized)
    except EngineeringError as error:
        return refusal_of_error(error)
    except MoneyError as error:
        return Refusal(INVALID_PAIR, str(error))
    loads = source_loads(job, sized)
    return Quote(
        verdict=verdict_of(sized, loads, bill),
        circuits=tuple(_quoted(entry) for entry in sized),
        load_current_a=six_digits(sum(load.load_current_a for load in loads)) or 0.0,
        voltage_drop_percent=six_digits(_greatest(_drop_percent(entry) for entry in sized)),
        conductor_temperature_c=six_digits(_greatest(_celsius(entry) for entry in sized)),
        amounts=_amounts(bill),
        labour_hours=labour_hours(bill.lines),
        unpriced=len(bill.unpriced),
        valid_until=bill.valid_until,
    )


def refusal_of_error(error: EngineeringError) -> Refusal:
    """Return the refusal of a pair that lies outside the models."""
    if not error.field:
        return Refusal(error.code, error.message)
    pointer = "/" + error.field.removeprefix("job/")
    return Refusal(error.code, error.message, (Fault(pointer, error.message),))


def _quoted(entry: SizedCircuit) -> QuotedCircuit:
    conductor = entry.conductor
    return QuotedCircuit(
        entry.circuit.key,
        entry.verdict,
        None if conductor is None else conductor.key,
        entry.fuse_type,
        entry.rated_current_a,
    )


def _greatest(values: Any) -> float | None:
    return max((value for value in values if value is not None), default=None)


def _drop_percent(entry: SizedCircuit) -> float | None:
    drop_v = entry.voltage_drop_v
    return None if drop_v is None else 100.0 * drop_v / entry.system_voltage_v


def _celsius(entry: SizedCircuit) -> float | None:
    kelvin = entry.conductor_temperature_k
    return None if kelvin is None else kelvin - KELVIN_AT_0_C


def _amounts(bill: Bill) -> Amounts:
    totals = bill.totals
    return Amounts(
        list_total=totals.list_total.amount,
        discount_total=totals.discount.amount,
        shared_total=totals.shared.amount,
        parts_total=totals.parts_total.amount,
        labour_total=totals.labour_total.amount,
        lines_total=totals.lines_total.amount,
        net_total=totals.net_total.amount,
        exempt_total=totals.exempt_total.amount,
        tax_total=sum((tax.amount.amount for tax in totals.taxes), totals.total.amount * 0),
        total=totals.total.amount,
        deposit=None if totals.deposit is None else totals.deposit.amount,
        balance_due=totals.balance_due.amount,
    )
