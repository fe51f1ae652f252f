"""Lines of the bills of a job's rows, put together from the cases that its pieces may be of."""

from collections.abc import Iterable, Sequence
from datetime import date

import numpy as np
import numpy.typing as npt

from loomwright.batch.bills.contested import PlacedNeed
from loomwright.batch.bills.contests import Contests
from loomwright.batch.bills.covers import Structures
from loomwright.batch.bills.known_amounts import KnownAmounts
from loomwright.batch.bills.pieces import DIFFICULTY, PartNeed, WorkNeed
from loomwright.batch.bills.tally import Amount, Chunk, Presence, Tally
from loomwright.batch.bills.unpriced import Unserved
from loomwright.engineering.record import record
from loomwright.pricing.minor_units import Units
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

    A line stays as it is when a case joins that does not need it. Nothing of it depends on
    discounts.

    Parameters
    ----------
    book
        Price book, with what holds on the day.
    structures
        Numbers for which parts serve needs, of all jobs of the book.
    """

    def __init__(self, book: PriceBook, structures: Structures) -> None:
        self._book = book
        self._plain: dict[str, _PlainPart] = {}
        self._contests = Contests(book, structures)
        self._labour: dict[str, _Work] = {}
        self._needed_parts, self._needed_work = _KeysOfCases(), _KeysOfCases()
        self.unserved = Unserved()

    def join(self, piece: int, number: int, parts: Sequence[PartNeed]) -> None:
        """Let the parts of a case join.

        Parameters
        ----------
        piece
            Index of its piece, which are in the order of a bill.
        number
            Which case of the piece it is.
        parts
            Those that it needs.
        """
        needs = [
            PlacedNeed(piece, number, place, need) for place, need in enumerate(parts) if need.parts
        ]
        keys = (part.key for each in needs for part in each.need.parts)
        self._needed_parts.enter(piece, number, keys)
        self._join_parts(needs)
        self.unserved.join(piece, number, parts)

    def join_work(self, piece: int, number: int, work: Sequence[WorkNeed], difficulty: int) -> None:
        """Let the labour of a case join.

        Parameters
        ----------
        piece
            Index of the piece of labour.
        number
            Which case of the piece it is.
        work
            What it needs.
        difficulty
            Case of the difficulty that it is needed with.
        """
        known = [need for need in work if need.stepped is not None]
        self._needed_work.enter(piece, number, (need.operation for need in known))
        for need in known:
            key = need.operation
            if key not in self._labour:
                self._labour[key] = _Work(self._book.labour[key], self._book)
            self._labour[key].add(piece, number, need, difficulty)
        self.unserved.join_work(piece, number, work)

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
            self._plain[part.key] = _PlainPart(part)
        return self._plain[part.key]

    def lines(self, chunk: Chunk, known: KnownAmounts) -> RowLines:
        """Return the lines of rows at list price with their own discounts.

        Parameters
        ----------
        chunk
            Rows.
        known
            Amounts of lines met before; those that are met now join them.

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
                    *known.of_part(own.part).of(own.tally.steps(chunk)),
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
            for each in contested.lines(chunk, known)
        ]
        parts.sort(key=lambda entry: entry[0])
        labour: list[RowLine] = []
        operations = self._needed_work.of(chunk)
        micro_hours: Units = 0
        for work in (self._labour[key] for key in self._book.labour if key in operations):
            steps, is_there = work.steps(chunk)
            amounts = known.of_labour(work.operation).of(steps)
            labour.append(RowLine(work.operation.tax_category, *amounts, is_there, None))
            micro_hours = micro_hours + steps * work.micro_hours
        return RowLines([line for _, line in parts], labour, micro_hours)


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

    def __init__(self, part: Part) -> None:
        self.part = part
        self.needs: list[PlacedNeed] = []
        self.tally, self.presence = Tally(), Presence()

    def add(self, each: PlacedNeed) -> None:
        """Let a need join."""
        self.needs.append(each)
        self.tally.add(Amount(each.piece, each.case, each.need.stepped[0], each.need.at))
        self.presence.add(each.piece, each.case)


class _Work:
    """An operation of the price book."""

    def __init__(self, operation: LabourOperation, book: PriceBook) -> None:
        self.operation = operation
        self.micro_hours = int(book.rules.labour_increment_h.scaleb(6))
        self._is_presence_asked = bool(book.labour_minimum) or operation.is_charged_once
        self._presence, self._tally = Presence(), Tally()
        self._met: set[int] = set()

    def add(self, piece: int, number: int, need: WorkNeed, difficulty: int) -> None:
        """Let what one more case needs of it join."""
        assert need.stepped is not None
        self._presence.add(piece, number)
        if not self.operation.is_charged_once:
            self._tally.add(Amount(piece, number, need.stepped, need.at))
        elif difficulty not in self._met:
            # It is as long wherever it is needed, and measured by no length.
            self._met.add(difficulty)
            self._tally.add(Amount(DIFFICULTY, difficulty, need.stepped, None))

    def steps(self, chunk: Chunk) -> tuple[Units, bool | npt.NDArray[np.bool_]]:
        """Return the increments of labour of the rows, and which rows have the operation."""
        is_there = self._presence.of(chunk) if self._is_presence_asked else True
        steps = self._tally.steps(chunk)
        return steps * is_there if self.operation.is_charged_once else steps, is_there
