"""The cheapest cover of a small cluster, by looking at every plan that could be the cheapest.

Once it is settled which part serves each need and how many of each kit are bought, the parts have
nothing more to do with one another: each is bought by itself, in packs and loose. All quantities
and prices are whole numbers of one small unit, so that every comparison is exact.
"""

from collections.abc import Sequence
from decimal import Decimal
from itertools import product
from math import prod

from loomwright.engineering.record import record
from loomwright.pricing.cover import Cluster, Plan, plan_price
from loomwright.pricing.price_book import Article, finest_decimals

# At some 1 us for each plan that is looked at, this many take as long as the solver by itself.
GREATEST_PLANS = 3000

# Price of what is bought, then how much of each article, the last article first. The lesser of two
# is the cheaper plan, and of plans of one price the one to be taken.
_Rank = tuple[int, tuple[int, ...]]


@record
class _Loose:
    """Loose units of a part: the units in one step; first step and price of a unit by tier."""

    step: int
    tiers: tuple[tuple[int, int], ...]

    def cheapest(self, needed: int, room: int | None) -> tuple[int, int] | None:
        """Return price and steps of the cheapest purchase that brings what is needed.

        Within one tier fewer are never dearer, so that it is the least of some tier.
        """
        least = _over(needed, self.step)
        found = None
        for steps in (least, *(start for start, _ in self.tiers if start > least)):
            quantity = steps * self.step
            if room is None or quantity <= room:
                price = quantity * [each for start, each in self.tiers if start <= steps][-1]
                if found is None or price < found[0]:
                    found = price, steps
        return found


@record
class _Shelf:
    """One part: its loose units, units and price of each pack, the last first, and its stock."""

    loose: _Loose
    packs: tuple[tuple[int, int], ...]
    stock: int | None

    def plans(self, needed: int) -> int:
        """Return how many plans for a need there are to be looked at."""
        return prod(_over(needed, units) + 1 for units, _ in self.packs)

    def cheapest(self, needed: int, room: int | None, without: int | None) -> _Rank | None:
        """Return the cheapest purchase that brings what is needed, or none where there is none.

        ``room`` is the most that is bought, ``without`` the place of what is not bought: that of a
        pack, or behind them that of loose units.
        """
        most = [_over(needed, units) for units, _ in self.packs]
        has_loose = without != len(most)
        if without is not None and has_loose:
            most[without] = 0
        best: _Rank | None = None
        for counts in product(*[range(each + 1) for each in most]):
            units = price = steps = 0
            for count, (each, pack_price) in zip(counts, self.packs, strict=True):
                units += count * each
                price += count * pack_price
            left = None if room is None else room - units
            if left is not None and left < 0:
                continue
            if units < needed:
                loose = self.loose.cheapest(needed - units, left) if has_loose else None
                if loose is None:
                    continue
                price, steps = price + loose[0], loose[1]
            # The counts rise in the order of ranks, so that the first of one price stays.
            if best is None or price < best[0]:
                best = price, (*counts, steps)
        return best


@record
class _Kit:
    """One kit: its price, units of each part in it, how many could be needed, its stock."""

    price: int
    holds: tuple[int, ...]
    most: int
    stock: int | None

    def most_bought(self, *, within_stock: bool) -> int:
        """Return how many are bought at most."""
        return self.most if self.stock is None or not within_stock else min(self.most, self.stock)


@record
class _Giving:
    """Which part serves each need, and what each part is asked for by that."""

    serving: tuple[str, ...]
    asked: tuple[int, ...]


class Enumeration:
    """The plans of one cluster.

    Parameters
    ----------
    cluster
        Needs and articles.
    """

    def __init__(self, cluster: Cluster) -> None:
        self.cluster = cluster
        asked = [each for choice in cluster.choices for each in choice.quantities.values()]
        self._decimals = max(
            finest_decimals(asked), *[article.decimals for article in cluster.articles]
        )
        self._price_decimals = max([article.price_decimals for article in cluster.articles])
        place = {part.key: index for index, part in enumerate(cluster.parts)}
        needs = [
            [(key, place[key], self._units(each)) for key, each in choice.quantities.items()]
            for choice in cluster.choices
        ]
        most = [0] * len(place)
        for need in needs:
            for _, index, units in need:
                most[index] += units
        # The last article first, as in a rank.
        self._kit_articles = [article for article in reversed(cluster.articles) if article.kit]
        of_parts: dict[int, list[Article]] = {id(part): [] for part in cluster.parts}
        for article in reversed(cluster.articles):
            if article.part is not None:
                of_parts[id(article.part)].append(article)
        self._part_articles = list(of_parts.values())
        self._kits = [self._kit(article, most) for article in self._kit_articles]
        self._shelves = [self._shelf(articles) for articles in self._part_articles]
        self._givings = _givings(needs, len(place))
        # What is found once for a part holds for each plan that asks the same of it.
        self._bought: dict[tuple[int, int, bool, int | None], _Rank | None] = {}
        plans = sum(shelf.plans(each) for shelf, each in zip(self._shelves, most, strict=True))
        self._plans = len(self._givings) * plans * prod(kit.most + 1 for kit in self._kits)

    @property
    def is_small(self) -> bool:
        """Whether there are no more than ``GREATEST_PLANS`` plans to be looked at."""
        return 0 < self._plans <= GREATEST_PLANS

    def cheapest(
        self, *, within_stock: bool, without_one_of: frozenset[str]
    ) -> tuple[Plan, float] | None:
        """Return the cheapest plan with a gap of 0, or none where no plan is possible.

        Parameters
        ----------
        within_stock
            Whether stated stock limits what is bought.
        without_one_of
            Articles of which at least one is not bought; empty for no such condition.

        Returns
        -------
        tuple of Plan and float, or None
            The first in order of the cheapest plans.
        """
        left_out: list[str | None] = [*sorted(without_one_of)] or [None]
        found = [self._cheapest_without(name, within_stock=within_stock) for name in left_out]
        best = min((plan for plan in found if plan is not None), default=None)
        return None if best is None else (self._plan(*best), 0.0)

    def _cheapest_without(
        self, name: str | None, *, within_stock: bool
    ) -> tuple[_Rank, tuple[str, ...]] | None:
        """Return the first in order of the plans without one article, and who serves each need."""
        counts = [
            range(1 if article.name == name else 1 + kit.most_bought(within_stock=within_stock))
            for article, kit in zip(self._kit_articles, self._kits, strict=True)
        ]
        without = [
            next((place for place, each in enumerate(articles) if each.name == name), None)
            for articles in self._part_articles
        ]
        best: tuple[_Rank, tuple[str, ...]] | None = None
        for kits in product(*counts):
            price = sum(count * kit.price for count, kit in zip(kits, self._kits, strict=True))
            if best is not None and price > best[0][0]:
                continue
            held = [
                sum(count * kit.holds[index] for count, kit in zip(kits, self._kits, strict=True))
                for index in range(len(self._shelves))
            ]
            for giving in self._givings:
                rank = self._with_parts((price, kits), giving, held, without, within_stock)
                if rank is not None and (best is None or rank < best[0]):
                    best = rank, giving.serving
        return best

    def _with_parts(
        self,
        kits: _Rank,
        giving: _Giving,
        held: Sequence[int],
        without: Sequence[int | None],
        within_stock: bool,
    ) -> _Rank | None:
        """Return the rank of some kits with the cheapest purchase of all else that is asked for."""
        price, counts = kits
        for index in reversed(range(len(held))):
            needed = max(0, giving.asked[index] - held[index])
            same = index, needed, within_stock, without[index]
            if same not in self._bought:
                shelf = self._shelves[index]
                room = shelf.stock if within_stock else None
                self._bought[same] = shelf.cheapest(needed, room, without[index])
            bought = self._bought[same]
            if bought is None:
                return None
            price, counts = price + bought[0], counts + bought[1]
        return price, counts

    def _plan(self, rank: _Rank, serving: tuple[str, ...]) -> Plan:
        in_order = [*self._kit_articles]
        for articles in reversed(self._part_articles):
            in_order += articles
        bought = {
            article.name: count * article.step
            for article, count in zip(reversed(in_order), reversed(rank[1]), strict=True)
            if count
        }
        return Plan(bought, serving, plan_price(self.cluster, bought))

    def _units(self, quantity: Decimal) -> int:
        """Return a quantity in units of its last decimal."""
        return int(quantity.scaleb(self._decimals))

    def _price(self, price: Decimal) -> int:
        """Return a price in units of its last decimal."""
        return int(price.scaleb(self._price_decimals))

    def _kit(self, article: Article, most: Sequence[int]) -> _Kit:
        nothing = Decimal(0)
        holds = tuple(
            self._units(article.supplies.get(part.key, nothing)) for part in self.cluster.parts
        )
        kit = article.kit
        assert kit is not None
        return _Kit(
            price=self._price(kit.unit_price) * 10**self._decimals,
            holds=holds,
            most=max(_over(needed, each) for needed, each in zip(most, holds, strict=True) if each),
            stock=None if kit.stock is None else int(kit.stock),
        )

    def _shelf(self, articles: Sequence[Article]) -> _Shelf:
        *packs, loose = articles
        part = loose.part
        assert part is not None
        step, one = self._units(loose.step), 10**self._decimals
        return _Shelf(
            loose=_Loose(
                step,
                tuple(
                    (_over(self._units(least), step), self._price(each))
                    for least, each in loose.tiers
                ),
            ),
            packs=tuple(
                (self._units(pack.quantity), self._price(pack.price) * one)
                for pack in (article.pack for article in packs)
                if pack is not None
            ),
            stock=None if part.stock is None else self._units(part.stock),
        )


def _givings(needs: Sequence[Sequence[tuple[str, int, int]]], parts: int) -> list[_Giving]:
    """Return the ways to give needs to parts, in order: the first parts to the first needs.

    Of ways that ask the same of each part the first stands for all. Too many are none.
    """
    found: dict[tuple[int, ...], tuple[str, ...]] = {(0,) * parts: ()}
    for need in needs:
        longer: dict[tuple[int, ...], tuple[str, ...]] = {}
        for asked, serving in found.items():
            for key, index, units in need:
                more = (*asked[:index], asked[index] + units, *asked[index + 1 :])
                longer.setdefault(more, (*serving, key))
        if len(longer) > GREATEST_PLANS:
            return []
        found = longer
    return [_Giving(serving, asked) for asked, serving in found.items()]


def _over(needed: int, each: int) -> int:
    """Return the least count that is not below what is needed."""
    return -(-needed // each)
