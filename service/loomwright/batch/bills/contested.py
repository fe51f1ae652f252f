"""Parts that articles compete for: the cheapest cover, found once for each distinct requirement."""

from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from itertools import combinations
from math import gcd, lcm
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.batch.bills.covers import AmountsOfCover, CoverLine, Structures
from loomwright.batch.bills.growth import in_steps
from loomwright.batch.bills.known_amounts import KnownAmounts
from loomwright.batch.bills.lengths import CircuitStretch
from loomwright.batch.bills.line_amounts import LineDiscounts
from loomwright.batch.bills.pieces import PartNeed
from loomwright.batch.bills.tally import Amount, Chunk, Tally
from loomwright.batch.codes import ONE_ROW, Codes, coded_rows
from loomwright.engineering.record import record
from loomwright.pricing.cover import Cluster
from loomwright.pricing.growing import Growing
from loomwright.pricing.minor_units import Units
from loomwright.pricing.part_lines import PartPricing
from loomwright.pricing.price_book import PriceBook

# Needs that several parts serve, of which each part may be given any: up to here their sums are
# looked at for all of these, beyond it each need for itself.
_GREATEST_SUBSETS = 4


@record
class PlacedNeed:
    """A need of one case of a piece, and its place among those of the case."""

    piece: int
    case: int
    place: int
    need: PartNeed


@record
class LineColumns:
    """A line of many rows, 0 where a row has none."""

    line: CoverLine
    listed: Units
    discount: Units
    is_there: bool | npt.NDArray[np.bool_]


class Contested:
    """Needs that have articles in common, in whichever rows they are.

    Parameters
    ----------
    needs
        Those that are known so far, one or more.
    cluster
        Parts and articles of the book that may serve them.
    book
        Price book, with what holds on the day.
    structures
        Numbers for which parts serve needs.
    """

    def __init__(
        self,
        needs: Iterable[PlacedNeed],
        cluster: Cluster,
        book: PriceBook,
        structures: Structures,
    ) -> None:
        self._cluster, self._book, self._structures = cluster, book, structures
        self._needs = list(needs)
        self._decides: _Decides | None = None

    def add(self, need: PlacedNeed) -> None:
        """Let a need join that parts of the cluster serve."""
        self._needs.append(need)
        self._decides = None

    def _what_decides(self) -> "_Decides":
        """Return what decides the covers, made again when needs have joined."""
        if self._decides is None:
            # Of plans as cheap as each other the single bill takes one by the order of its needs.
            self._needs.sort(key=lambda each: (each.piece, each.case, each.place))
            self._decides = _decides(self._needs, self._cluster, self._structures)
        return self._decides

    def lines(self, chunk: Chunk, known: KnownAmounts) -> list[LineColumns]:
        """Return the lines of what is bought for the rows.

        Parameters
        ----------
        chunk
            Rows.
        known
            Covers found before; those that are found now join them.

        Returns
        -------
        list of LineColumns
            Without such as no row has.
        """
        decides = self._what_decides()
        columns: list[Units] = [
            chunk.of_rows(piece, chunk.of_present(piece, structures))
            for piece, structures in decides.structures.items()
        ]
        columns += [tally.steps(chunk) for tally in decides.tallies]
        varying = [column for column in columns if isinstance(column, np.ndarray)]
        codes, rows = coded_rows(varying) if varying else ONE_ROW
        first = np.empty(len(rows), np.int64)
        first[codes] = np.arange(codes.size)
        amounts = self._found(decides, columns, rows, first.tolist(), chunk, known)
        return _columns(amounts, codes if varying else None)

    def _found(
        self,
        decides: "_Decides",
        columns: Sequence[Units],
        rows: Sequence[tuple[int, ...]],
        first: Sequence[int],
        chunk: Chunk,
        known: KnownAmounts,
    ) -> list[AmountsOfCover]:
        """Return the amounts of the cover of each distinct row."""
        covers = known.covers(decides.scope, self._cluster)
        covers.forget_too_many()
        found = []
        for values, row in zip(rows, first, strict=True):
            left = iter(values)
            key = tuple(
                next(left) if isinstance(column, np.ndarray) else int(column) for column in columns
            )
            amounts = covers.by_requirement.get(key)
            if amounts is None:
                amounts = self._solved(decides, chunk, row, known.discounts)
                covers.by_requirement[key] = amounts
            found.append(amounts)
        return found

    def _solved(
        self, decides: "_Decides", chunk: Chunk, row: int, discounts: LineDiscounts
    ) -> AmountsOfCover:
        """Return the amounts of the lines that the single bill has for the needs of a row."""
        needs = []
        for piece, by_case in decides.needs.items():
            case = chunk.cases[piece]
            for need in by_case.get(int(case[row] if isinstance(case, np.ndarray) else case), ()):
                needs.append(need.for_length(_length_m(chunk, need.at, row)))
        places, number = self._book.line_places, dict[str, int]()
        amounts: AmountsOfCover = {}
        pricing = PartPricing(self._book, has_runners_up=False)
        for line in pricing.lines(needs).lines:
            number[line.key] = number.get(line.key, -1) + 1
            own = CoverLine(places[line.key], number[line.key], line.tax_category, line.key)
            amounts[own] = discounts.amounts(line)
        return amounts


def _columns(amounts: Sequence[AmountsOfCover], codes: Codes | None) -> list[LineColumns]:
    """Return the lines of rows by the code of each, or of all rows by the one that there is."""
    found = []
    for line in dict.fromkeys(line for own in amounts for line in own):
        of_line = [own.get(line) for own in amounts]
        is_there = np.array([each is not None for each in of_line])
        listed, discount = np.array([each or (0, 0) for each in of_line], np.int64).T
        if codes is None:
            found.append(LineColumns(line, int(listed[0]), int(discount[0]), True))
        else:
            found.append(LineColumns(line, listed[codes], discount[codes], is_there[codes]))
    return found


class _Decides(NamedTuple):
    """What decides the covers of needs.

    ``needs`` and ``structures`` are by piece and case; ``scope`` tells the figures apart.
    """

    needs: Mapping[int, Mapping[int, Sequence[PartNeed]]]
    structures: Mapping[int, Mapping[int, int]]
    tallies: Sequence[Tally]
    scope: Hashable


def _decides(needs: Sequence[PlacedNeed], cluster: Cluster, structures: Structures) -> _Decides:
    by_case: dict[int, dict[int, list[PartNeed]]] = {}
    for each in needs:
        by_case.setdefault(each.piece, {}).setdefault(each.case, []).append(each.need)
    tallies = dict(_tallies(needs, cluster))
    articles = tuple(article.name for article in cluster.articles)
    return _Decides(
        by_case,
        {piece: structures.of(own) for piece, own in by_case.items()},
        list(tallies.values()),
        (articles, tuple(by_case), tuple(tallies)),
    )


def _tallies(needs: Sequence[PlacedNeed], cluster: Cluster) -> Iterator[tuple[Hashable, Tally]]:
    """Yield what decides a cover: what each part is asked for, in steps of all its articles.

    Each has a name, which tells the part and the needs that may be given to it.

    All that is bought of a part is a multiple of the greatest common divisor of what its articles
    bring, so that two requirements with the same least multiples have the same covers. A need that
    several parts serve may be given to a part or not, and each such sum is looked at.
    """
    for part in cluster.parts:
        own = [
            (each, each.need.laws[each.need.parts.index(part)])
            for each in needs
            if part in each.need.parts
        ]
        steps = [
            Fraction(article.supplies[part.key])
            for article in cluster.articles
            if part.key in article.supplies
        ]
        step = _greatest_divisor(steps)
        fixed = [_amount(each, law, step) for each, law in own if len(each.need.parts) == 1]
        free = _slots([(each, law) for each, law in own if len(each.need.parts) > 1], step)
        if len(free) > _GREATEST_SUBSETS:
            if fixed:
                tally = _exact_tally(fixed)
                yield (part.key, tally.denominator), tally
            for slot, amounts in free.items():
                tally = _exact_tally(amounts)
                yield (part.key, slot, tally.denominator), tally
            continue
        for count in range(len(free) + 1):
            for given in combinations(free, count):
                amounts = fixed + [amount for slot in given for amount in free[slot]]
                if amounts:
                    yield (part.key, given), Tally(amounts)


def _slots(
    free: Sequence[tuple[PlacedNeed, Growing]], step: Fraction
) -> dict[tuple[int, int], list[Amount]]:
    """Return needs that no row has two of together as one: those of other cases of a piece."""
    by_slot: dict[tuple[int, int], list[Amount]] = {}
    met: dict[tuple[int, int], int] = {}
    for each, law in free:
        number = met[each.piece, each.case] = met.get((each.piece, each.case), -1) + 1
        by_slot.setdefault((each.piece, number), []).append(_amount(each, law, step))
    return by_slot


def _amount(each: PlacedNeed, law: Growing, step: Fraction) -> Amount:
    return Amount(each.piece, each.case, in_steps(law, step), each.need.at)


def _exact_tally(amounts: Sequence[Amount]) -> Tally:
    """Return a sum in steps so small that nothing is rounded."""
    whole = _in_steps_of(amounts, Fraction(1))
    return Tally(_in_steps_of(amounts, Fraction(1, Tally(whole).denominator)))


def _in_steps_of(amounts: Sequence[Amount], step: Fraction) -> list[Amount]:
    return [each._replace(stepped=in_steps(each.stepped.law, step)) for each in amounts]


def _greatest_divisor(steps: Sequence[Fraction]) -> Fraction:
    denominator = lcm(*(step.denominator for step in steps))
    return Fraction(gcd(*(int(step * denominator) for step in steps)), denominator)


def _length_m(chunk: Chunk, at: CircuitStretch | None, row: int) -> Decimal | None:
    if at is None:
        return None
    length = chunk.micrometres(at)
    micrometres = int(length[row]) if isinstance(length, np.ndarray) else length
    return Decimal(micrometres).scaleb(-6)
