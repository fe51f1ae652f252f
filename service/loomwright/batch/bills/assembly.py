"""Lines of the bills of a job's rows, put together from the cases that its pieces may be of."""

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import Generic, Protocol, TypeVar

import numpy as np
import numpy.typing as npt

from loomwright.batch.bills.contested import CoversOfJob, PlacedNeed, contested_of
from loomwright.batch.bills.line_amounts import LineAmounts, LineDiscounts
from loomwright.batch.bills.pieces import Case
from loomwright.batch.bills.tally import Amount, Chunk, Presence, Tally
from loomwright.batch.bills.unpriced import Unserved
from loomwright.engineering.record import record
from loomwright.pricing.labour_lines import operation_line
from loomwright.pricing.lines import Line
from loomwright.pricing.minor_units import Units
from loomwright.pricing.money import money_from_minor_units
from loomwright.pricing.part_lines import PartPricing
from loomwright.pricing.price_book import LabourOperation, Part, PriceBook

# Pieces, each with its cases, in the order of a bill.
Pieces = Sequence[Sequence[Case]]


@record
class RowLine:
    """A line of many rows, 0 where a row has none; ``last_day`` is that of its price."""

    category: str
    listed: Units
    discount: Units
    is_there: bool | npt.NDArray[np.bool_]
    last_day: date | None


@record
class RowLines:
    """Lines of many rows, parts and labour each in the order of a bill."""

    parts: list[RowLine]
    labour: list[RowLine]
    micro_hours: Units


class Assembly:
    """Lines of all rows that are of some cases.

    Parameters
    ----------
    pieces
        Cases of each piece.
    book
        Price book, with what holds on the day.
    known
        Amounts of lines met before, by key; those that are met now join them.
    discounts
        Line discounts.
    covers
        Covers of the job that were found before; those that are found now join them.
    """

    def __init__(
        self,
        pieces: Pieces,
        book: PriceBook,
        known: "KnownAmounts",
        discounts: LineDiscounts,
        covers: CoversOfJob,
    ) -> None:
        self._book = book
        self._counts = counts = {piece: len(cases) for piece, cases in enumerate(pieces)}
        placed = [
            PlacedNeed(piece, number, need)
            for piece, cases in enumerate(pieces)
            for number, case in enumerate(cases)
            for need in case.parts
        ]
        contested = {
            part.key for each in placed if not each.need.is_plain for part in each.need.parts
        }
        plain: dict[str, list[PlacedNeed]] = {}
        choices = []
        for each in placed:
            parts = each.need.parts
            if each.need.is_plain and parts[0].key not in contested:
                plain.setdefault(parts[0].key, []).append(each)
            elif parts:
                choices.append(each)
        self._plain = _Lines(
            [_PlainPart(book.part_by_key[key], own, counts, known) for key, own in plain.items()],
            counts,
        )
        self._contested = _Lines(contested_of(choices, book, discounts, counts, covers), counts)
        work = _work(pieces)
        self._labour = _Lines(
            [
                _Work(operation, work[key], counts, book, known)
                for key, operation in book.labour.items()
                if key in work
            ],
            counts,
        )
        self.unserved = Unserved(pieces, counts)

    def lines(self, chunk: Chunk) -> RowLines:
        """Return the lines of rows at list price with their own discounts.

        Parameters
        ----------
        chunk
            Rows.

        Returns
        -------
        RowLines
            Without the least charge for labour.

        Raises
        ------
        TooGreatError
            A quantity has more digits than 64 bits hold.
        """
        last_days, places = self._book.last_days, self._book.line_places
        has_cases = chunk.has_cases(self._counts)
        parts = [
            (
                (places[own.part.key], 0),
                RowLine(
                    own.part.tax_category,
                    *own.amounts.of(own.tally.steps(chunk)),
                    # It is asked for no line without a last day.
                    own.part.key not in last_days or own.presence.of(chunk),
                    last_days.get(own.part.key),
                ),
            )
            for own in self._plain.of(has_cases)
        ]
        parts += [
            (
                (each.line.place, each.line.number),
                RowLine(
                    each.line.category,
                    each.listed,
                    each.discount,
                    each.is_there,
                    last_days.get(each.line.key),
                ),
            )
            for contested in self._contested.of(has_cases)
            for each in contested.lines(chunk)
        ]
        parts.sort(key=lambda entry: entry[0])
        labour: list[RowLine] = []
        micro_hours: Units = 0
        for work in self._labour.of(has_cases):
            steps, is_there = work.steps(chunk)
            labour.append(
                RowLine(work.operation.tax_category, *work.amounts.of(steps), is_there, None)
            )
            micro_hours = micro_hours + steps * work.micro_hours
        return RowLines([line for _, line in parts], labour, micro_hours)


class KnownAmounts:
    """Amounts of the lines of a price book, each made when first asked for.

    Parameters
    ----------
    book
        Price book, with what holds on the day.
    discounts
        Line discounts.
    """

    def __init__(self, book: PriceBook, discounts: LineDiscounts) -> None:
        self._book, self._discounts = book, discounts
        self._pricing = PartPricing(book)
        self._nothing = money_from_minor_units(0, book.currency)
        self._of_parts: dict[str, LineAmounts] = {}
        self._of_labour: dict[str, LineAmounts] = {}

    def of_part(self, part: Part) -> LineAmounts:
        """Return the amounts of a part that is sold loose at one price, by its increments."""

        def line(steps: int) -> Line:
            return self._pricing.loose_line(part, steps * part.sale_increment)

        return self._kept(self._of_parts, part.key, line)

    def of_labour(self, operation: LabourOperation) -> LineAmounts:
        """Return the amounts of an operation, by the increments of labour."""
        increment_h = self._book.rules.labour_increment_h

        def line(steps: int) -> Line:
            return operation_line(operation, steps * increment_h, self._book, self._nothing)

        return self._kept(self._of_labour, operation.key, line)

    def _kept(
        self, known: dict[str, LineAmounts], key: str, line: Callable[[int], Line]
    ) -> LineAmounts:
        if key not in known:
            known[key] = LineAmounts(line, self._discounts)
        return known[key]


Placed = TypeVar("Placed", bound="_HasPlaces")


class _HasPlaces(Protocol):
    @property
    def places(self) -> Sequence[tuple[int, int]]:
        """Piece and case of each need."""


class _Lines(Generic[Placed]):
    """What makes lines, of which some rows have few: those that are needed are found at once."""

    def __init__(self, every: Sequence[Placed], counts: Mapping[int, int]) -> None:
        self._every = every
        firsts = dict(zip(counts, np.cumsum([0, *counts.values()]).tolist(), strict=False))
        self._needed_by = np.zeros((len(every), sum(counts.values())), np.bool_)
        for row, each in zip(self._needed_by, every, strict=True):
            row[[firsts[piece] + case for piece, case in each.places]] = True

    def of(self, has_cases: npt.NDArray[np.bool_]) -> list[Placed]:
        """Return those that any case needs of which there are rows."""
        needed = (self._needed_by & has_cases).any(axis=1)
        return [self._every[index] for index in np.flatnonzero(needed).tolist()]


class _PlainPart:
    """A part that nothing competes with."""

    def __init__(
        self,
        part: Part,
        needs: Sequence[PlacedNeed],
        counts: Mapping[int, int],
        known: KnownAmounts,
    ) -> None:
        self.part, self.amounts = part, known.of_part(part)
        self.places = [(each.piece, each.case) for each in needs]
        self.tally = Tally(
            [Amount(each.piece, each.case, each.need.stepped[0], each.need.at) for each in needs],
            counts,
        )
        self.presence = Presence(self.places, counts)


class _Work:
    """An operation of the price book."""

    def __init__(
        self,
        operation: LabourOperation,
        amounts: Sequence[Amount],
        counts: Mapping[int, int],
        book: PriceBook,
        known: KnownAmounts,
    ) -> None:
        self.operation, self.amounts = operation, known.of_labour(operation)
        self.micro_hours = int(book.rules.labour_increment_h.scaleb(6))
        self.places = [(each.piece, each.case) for each in amounts]
        self._is_presence_asked = bool(book.labour_minimum) or operation.is_charged_once
        self._presence = Presence(self.places, counts)
        self._tally = Tally(amounts, counts)
        self._once: Units = 0
        if operation.is_charged_once:
            # It is as long wherever it is needed, and measured by no length.
            first = amounts[0]
            once = Tally([first], counts)
            self._once = once.steps(Chunk(1, {first.piece: first.case}, None))

    def steps(self, chunk: Chunk) -> tuple[Units, bool | npt.NDArray[np.bool_]]:
        """Return the increments of labour of the rows, and which rows have the operation."""
        is_there = self._presence.of(chunk) if self._is_presence_asked else True
        if self.operation.is_charged_once:
            return self._once * is_there, is_there
        return self._tally.steps(chunk), is_there


def _work(pieces: Pieces) -> dict[str, list[Amount]]:
    """Return the labour of all cases, by operation."""
    found: dict[str, list[Amount]] = {}
    for piece, cases in enumerate(pieces):
        for number, case in enumerate(cases):
            for need in case.work:
                if need.stepped is not None:
                    amount = Amount(piece, number, need.stepped, need.at)
                    found.setdefault(need.operation, []).append(amount)
    return found
