"""Lines of the bills of a job's rows, put together from the cases that its pieces may be of."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date

import numpy as np
import numpy.typing as npt

from loomwright.batch.bills.contested import KnownCovers, PlacedNeed
from loomwright.batch.bills.contests import Contests
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
    """Lines of all rows that are of some cases, which join one by one.

    A line stays as it is when a case joins that does not need it.

    Parameters
    ----------
    book
        Price book, with what holds on the day.
    known
        Amounts of lines met before; those that are met now join them.
    """

    def __init__(self, book: PriceBook, known: "KnownAmounts") -> None:
        self._book, self._known = book, known
        self._plain: dict[str, _PlainPart] = {}
        self._contests = Contests(book, known.discounts, known.covers)
        self._labour: dict[str, _Work] = {}
        self._needed_parts, self._needed_work = _KeysOfCases(), _KeysOfCases()
        self.unserved = Unserved()

    def join(self, piece: int, number: int, case: Case) -> None:
        """Let a case join.

        Parameters
        ----------
        piece
            Index of its piece, which are in the order of a bill.
        number
            Which case of the piece it is.
        case
            What it needs.
        """
        needs = [
            PlacedNeed(piece, number, place, need)
            for place, need in enumerate(case.parts)
            if need.parts
        ]
        keys = (part.key for each in needs for part in each.need.parts)
        self._needed_parts.enter(piece, number, keys)
        self._join_parts(needs)
        self._needed_work.enter(piece, number, self._joined_work(piece, number, case))
        self.unserved.join(piece, number, case)

    def _join_parts(self, needs: Sequence[PlacedNeed]) -> None:
        contested = [each for each in needs if not each.need.is_plain]
        keys = {part.key for each in contested for part in each.need.parts}
        # What nothing competed with so far, if now anything does.
        for key in keys.intersection(self._plain):
            contested += self._plain.pop(key).needs
        for each in needs:
            if each.need.is_plain:
                (part,) = each.need.parts
                if part.key in keys or part.key in self._contests:
                    contested.append(each)
                else:
                    self._plain_part(part).add(each)
        self._contests.add(contested)

    def _plain_part(self, part: Part) -> "_PlainPart":
        if part.key not in self._plain:
            self._plain[part.key] = _PlainPart(part, self._known)
        return self._plain[part.key]

    def _joined_work(self, piece: int, number: int, case: Case) -> Iterator[str]:
        """Let the labour of a case join, and yield its operations."""
        for need in case.work:
            if need.stepped is not None:
                key, amount = need.operation, Amount(piece, number, need.stepped, need.at)
                if key not in self._labour:
                    operation = self._book.labour[key]
                    self._labour[key] = _Work(operation, amount, self._book, self._known)
                self._labour[key].add(amount)
                yield key

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
        needed = self._needed_parts.of(chunk)
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
            for own in (self._plain[key] for key in needed if key in self._plain)
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
            for contested in self._contests.of(needed)
            for each in contested.lines(chunk)
        ]
        parts.sort(key=lambda entry: entry[0])
        labour: list[RowLine] = []
        operations = self._needed_work.of(chunk)
        micro_hours: Units = 0
        for work in (self._labour[key] for key in self._book.labour if key in operations):
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
        self._book = book
        #: Line discounts.
        self.discounts = discounts
        #: Amounts of what articles compete for.
        self.covers = KnownCovers()
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
            known[key] = LineAmounts(line, self.discounts)
        return known[key]


class _KeysOfCases:
    """Keys of what the cases need."""

    def __init__(self) -> None:
        self._by_case: dict[int, dict[int, list[str]]] = {}

    def enter(self, piece: int, number: int, keys: Iterable[str]) -> None:
        """Enter the keys of one more case."""
        self._by_case.setdefault(piece, {})[number] = list(dict.fromkeys(keys))

    def of(self, chunk: Chunk) -> dict[str, None]:
        """Return those of all cases of which there are rows, each once."""
        found: dict[str, None] = {}
        for piece, by_case in self._by_case.items():
            for case in chunk.present(piece):
                found.update(dict.fromkeys(by_case[case]))
        return found


class _PlainPart:
    """A part that nothing competes with."""

    def __init__(self, part: Part, known: KnownAmounts) -> None:
        self.part, self.amounts = part, known.of_part(part)
        self.needs: list[PlacedNeed] = []
        self.tally, self.presence = Tally(), Presence()

    def add(self, each: PlacedNeed) -> None:
        """Let a need join."""
        self.needs.append(each)
        self.tally.add(Amount(each.piece, each.case, each.need.stepped[0], each.need.at))
        self.presence.add(each.piece, each.case)


class _Work:
    """An operation of the price book, which is as long as ``first`` where it is charged once."""

    def __init__(
        self, operation: LabourOperation, first: Amount, book: PriceBook, known: KnownAmounts
    ) -> None:
        self.operation, self.amounts = operation, known.of_labour(operation)
        self.micro_hours = int(book.rules.labour_increment_h.scaleb(6))
        self._is_presence_asked = bool(book.labour_minimum) or operation.is_charged_once
        self._presence, self._tally = Presence(), Tally()
        # It is as long wherever it is needed, and measured by no length.
        self._once = Tally([first]) if operation.is_charged_once else None
        self._at_first = Chunk(1, {first.piece: first.case}, None)

    def add(self, amount: Amount) -> None:
        """Let what one more case needs of it join."""
        self._presence.add(amount.piece, amount.case)
        self._tally.add(amount)

    def steps(self, chunk: Chunk) -> tuple[Units, bool | npt.NDArray[np.bool_]]:
        """Return the increments of labour of the rows, and which rows have the operation."""
        is_there = self._presence.of(chunk) if self._is_presence_asked else True
        if self._once is not None:
            return self._once.steps(self._at_first) * is_there, is_there
        return self._tally.steps(chunk), is_there
