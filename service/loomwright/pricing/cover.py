"""The cheapest articles that cover what a job needs: loose units, packs and kits.

A *need* is a requirement that one or more equally good parts serve; it is served by one of them as
a whole. An *article* is what is bought: a part loose, in increments; a sealed pack of it; a kit.
Needs and articles that have to do with each other make a *cluster*, and each cluster is solved by
itself.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import ROUND_CEILING, Decimal
from itertools import chain
from typing import Protocol

from loomwright.engineering.record import record
from loomwright.pricing.kept import Kept
from loomwright.pricing.price_book import Article, Kit, Part, PriceBook
from loomwright.pricing.requirements import rounded_up

# Of one price book; each takes some kB.
_GREATEST_KNOWN_COVERS = 256


class CoverError(RuntimeError):
    """A cover that cannot be what it claims: the solver failed, or its answer does not check."""


@record
class Choice:
    """A need as the cover sees it: the quantity in the unit of each part that serves it."""

    quantities: Mapping[str, Decimal]


@record
class Cluster:
    """Needs, the parts that serve them and the articles that supply those parts."""

    choices: tuple[Choice, ...]
    parts: tuple[Part, ...]
    articles: tuple[Article, ...]


@record
class Plan:
    """What is bought, by name of the article, and the part that serves each need."""

    quantities: Mapping[str, Decimal]
    serving: tuple[str, ...]
    price: Decimal

    @property
    def support(self) -> frozenset[str]:
        """Names of the articles that are bought."""
        return frozenset(self.quantities)


@record
class ClusterCover:
    """The cheapest plan of a cluster.

    ``runner_up`` is the cheapest plan that does without at least one of the articles bought, none
    where all are needed. ``gap`` is the solver's proof: what may lie between the plan and the
    optimum, relative.
    ``within_stock`` is false where stock alone does not cover the needs and was left out of
    account.
    """

    cluster: Cluster
    plan: Plan
    runner_up: Plan | None
    gap: float
    within_stock: bool


class CheapestPlan(Protocol):
    """Finds the cheapest plan of one cluster."""

    def __call__(
        self, *, within_stock: bool, without_one_of: frozenset[str]
    ) -> tuple[Plan, float] | None:
        """Return the cheapest plan and its relative gap, or none where there is no plan.

        Unless the set is empty, a plan does without at least one of ``without_one_of``. Of plans
        of one price it is the one with the fewest of the cluster's last article, then of the one
        before it and so on, and then the one in which the first needs are served by the first of
        their parts.
        """


# Takes a cluster, of which two plans are then asked.
Solver = Callable[[Cluster], CheapestPlan]


# Covers by the parts and quantities that decide the choice, and whether they have runners-up.
CoversByQuantities = Kept[tuple[object, ...], ClusterCover]


def no_covers(_: PriceBook) -> CoversByQuantities:
    """Return the covers of a book of which none was found yet."""
    return Kept(_GREATEST_KNOWN_COVERS)


@dataclass(slots=True)
class KnownCovers:
    """Covers found before in the same book.

    ``by_needs`` has them by the identity of their needs, which they keep alive; ``by_quantities``
    by what decides the choice. Runners-up are left out, and none stands in their place, unless
    ``has_runners_up``.
    """

    has_runners_up: bool = True
    by_needs: dict[tuple[int, ...], ClusterCover] = field(default_factory=dict)
    by_quantities: CoversByQuantities = field(default_factory=lambda: Kept(_GREATEST_KNOWN_COVERS))

    def cover(self, cluster: Cluster, solver: Solver) -> ClusterCover:
        """Return the cover of a cluster, which follows from its needs and the book alone.

        Parameters
        ----------
        cluster
            Needs and articles.
        solver
            Solver of clusters.

        Returns
        -------
        ClusterCover
            One found before, or a new one.

        Raises
        ------
        CoverError
            The solver's answer does not check.
        """
        needs = tuple(map(id, cluster.choices))
        found = self.by_needs.get(needs)
        if found is None:
            found = replace(self._chosen(cluster, solver), cluster=cluster)
            self.by_needs[needs] = found
        return found

    def _chosen(self, cluster: Cluster, solver: Solver) -> ClusterCover:
        # As text, since decimals that are equal may print otherwise.
        stated = [
            tuple([(key, str(quantity)) for key, quantity in choice.quantities.items()])
            for choice in cluster.choices
        ]
        known = self.has_runners_up, *stated
        found = self.by_quantities.get(known)
        if found is None:
            solved = _solved_cover(cluster, solver, has_runner_up=self.has_runners_up)
            found = self.by_quantities.keep(known, solved)
        return found


def cheapest_cover(
    choices: Sequence[Choice], book: PriceBook, solver: Solver, known: KnownCovers
) -> tuple[ClusterCover, ...]:
    """Return the cheapest articles that serve every need.

    Prices are compared exactly as the book states them, before any line is rounded; a plan may buy
    more than is needed where that is cheaper.

    Parameters
    ----------
    choices
        Needs, each with the parts that serve it; every part is one of the book.
    book
        Price book.
    solver
        Solver of the clusters.
    known
        Covers of the same book found before; those that are found now join them.

    Returns
    -------
    tuple of ClusterCover
        Each need in exactly one of them, in the order of the first need.

    Raises
    ------
    CoverError
        The solver's answer does not check.
    """
    return tuple(known.cover(cluster, solver) for cluster in clusters(choices, book))


def clusters(choices: Sequence[Choice], book: PriceBook) -> list[Cluster]:
    """Return the needs in clusters, with every article of the book that may serve them.

    Parameters
    ----------
    choices
        Needs.
    book
        Price book.

    Returns
    -------
    list of Cluster
        In the order of the first need of each.
    """
    joined = _Joined()
    wanted = dict.fromkeys(chain.from_iterable(choice.quantities for choice in choices))
    for choice in choices:
        if len(choice.quantities) > 1:
            joined.join(choice.quantities)
    # By identity, in the order of the book.
    kits = {id(kit) for key in wanted for kit in book.kits_with.get(key, ())}
    held = [kit for kit in book.kits if id(kit) in kits]
    for kit in held:
        joined.join(key for key in kit.contents if key in wanted)
    members: dict[str, list[Choice]] = {}
    for choice in choices:
        members.setdefault(joined.root(next(iter(choice.quantities))), []).append(choice)
    own_kits: dict[str, list[Kit]] = {}
    for kit in held:
        root = joined.root(next(key for key in kit.contents if key in wanted))
        own_kits.setdefault(root, []).append(kit)
    return [_cluster(own, own_kits.get(root, ()), book) for root, own in members.items()]


def _cluster(choices: Sequence[Choice], kits: Sequence[Kit], book: PriceBook) -> Cluster:
    keys = dict.fromkeys(chain.from_iterable(choice.quantities for choice in choices))
    parts = tuple([book.part_by_key[key] for key in keys])
    if len(parts) == 1 and not kits:
        return Cluster(tuple(choices), parts, parts[0].articles)
    articles = [article for part in parts for article in part.articles]
    articles += [kit.article for kit in kits]
    return Cluster(tuple(choices), parts, tuple(articles))


def checked_plan(cluster: Cluster, plan: Plan) -> Plan:
    """Return a plan after an exact check that it serves every need, rid of what costs nothing.

    What costs nothing may be bought without need as far as a solver is concerned; it is left out.

    Parameters
    ----------
    cluster
        The cluster.
    plan
        A plan for it.

    Returns
    -------
    Plan
        The plan without articles that cost nothing and serve nothing.

    Raises
    ------
    CoverError
        A part is short, a need is served by a part that does not serve it, or a quantity is no
        multiple of its step.
    """
    asked: dict[str, Decimal] = {}
    for choice, key in zip(cluster.choices, plan.serving, strict=True):
        if key not in choice.quantities:
            raise CoverError(f"{key} does not serve the need that it was given")
        asked[key] = asked.get(key, Decimal(0)) + choice.quantities[key]
    supplied = _supplied(cluster, plan.quantities)
    for key, quantity in asked.items():
        if supplied[key] < quantity:
            raise CoverError(f"{key}: {supplied[key]} is bought where {quantity} is needed")
    kept = dict(plan.quantities)
    for article in cluster.articles:
        if article.name in kept and not article.price(kept[article.name]):
            spare = {name: held for name, held in kept.items() if name != article.name}
            left = _supplied(cluster, spare)
            if all(left[key] >= quantity for key, quantity in asked.items()):
                kept = spare
    return Plan(kept, plan.serving, plan.price)


def _supplied(cluster: Cluster, quantities: Mapping[str, Decimal]) -> dict[str, Decimal]:
    """Return the units of each part that are bought, 0 where none are."""
    supplied: dict[str, Decimal] = {}
    for article in cluster.articles:
        quantity = quantities.get(article.name, Decimal(0))
        steps = quantity / article.step
        if steps != steps.to_integral_value():
            raise CoverError(f"{article.name}: {quantity} is no multiple of {article.step}")
        for key, each in article.supplies.items():
            supplied[key] = supplied.get(key, Decimal(0)) + steps * each
    return supplied


def plan_price(cluster: Cluster, quantities: Mapping[str, Decimal]) -> Decimal:
    """Return the exact price of what is bought."""
    prices = (
        article.price(quantities[article.name])
        for article in cluster.articles
        if article.name in quantities
    )
    return sum(prices, Decimal(0))


def _solved_cover(cluster: Cluster, solver: Solver, *, has_runner_up: bool) -> ClusterCover:
    within_stock, cheapest = True, solver(cluster)
    best = cheapest(within_stock=True, without_one_of=frozenset())
    if best is None:
        within_stock = False
        best = cheapest(within_stock=False, without_one_of=frozenset())
    if best is None:
        raise CoverError("loose units without limit always serve a need, yet no plan was found")
    plan, gap = checked_plan(cluster, best[0]), best[1]
    other = None
    if has_runner_up:
        other = cheapest(within_stock=within_stock, without_one_of=plan.support)
    runner_up = None if other is None else checked_plan(cluster, other[0])
    return ClusterCover(cluster, plan, runner_up, gap, within_stock)


def steps_for(quantity: Decimal, step: Decimal) -> int:
    """Return the least number of steps that is not below a quantity."""
    return int((rounded_up(quantity, step) / step).to_integral_value(ROUND_CEILING))


@dataclass(slots=True)
class _Joined:
    """Keys joined to groups, each named by one of its keys (disjoint sets)."""

    _parent: dict[str, str] = field(default_factory=dict)

    def root(self, key: str) -> str:
        """Return the key that names the group of a key."""
        while (parent := self._parent.get(key, key)) != key:
            key = parent
        return key

    def join(self, keys: Iterable[str]) -> None:
        """Make one group of the groups of some keys, one or more."""
        first, *others = keys
        for other in others:
            self._parent[self.root(other)] = self.root(first)
