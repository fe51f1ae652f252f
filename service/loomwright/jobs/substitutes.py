"""What could be fitted instead of what the price book lacks or the shop has not in stock.

A substitute is never put on the bill by itself. It is offered after the whole job has been sized
and priced again with it, so that every check of the engineering has passed with it in place.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from loomwright.jobs.job import Circuit, Job
from loomwright.jobs.sized_circuit import SIZED, SizedCircuit
from loomwright.pricing.bill import Bill
from loomwright.pricing.lines import Line, Unpriced
from loomwright.pricing.money import Money
from loomwright.pricing.price_book import PriceBook
from loomwright.tables.records import Tables

CONDUCTOR = "conductor"
FUSE = "fuse"
NOT_LISTED = "not_in_price_book"
OUT_OF_STOCK = "out_of_stock"
REASONS = (NOT_LISTED, OUT_OF_STOCK)
# What a substitute of each kind must bring with it.
_KINDS = {CONDUCTOR: ("conductor",), FUSE: ("fuse", "fuse_holder")}

# A job sized and priced anew.
Repriced = Callable[[Job], tuple[Sequence[SizedCircuit], Bill]]


@dataclass(frozen=True, slots=True)
class Substitute:
    """What may be fitted in a circuit instead.

    ``kind`` is ``conductor`` (the next thicker one to be had) or ``fuse`` (another type that
    protects the same conductor). ``total_difference`` is the total of the whole bill with it less
    that of the bill at hand, which lacks what is not listed.
    """

    circuit: str
    kind: str
    reason: str
    replaced: str
    offered: str
    total: Money
    total_difference: Money


def substitutes_of(
    job: Job,
    circuits: Sequence[SizedCircuit],
    bill: Bill,
    book: PriceBook,
    tables: Tables,
    repriced: Repriced,
) -> tuple[Substitute, ...]:
    """Return what could be fitted instead, for each circuit that lacks a conductor or a fuse.

    Parameters
    ----------
    job
        The job.
    circuits
        Its circuits as sized.
    bill
        Its bill.
    book
        Price book, with what holds on the day.
    tables
        Conductor sizes.
    repriced
        Sizes and prices a changed job.

    Returns
    -------
    tuple of Substitute
        At most one of each kind for each circuit; the cheapest of several fuse types.
    """
    found = []
    for entry in circuits:
        if entry.verdict != SIZED:
            continue
        for kind, tried in ((CONDUCTOR, _thicker), (FUSE, _other_fuses)):
            reason = _lacking(bill, entry.circuit.key, kind)
            if reason is not None:
                changes = tried(entry, book, tables)
                offers = _offers(job, entry, kind, reason, bill, changes, repriced)
                # The next thicker conductor is the first that serves; of fuses the cheapest.
                offer = (
                    next(offers, None)
                    if kind == CONDUCTOR
                    else min(offers, key=lambda each: each.total.amount, default=None)
                )
                found += [] if offer is None else [offer]
    return tuple(found)


def _lacking(bill: Bill, circuit: str, kind: str) -> str | None:
    """Return why a circuit lacks parts of a kind, or none where it has them."""
    if any(_concerns(entry, circuit, kind) for entry in bill.unpriced):
        return NOT_LISTED
    short = (line for line in bill.lines if line.in_stock is False)
    return OUT_OF_STOCK if any(_concerns(line, circuit, kind) for line in short) else None


def _concerns(entry: Line | Unpriced, circuit: str, kind: str) -> bool:
    return entry.kind in _KINDS[kind] and any(need.circuit == circuit for need in entry.needs)


def _thicker(entry: SizedCircuit, book: PriceBook, tables: Tables) -> Iterator[Circuit]:
    """Yield the circuit with each thicker size as its least that the book sells, rising."""
    assert entry.conductor is not None
    choice = entry.circuit.conductor
    for size in tables.series[entry.conductor.series]:
        wanted = {
            "series": size.series,
            "size": size.key,
            "material": choice.material,
            "insulation": choice.insulation,
            "colour": choice.colour,
        }
        if size.rank > entry.conductor.rank and book.part_for("conductor", wanted):
            yield replace(entry.circuit, conductor=replace(choice, smallest_size=size.key))


def _other_fuses(entry: SizedCircuit, book: PriceBook, tables: Tables) -> Iterator[Circuit]:
    """Yield the circuit with each other fuse type that the book sells, its conductor kept."""
    del tables
    assert entry.conductor is not None
    choice = replace(entry.circuit.conductor, smallest_size=entry.conductor.key)
    sold = dict.fromkeys(str(part.attributes["fuse_type"]) for part in book.parts["fuse"])
    for fuse_type in sold:
        if fuse_type != entry.fuse_type:
            yield replace(entry.circuit, conductor=choice, fuse_types=(fuse_type,))


def _offers(
    job: Job,
    entry: SizedCircuit,
    kind: str,
    reason: str,
    bill: Bill,
    changes: Iterator[Circuit],
    repriced: Repriced,
) -> Iterator[Substitute]:
    key = entry.circuit.key
    for changed in changes:
        circuits, again = repriced(_with_circuit(job, changed))
        now = next(other for other in circuits if other.circuit.key == key)
        lacks_less = len(again.unpriced) < len(bill.unpriced) + (reason == OUT_OF_STOCK)
        kept = kind == CONDUCTOR or now.conductor == entry.conductor
        sized = all(other.verdict == SIZED for other in circuits)
        if sized and kept and lacks_less and _lacking(again, key, kind) is None:
            yield Substitute(
                circuit=key,
                kind=kind,
                reason=reason,
                replaced=_described(entry, kind),
                offered=_described(now, kind),
                total=again.totals.total,
                total_difference=again.totals.total - bill.totals.total,
            )


def _with_circuit(job: Job, changed: Circuit) -> Job:
    circuits = tuple(changed if item.key == changed.key else item for item in job.circuits)
    return replace(job, circuits=circuits)


def _described(entry: SizedCircuit, kind: str) -> str:
    conductor, fuse_type, rating_a = entry.built()
    return conductor.key if kind == CONDUCTOR else f"{fuse_type} {rating_a:g} A"
