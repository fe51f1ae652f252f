"""Which needs articles compete for, as cases join."""

from collections.abc import Hashable, Iterable, Sequence
from decimal import Decimal

from loomwright.batch.bills.contested import Contested, PlacedNeed
from loomwright.batch.bills.covers import Structures
from loomwright.pricing.cover import Choice, Cluster, clusters
from loomwright.pricing.price_book import PriceBook


class Contests:
    """Needs that articles compete for, in groups that have no article in common.

    Parameters
    ----------
    book
        Price book, with what holds on the day.
    structures
        Numbers for which parts serve needs.
    """

    def __init__(self, book: PriceBook, structures: Structures) -> None:
        self._book, self._structures = book, structures
        self._needs: list[PlacedNeed] = []
        # What competes does not depend on quantities, nor on how often the same parts may serve.
        self._choices: dict[tuple[str, ...], Choice] = {}
        self._groups: dict[Hashable, Contested] = {}
        self._by_part: dict[str, Contested] = {}

    def __contains__(self, part: str) -> bool:
        """Whether the part of a key serves any of them."""
        return part in self._by_part

    def add(self, needs: Sequence[PlacedNeed]) -> None:
        """Let needs join: groups stay as they are unless a need is of them, or joins them.

        Parameters
        ----------
        needs
            Each served by one part or more.
        """
        choices = {}
        for each in needs:
            keys = tuple(part.key for part in each.need.parts)
            if keys not in self._choices:
                choices[keys] = Choice(dict.fromkeys(keys, Decimal(1)))
        if choices:
            self._choices |= choices
            self._group()
        for each in needs:
            self._by_part[each.need.parts[0].key].add(each)
        self._needs += needs

    def _group(self) -> None:
        """Form the groups again, of which those stay that are of the same parts and articles."""
        before, self._groups = self._groups, {}
        for cluster in clusters(list(self._choices.values()), self._book):
            keys = {part.key for part in cluster.parts}
            scope = frozenset(keys), frozenset(article.name for article in cluster.articles)
            own = before.get(scope) or self._contested(cluster, keys)
            self._groups[scope] = own
            self._by_part |= dict.fromkeys(keys, own)

    def _contested(self, cluster: Cluster, keys: set[str]) -> Contested:
        needs = [each for each in self._needs if each.need.parts[0].key in keys]
        return Contested(needs, cluster, self._book, self._structures)

    def of(self, parts: Iterable[str]) -> list[Contested]:
        """Return the groups that any of the parts are of."""
        found = (self._by_part[key] for key in parts if key in self._by_part)
        return list({id(own): own for own in found}.values())
