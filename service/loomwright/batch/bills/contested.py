"""Parts that articles compete for: the cheapest cover, found once for each distinct requirement."""

from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from itertools import combinations
from math import gcd, lcm
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.batch.bills.growth import in_steps
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
# Distinct requirements that are kept; each takes some 1 kB.
GREATEST_KNOWN_COVERS = 50_000
GREATEST_KNOWN_SCOPES = 256


@record
class PlacedNeed:
    """A need of one case of a piece, and its place among those of the case."""

    piece: int
    case: int
    place: int
    need: PartNeed


class CoverLine(NamedTuple):
    """A line of a cover: its place on a bill, and how many of its part stand before it."""

    place: int
    number: int
    category: str
    key: str


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
    discounts
        Line discounts.
    covers
        Covers that were found before.
    """

    def __init__(
        self,
        needs: Iterable[PlacedNeed],
        cluster: Cluster,
        book: PriceBook,
        discounts: LineDiscounts,
        covers: "KnownCovers",
    ) -> None:
        self._cluster, self._book, self._discounts = cluster, book, discounts
        self._known_covers = covers
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
            self._decides = _decides(self._needs, self._cluster, self._known_covers)
        return self._decides

    def lines(self, chunk: Chunk) -> list[LineColumns]:
        """Return the lines of what is bought for the rows.

        Parameters
        ----------
        chunk
            Rows.

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
        covers = self._found(decides, columns, rows, first.tolist(), chunk)
        amounts = [decides.covers.amounts[cover] for cover in covers]
        return _columns(amounts, codes if varying else None)

    def _found(
        self,
        decides: "_Decides",
        columns: Sequence[Units],
        rows: Sequence[tuple[int, ...]],
        first: Sequence[int],
        chunk: Chunk,
    ) -> list[int]:
        """Return the cover of each distinct row, as an index of what is known."""
        known = decides.covers
        known.forget_too_many()
        found = []
        for values, row in zip(rows, first, strict=True):
            left = iter(values)
            key = tuple(
                next(left) if isinstance(column, np.ndarray) else int(column) for column in columns
            )
            index = known.by_requirement.get(key)
            if index is None:
                index = known.by_requirement[key] = len(known.amounts)
                known.amounts.append(self._solved(decides, chunk, row))
            found.append(index)
        return found

    def _solved(
        self, decides: "_Decides", chunk: Chunk, row: int
    ) -> dict[CoverLine, tuple[int, int]]:
        """Return the amounts of the lines that the single bill has for the needs of a row."""
        needs = []
        for piece, by_case in decides.needs.items():
            case = chunk.cases[piece]
            for need in by_case.get(int(case[row] if isinstance(case, np.ndarray) else case), ()):
                needs.append(need.for_length(_length_m(chunk, need.at, row)))
        places, number = self._book.line_places, dict[str, int]()
        amounts: dict[CoverLine, tuple[int, int]] = {}
        for line in PartPricing(self._book).lines(needs).lines:
            number[line.key] = number.get(line.key, -1) + 1
            own = CoverLine(places[line.key], number[line.key], line.tax_category, line.key)
            amounts[own] = self._discounts.amounts(line)
        return amounts


def _columns(
    amounts: Sequence[Mapping[CoverLine, tuple[int, int]]], codes: Codes | None
) -> list[LineColumns]:
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


class _Covers:
    """Covers of needs alike, by what decides them."""

    def __init__(self) -> None:
        self.by_requirement: dict[tuple[int, ...], int] = {}
        #: By index: list total and discount of each line.
        self.amounts: list[dict[CoverLine, tuple[int, int]]] = []

    def forget_too_many(self) -> None:
        """Forget all where there are more than the greatest number."""
        if len(self.amounts) > GREATEST_KNOWN_COVERS:
            self.by_requirement.clear()
            self.amounts.clear()


class KnownCovers:
    """Covers that were found so far, of any jobs and cases."""

    def __init__(self) -> None:
        self._structures: dict[tuple[tuple[str, ...], ...], int] = {(): 0}
        self._by_scope: dict[Hashable, _Covers] = {}

    def of(self, scope: Hashable) -> _Covers:
        """Return the covers whose requirements are stated by the same figures."""
        if scope not in self._by_scope:
            if len(self._by_scope) >= GREATEST_KNOWN_SCOPES:
                self._by_scope.clear()
            self._by_scope[scope] = _Covers()
        return self._by_scope[scope]

    def structures(self, by_case: Mapping[int, Sequence[PartNeed]]) -> dict[int, int]:
        """Return a number for each case of a piece, the same where the same parts serve.

        It is 0 where none do.
        """
        known = self._structures
        return {
            case: known.setdefault(
                tuple(tuple(part.key for part in need.parts) for need in needs), len(known)
            )
            for case, needs in by_case.items()
        }


class _Decides(NamedTuple):
    """What decides the covers of needs, and those that were found where the same does.

    ``needs`` and ``structures`` are by piece and case.
    """

    needs: Mapping[int, Mapping[int, Sequence[PartNeed]]]
    structures: Mapping[int, Mapping[int, int]]
    tallies: Sequence[Tally]
    covers: _Covers


def _decides(needs: Sequence[PlacedNeed], cluster: Cluster, covers: KnownCovers) -> _Decides:
    by_case: dict[int, dict[int, list[PartNeed]]] = {}
    for each in needs:
        by_case.setdefault(each.piece, {}).setdefault(each.case, []).append(each.need)
    tallies = dict(_tallies(needs, cluster))
    articles = tuple(article.name for article in cluster.articles)
    return _Decides(
        by_case,
        {piece: covers.structures(own) for piece, own in by_case.items()},
        list(tallies.values()),
        covers.of((articles, tuple(by_case), tuple(tallies))),
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
