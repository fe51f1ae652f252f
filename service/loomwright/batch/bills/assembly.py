"""Lines of the bills of a job's rows, put together from the cases that its pieces may be of."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from loomwright.batch.bills.contested import CoversOfJob, PlacedNeed, contested_of
from loomwright.batch.bills.line_amounts import LineAmounts, LineDiscounts
from loomwright.batch.bills.pieces import Case, PartNeed
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
        counts = {piece: len(cases) for piece, cases in enumerate(pieces)}
        placed = list(_placed(pieces))
        contested = {
            part.key
            for each in placed
            if not _is_plain(each.need, book)
            for part in each.need.parts
        }
        plain: dict[str, list[PlacedNeed]] = {}
        choices = []
        for each in placed:
            parts = each.need.parts
            if _is_plain(each.need, book) and parts[0].key not in contested:
                plain.setdefault(parts[0].key, []).append(each)
            elif parts:
                choices.append(each)
        self._plain = [
            _PlainPart(book.part_by_key[key], needs, counts, known) for key, needs in plain.items()
        ]
        self._contested = contested_of(choices, book, discounts, counts, covers)
        self._labour = [
            _Work(operation, amounts, counts, book, known)
            for key, operation in book.labour.items()
            if (amounts := list(_work(pieces, key)))
        ]
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
        parts = [
            (
                (places[own.part.key], 0),
                RowLine(
                    own.part.tax_category,
                    *own.amounts.of(own.tally.steps(chunk)),
                    own.presence.of(chunk),
                    last_days.get(own.part.key),
                ),
            )
            for own in self._plain
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
            for contested in self._contested
            for each in contested.lines(chunk)
        ]
        parts.sort(key=lambda entry: entry[0])
        labour: list[RowLine] = []
        micro_hours: Units = 0
        for work in self._labour:
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
        amounts = [Amount(each.piece, each.case, each.need.laws[0], each.need.at) for each in needs]
        self.tally = Tally(amounts, Fraction(part.sale_increment), counts)
        self.presence = Presence([(each.piece, each.case) for each in needs], counts)


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
        increment_h = Fraction(book.rules.labour_increment_h)
        self.micro_hours = int(increment_h * 10**6)
        self._presence = Presence([(each.piece, each.case) for each in amounts], counts)
        first = amounts[0]
        self._tally = Tally(amounts, increment_h, counts)
        self._once: Units = 0
        if operation.is_charged_once:
            # It is as long wherever it is needed, and measured by no length.
            once = Tally([first], increment_h, counts)
            self._once = once.steps(Chunk(1, {first.piece: first.case}, None))

    def steps(self, chunk: Chunk) -> tuple[Units, bool | npt.NDArray[np.bool_]]:
        """Return the increments of labour of the rows, and which rows have the operation."""
        is_there = self._presence.of(chunk)
        if self.operation.is_charged_once:
            return self._once * is_there, is_there
        return self._tally.steps(chunk), is_there


def _placed(pieces: Pieces) -> Iterator[PlacedNeed]:
    for piece, cases in enumerate(pieces):
        for number, case in enumerate(cases):
            for need in case.parts:
                yield PlacedNeed(piece, number, need)


def _is_plain(need: PartNeed, book: PriceBook) -> bool:
    return len(need.parts) == 1 and need.parts[0].key in book.without_choice


def _work(pieces: Pieces, operation: str) -> Iterator[Amount]:
    for piece, cases in enumerate(pieces):
        for number, case in enumerate(cases):
            for need in case.work:
                if need.operation == operation and need.hours is not None:
                    yield Amount(piece, number, need.hours, need.at)
