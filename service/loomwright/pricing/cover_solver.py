"""The cheapest cover of one cluster as a mixed-integer programme, solved by HiGHS.

Variables, all whole: the steps that are bought of each article, one for each price tier; whether a
tier is used; for a need that several parts serve, which of them does. Gaps are set to zero, so that
the solver stops with a proof and not at a tolerance; what it answers is computed again in exact
decimals by the caller. Of plans of one price the solver answers any, so that it is then asked which
of them comes first in the order of ``CheapestPlan``.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from typing import Any

import highspy

from loomwright.pricing.cover import (
    Cluster,
    CoverError,
    Plan,
    plan_price,
    steps_for,
)
from loomwright.pricing.price_book import Article

# A thousandth of the solver's default; coefficients are whole numbers of small size.
FEASIBILITY_TOLERANCE = 1e-9
_NEW_MODEL: Callable[[], Any] = highspy.Highs


def cheapest_plan(
    cluster: Cluster, *, within_stock: bool, without_one_of: frozenset[str]
) -> tuple[Plan, float] | None:
    """Return the cheapest plan of a cluster, with the relative gap that is left to the optimum.

    Parameters
    ----------
    cluster
        Needs and articles.
    within_stock
        Whether stated stock limits what is bought.
    without_one_of
        Articles of which at least one is not bought; empty for no such condition.

    Returns
    -------
    tuple of Plan and float, or None
        None where no plan is possible.

    Raises
    ------
    CoverError
        The solver ended without a proof.
    """
    programme = _Programme(cluster)
    programme.serve_every_need()
    if within_stock:
        programme.keep_within_stock()
    if without_one_of:
        programme.exclude(without_one_of)
    return programme.first_of_cheapest()


class _Programme:
    """The mixed-integer programme of one cluster.

    Parameters
    ----------
    cluster
        Needs and articles.
    """

    def __init__(self, cluster: Cluster) -> None:
        self.cluster = cluster
        self.model = _NEW_MODEL()
        for name, value in (
            ("output_flag", False),
            ("log_to_console", False),
            ("mip_rel_gap", 0.0),
            ("mip_abs_gap", 0.0),
            ("mip_feasibility_tolerance", FEASIBILITY_TOLERANCE),
            ("primal_feasibility_tolerance", FEASIBILITY_TOLERANCE),
            # One thread and one seed: the same programme has the same answer everywhere.
            ("threads", 1),
            ("random_seed", 0),
        ):
            # The solver only tells of an option that it does not take, and goes on without.
            if self.model.setOptionValue(name, value) != highspy.HighsStatus.kOk:
                raise CoverError(f"the solver does not take {value} for its option {name}")
        self.steps: dict[str, list[int]] = {}
        self.used: dict[str, list[int]] = {}
        self.serves: dict[tuple[int, str], int] = {}
        self._columns = self._rows = 0
        most = self._most_needed()
        for article in cluster.articles:
            self._add_article(article, self._most_steps(article, most))

    def _most_needed(self) -> dict[str, Decimal]:
        """Return the most that each part can be asked for."""
        most: dict[str, Decimal] = {}
        for choice in self.cluster.choices:
            for key, quantity in choice.quantities.items():
                most[key] = most.get(key, Decimal(0)) + quantity
        return most

    def _most_steps(self, article: Article, most: Mapping[str, Decimal]) -> int:
        """Return steps beyond which an article brings nothing but a lower price tier."""
        needed = max(
            steps_for(most[key], each) for key, each in article.supplies.items() if key in most
        )
        return max(needed, steps_for(article.tiers[-1][0], article.step))

    def _column(self, cost: float, lower: float, upper: float) -> int:
        self.model.addCol(cost, lower, upper, 0, [], [])
        self.model.changeColIntegrality(self._columns, highspy.HighsVarType.kInteger)
        self._columns += 1
        return self._columns - 1

    def _row(self, lower: float, upper: float, entries: Mapping[int, float]) -> int:
        self.model.addRow(lower, upper, len(entries), list(entries), list(entries.values()))
        self._rows += 1
        return self._rows - 1

    def _add_article(self, article: Article, most: int) -> None:
        """Add the tiers of an article: within one tier, of which at most one is used."""
        tiers = article.tiers
        starts = [max(1, steps_for(least, article.step)) for least, _ in tiers]
        ends = [start - 1 for start in starts[1:]] + [most]
        columns, used = [], []
        for (_, price), start, end in zip(tiers, starts, ends, strict=True):
            steps = self._column(float(price * article.step), 0.0, float(end))
            flag = self._column(0.0, 0.0, 1.0 if start <= end else 0.0)
            self._row(0.0, highspy.kHighsInf, {steps: 1.0, flag: -float(start)})
            self._row(-highspy.kHighsInf, 0.0, {steps: 1.0, flag: -float(end)})
            columns.append(steps)
            used.append(flag)
        self._row(0.0, 1.0, dict.fromkeys(used, 1.0))
        self.steps[article.name], self.used[article.name] = columns, used

    def serve_every_need(self) -> None:
        """Give each need to one part, and let each part be supplied with what it is given."""
        for index, choice in enumerate(self.cluster.choices):
            for key in choice.quantities:
                self.serves[index, key] = self._column(0.0, 0.0, 1.0)
            one = {self.serves[index, key]: 1.0 for key in choice.quantities}
            self._row(1.0, 1.0, one)
        for part in self.cluster.parts:
            asked = {
                self.serves[index, part.key]: choice.quantities[part.key]
                for index, choice in enumerate(self.cluster.choices)
                if part.key in choice.quantities
            }
            supplied = {
                column: article.supplies[part.key]
                for article in self.cluster.articles
                if part.key in article.supplies
                for column in self.steps[article.name]
            }
            signed = {**supplied, **{column: -quantity for column, quantity in asked.items()}}
            self._row(0.0, highspy.kHighsInf, _whole(signed))

    def keep_within_stock(self) -> None:
        """Limit what is bought of each part, loose and in packs, and of each kit."""
        for part in self.cluster.parts:
            if part.stock is not None:
                taken = {
                    column: article.supplies[part.key]
                    for article in self.cluster.articles
                    if article.part is part
                    for column in self.steps[article.name]
                }
                self._row(-highspy.kHighsInf, float(part.stock), _floats(taken))
        for article in self.cluster.articles:
            if article.kit is not None and article.kit.stock is not None:
                taken_kits = dict.fromkeys(self.steps[article.name], 1.0)
                self._row(-highspy.kHighsInf, float(article.kit.stock), taken_kits)

    def exclude(self, bought: frozenset[str]) -> None:
        """Do without at least one of some articles."""
        entries = {flag: 1.0 for name in sorted(bought) for flag in self.used[name]}
        self._row(-highspy.kHighsInf, len(bought) - 1.0, entries)

    def first_of_cheapest(self) -> tuple[Plan, float] | None:
        """Return the first in order of the cheapest plans with its gap, or none without a plan."""
        found = self._solved()
        if found is None:
            return None
        for article in reversed(self.cluster.articles):
            found = self._least(dict.fromkeys(self.steps[article.name], 1), found)
        for index, choice in enumerate(self.cluster.choices):
            places = {self.serves[index, key]: place for place, key in enumerate(choice.quantities)}
            found = self._least(places, found)
        return self._plan(found), 0.0

    def _solved(self) -> list[int] | None:
        """Return the values of all columns in one of the cheapest plans, or none without a plan."""
        self.model.run()
        status = self.model.getModelStatus()
        if status == highspy.HighsModelStatus.kInfeasible:
            return None
        gap = float(self.model.getInfo().mip_gap)
        found = [round(value) for value in self.model.getSolution().col_value]
        # No price lies within less than the grid of another, and the solver's sums have rounding.
        is_proven = gap * float(self._price(found)) < self._price_grid() / 2
        if status != highspy.HighsModelStatus.kOptimal or not is_proven:
            raise CoverError(f"the solver ended with {status} and a gap of {gap:g}")
        return found

    def _price_grid(self) -> float:
        """Return what every price of a plan is a multiple of."""
        prices = [price * each.step for each in self.cluster.articles for _, price in each.tiers]
        return float(Decimal(1).scaleb(min(int(price.as_tuple().exponent) for price in prices)))

    def _least(self, entries: Mapping[int, int], found: list[int]) -> list[int]:
        """Return the plan of the same price with the least sum of columns, and hold it to that.

        The price stays the objective: as a row beside it, with room for nothing but rounding, it
        would be too much for the solver's tolerances.
        """
        price, least, most = self._price(found), 0, _sum(entries, found)
        if not most:
            self._row(-highspy.kHighsInf, 0.0, _floats(entries))
            return found
        # Most often nothing less will do.
        tried = most - 1
        row = self._row(-highspy.kHighsInf, float(tried), _floats(entries))
        while least < most:
            self.model.changeRowBounds(row, -highspy.kHighsInf, float(tried))
            other = self._solved()
            if other is not None and self._price(other) <= price:
                found, most = other, _sum(entries, other)
            else:
                least = tried + 1
            tried = (least + most) // 2
        self.model.changeRowBounds(row, -highspy.kHighsInf, float(most))
        return found

    def _quantities(self, found: Sequence[int]) -> dict[str, Decimal]:
        quantities = {
            article.name: sum(found[column] for column in self.steps[article.name]) * article.step
            for article in self.cluster.articles
        }
        return {name: quantity for name, quantity in quantities.items() if quantity}

    def _price(self, found: Sequence[int]) -> Decimal:
        return plan_price(self.cluster, self._quantities(found))

    def _plan(self, found: Sequence[int]) -> Plan:
        serving = tuple(
            next(key for key in choice.quantities if found[self.serves[index, key]])
            for index, choice in enumerate(self.cluster.choices)
        )
        return Plan(self._quantities(found), serving, self._price(found))


def _sum(entries: Mapping[int, int], found: Sequence[int]) -> int:
    return sum(each * found[column] for column, each in entries.items())


def _floats(entries: Mapping[int, Decimal | int]) -> dict[int, float]:
    return {column: float(value) for column, value in entries.items()}


def _whole(entries: Mapping[int, Decimal]) -> dict[int, float]:
    """Return the entries of a row, not all of them 0, as whole numbers as small as they can be."""
    exponent = min(int(value.normalize().as_tuple().exponent) for value in entries.values())
    scaled = {column: int(value.scaleb(-exponent)) for column, value in entries.items()}
    divisor = math.gcd(*scaled.values())
    return {column: float(value // divisor) for column, value in scaled.items()}
