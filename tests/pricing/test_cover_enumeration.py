"""Small clusters enumerated: figures by hand, the solver as the check, and the limit of both."""

from decimal import Decimal
from functools import partial
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loomwright.jobs.demo_library import DEMO_JOBS, demo_book, demo_job
from loomwright.jobs.job_document import job_from_document
from loomwright.jobs.priced_job import priced_job
from loomwright.pricing import cover_enumeration
from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.cover import (
    Choice,
    Cluster,
    ClusterCover,
    KnownCovers,
    Plan,
    cheapest_cover,
    clusters,
)
from loomwright.pricing.cover_enumeration import Enumeration
from loomwright.pricing.cover_proof import proven_plans
from loomwright.pricing.cover_solver import cheapest_plan
from loomwright.pricing.price_book import finest_decimals
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables

Document = dict[str, Any]
NOTHING: frozenset[str] = frozenset()


def part(key: str, price: str, **changes: Any) -> Document:
    return {
        "key": key,
        "kind": "equipment",
        "description": key,
        "attributes": {"reference": "alike"},
        "unit": "EA",
        "unit_price": price,
        **changes,
    }


def kit(key: str, price: str, contents: dict[str, str], **changes: Any) -> Document:
    held = [{"part": name, "quantity": each} for name, each in contents.items()]
    return {"key": key, "description": key, "contents": held, "unit_price": price, **changes}


def cluster_of(
    parts: list[Document], needs: list[dict[str, str]], kits: list[Document] | None = None
) -> Cluster:
    document = {"name": "B", "currency": "EUR", "parts": parts, "kits": kits or []}
    choices = [Choice({key: Decimal(each) for key, each in need.items()}) for need in needs]
    (cluster,) = clusters(choices, price_book_from_document(document))
    return cluster


def both(
    cluster: Cluster, *, within_stock: bool = True, without: frozenset[str] = NOTHING
) -> Plan | None:
    """The plan that both ways find."""
    asked = {"within_stock": within_stock, "without_one_of": without}
    enumerated = Enumeration(cluster).cheapest(**asked)  # type: ignore[arg-type]
    assert cheapest_plan(cluster, **asked) == enumerated  # type: ignore[arg-type]
    return None if enumerated is None else enumerated[0]


def bought(plan: Plan | None) -> dict[str, Decimal] | None:
    return None if plan is None else dict(plan.quantities)


def test_of_plans_of_one_price_the_one_with_fewest_kits_and_then_packs_is_taken() -> None:
    pack = [{"quantity": "5", "price": "5"}]
    # Five cost 5 loose, in the pack and in the kit.
    cluster = cluster_of([part("A", "1", packs=pack)], [{"A": "5"}], [kit("K", "5", {"A": "5"})])
    assert bought(both(cluster)) == {"A": 5}
    assert bought(both(cluster, without=frozenset({"A"}))) == {"A pack 5": 1}
    dear = cluster_of([part("A", "2", packs=pack)], [{"A": "5"}], [kit("K", "5", {"A": "5"})])
    assert bought(both(dear)) == {"A pack 5": 1}


def test_of_parts_of_one_price_the_first_serves() -> None:
    cluster = cluster_of([part("A", "1"), part("B", "1")], [{"A": "1", "B": "1"}] * 3)
    plan = both(cluster)
    assert plan == Plan({"A": Decimal(3)}, ("A", "A", "A"), Decimal(3))


def test_the_first_needs_are_served_by_the_first_part_while_its_stock_lasts() -> None:
    parts = [part("A", "1", stock="3"), part("B", "2")]
    plan = both(cluster_of(parts, [{"A": "2", "B": "2"}, {"A": "1", "B": "1"}, {"B": "1"}]))
    assert plan == Plan({"A": Decimal(3), "B": Decimal(1)}, ("A", "A", "B"), Decimal(5))
    # Of three needs of one each, two find the first part.
    parts = [part("A", "1", stock="2"), part("B", "2")]
    plan = both(cluster_of(parts, [{"A": "1", "B": "1"}] * 3))
    assert plan == Plan({"A": Decimal(2), "B": Decimal(1)}, ("A", "A", "B"), Decimal(4))


def test_stock_is_that_of_a_part_loose_and_in_packs_and_of_each_kit() -> None:
    packs = [{"quantity": "4", "price": "2"}]
    for stock, expected in (
        ("7", None),
        ("8", {"A pack 4": Decimal(2)}),
        ("7.5", None),
    ):
        one = cluster_of([part("A", "9", stock=stock, packs=packs)], [{"A": "8"}])
        assert bought(both(one)) == expected
        assert bought(both(one, within_stock=False)) == {"A pack 4": 2}
    # The third kit is not there, so that two pieces are bought loose at 3.
    kits = [kit("K", "1", {"A": "2"}, stock="2")]
    short = cluster_of([part("A", "3")], [{"A": "6"}], kits)
    assert bought(both(short)) == {"A": 2, "kit K": 2}
    assert bought(both(short, within_stock=False)) == {"kit K": 3}


def test_more_is_bought_to_reach_a_lower_price_and_not_beyond_the_stock() -> None:
    breaks = [{"from_quantity": "10", "unit_price": "0.5"}]
    packs = [{"quantity": "20", "price": "30"}]
    for stock, expected in (("10", 10), ("9", 8)):
        one = cluster_of(
            [part("A", "1", price_breaks=breaks, packs=packs, stock=stock)], [{"A": "8"}]
        )
        assert bought(both(one)) == {"A": expected}


def test_every_number_of_packs_within_the_stock_is_looked_at() -> None:
    # The stock has room for one pack of either size, and loose units are dear.
    packs = [{"quantity": "3", "price": "1"}, {"quantity": "4", "price": "1"}]
    for stock, name in (("4", "A pack 4"), ("3", "A pack 3")):
        one = cluster_of([part("A", "10", packs=packs, stock=stock)], [{"A": stock}])
        assert bought(both(one)) == {name: 1}


def test_what_two_kits_and_packs_hold_is_summed() -> None:
    # Seven of A and two of B: a K of 3 A and 1 B and an L of 4 A and 1 B bring just that.
    kits = [kit("K", "2", {"A": "3", "B": "1"}), kit("L", "3", {"A": "4", "B": "1"})]
    parts = [part("A", "2"), part("B", "1.5")]
    plan = both(cluster_of(parts, [{"A": "7"}, {"B": "2"}], kits))
    assert plan == Plan({"kit K": Decimal(1), "kit L": Decimal(1)}, ("A", "B"), Decimal(5))
    # Without K: two of L are 6, one and the rest loose are 3 + 6 + 1.5.
    plan = both(cluster_of(parts, [{"A": "7"}, {"B": "2"}], kits), without=frozenset({"kit K"}))
    assert plan == Plan({"kit L": Decimal(2)}, ("A", "B"), Decimal(6))


def test_a_dear_number_of_one_kit_does_not_end_the_search() -> None:
    # Loose four are 6. Two of K are 8 already, one of L is 5 and enough.
    kits = [kit("K", "4", {"A": "1"}), kit("L", "5", {"A": "4"})]
    assert bought(both(cluster_of([part("A", "1.5")], [{"A": "4"}], kits))) == {"kit L": 1}


def test_of_ways_to_serve_from_one_purchase_the_first_is_told() -> None:
    # One kit brings two of either part, so that any of both serves each need.
    kits = [kit("K", "1", {"A": "2", "B": "2"})]
    parts = [part("A", "5"), part("B", "5")]
    plan = both(cluster_of(parts, [{"A": "1", "B": "1"}] * 2, kits))
    assert plan == Plan({"kit K": Decimal(1)}, ("A", "A"), Decimal(1))


def test_prices_of_kits_are_compared_with_those_of_fractions_of_a_unit() -> None:
    # 1.5 loose at 2 are 3; the kit is a cent cheaper or dearer.
    for price, expected in (("2.99", {"kit K": 1}), ("3.01", {"A": Decimal("1.5")})):
        parts = [part("A", "2", sale_increment="0.5")]
        one = cluster_of(parts, [{"A": "1.5"}], [kit("K", price, {"A": "1.5"})])
        assert bought(both(one)) == expected


def test_decimals_of_quantities_and_prices_are_all_counted() -> None:
    # 2.25 in steps of 0.75 are three at 0.333 a unit: 0.74925; the pack is a millionth dearer.
    packs = [{"quantity": "2.25", "price": "0.749251"}]
    plan = both(
        cluster_of([part("A", "0.333", sale_increment="0.75", packs=packs)], [{"A": "2.2"}])
    )
    assert plan == Plan({"A": Decimal("2.25")}, ("A",), Decimal("0.74925"))
    packs = [{"quantity": "2.25", "price": "0.749249"}]
    plan = both(
        cluster_of([part("A", "0.333", sale_increment="0.75", packs=packs)], [{"A": "2.2"}])
    )
    assert bought(plan) == {"A pack 2.25": 1}


def test_a_need_of_nothing_is_served_by_nothing() -> None:
    one = cluster_of([part("A", "1", packs=[{"quantity": "2", "price": "1"}])], [{"A": "0"}])
    assert both(one) == Plan({}, ("A",), Decimal(0))


@pytest.mark.parametrize(("limit", "is_small"), [(3, False), (4, True), (5, True)])
def test_a_cluster_is_small_up_to_the_limit(
    monkeypatch: pytest.MonkeyPatch, limit: int, is_small: bool
) -> None:
    # Nine take one pack of ten or none, and one kit or none: four plans.
    packs = [{"quantity": "10", "price": "8"}]
    one = cluster_of([part("A", "1", packs=packs)], [{"A": "9"}], [kit("K", "8", {"A": "9"})])
    monkeypatch.setattr(cover_enumeration, "GREATEST_PLANS", limit)
    assert Enumeration(one).is_small == is_small
    found = proven_plans(one)
    assert isinstance(found, partial) != is_small
    asked = {"within_stock": True, "without_one_of": NOTHING}
    assert found(**asked) == Enumeration(one).cheapest(**asked)  # type: ignore[arg-type]


def test_a_kit_that_brings_more_than_is_needed_leaves_nothing_to_buy() -> None:
    packs = [{"quantity": "1", "price": "9"}]
    one = cluster_of([part("A", "10", packs=packs)], [{"A": "1"}], [kit("K", "1", {"A": "2"})])
    assert bought(both(one)) == {"kit K": 1}


def test_whole_numbers_have_no_decimals() -> None:
    few = [Decimal("1E+2")]
    assert finest_decimals(few) == finest_decimals([*few, Decimal(5)]) == finest_decimals([]) == 0
    assert finest_decimals([Decimal(5), Decimal("0.25"), Decimal("0.5")]) == 2


def test_a_cluster_of_one_plan_is_small() -> None:
    # Nothing but loose units of one part, at two prices.
    breaks = [{"from_quantity": "10", "unit_price": "0.5"}]
    assert Enumeration(cluster_of([part("A", "1", price_breaks=breaks)], [{"A": "8"}])).is_small


def test_many_ways_to_give_needs_to_parts_are_not_small(monkeypatch: pytest.MonkeyPatch) -> None:
    # Needs of 1, 2, 4 and 8 have sixteen sums on either part.
    needs = [{"A": str(2**power), "B": str(2**power)} for power in range(4)]
    one = cluster_of([part("A", "1"), part("B", "1")], needs)
    for limit, is_small in ((15, False), (31, False), (32, True)):
        monkeypatch.setattr(cover_enumeration, "GREATEST_PLANS", limit)
        assert Enumeration(one).is_small == is_small


@st.composite
def drawn_clusters(draw: st.DrawFn) -> list[Cluster]:
    """Clusters of few parts with packs, tiers, stock and kits, at prices that often meet."""
    price = st.sampled_from(("0", "0.5", "1", "1", "2", "2.5", "3.333"))
    parts = []
    for index in range(draw(st.integers(1, 3))):
        own = part(f"P{index}", draw(price))
        own["sale_increment"] = draw(st.sampled_from(("1", "0.5", "0.75")))
        if draw(st.booleans()):
            size = draw(st.sampled_from(("2", "2.5", "4")))
            own["packs"] = [{"quantity": size, "price": draw(price)}]
        if draw(st.booleans()):
            start = draw(st.sampled_from(("2", "3.5")))
            own["price_breaks"] = [{"from_quantity": start, "unit_price": draw(price)}]
        if draw(st.booleans()):
            own["stock"] = draw(st.sampled_from(("0", "2", "4.5")))
        parts.append(own)
    keys = [own["key"] for own in parts]
    some = st.lists(st.sampled_from(keys), min_size=1, unique=True)
    count = st.sampled_from(("1", "1.5", "3"))
    kits = [
        kit(f"K{index}", draw(price), {key: draw(count) for key in draw(some)}, **stock)
        for index in range(draw(st.integers(0, 2)))
        for stock in [draw(st.sampled_from(({}, {"stock": "1"})))]
    ]
    document = {"name": "B", "currency": "EUR", "parts": parts, "kits": kits}
    needs = [
        Choice({key: Decimal(draw(count)) for key in draw(some)})
        for _ in range(draw(st.integers(1, 3)))
    ]
    return clusters(needs, price_book_from_document(document))


@given(drawn_clusters(), st.booleans())
@settings(max_examples=60, deadline=None)
def test_both_ways_find_the_same_plan_and_the_same_runner_up(
    drawn: list[Cluster], within_stock: bool
) -> None:
    for cluster in drawn:
        plan = both(cluster, within_stock=within_stock)
        if plan is not None and plan.support:
            both(cluster, within_stock=within_stock, without=plan.support)


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_both_ways_cover_the_demo_jobs_alike(name: str) -> None:
    book = demo_book()
    job = job_from_document(demo_job(name), tables(), fuse_tables().types)
    covers: list[ClusterCover] = list(priced_job(job, book, tables(), fuse_tables()).bill.covers)
    choices = [choice for cover in covers for choice in cover.cluster.choices]
    solved = cheapest_cover(
        choices, book, lambda cluster: partial(cheapest_plan, cluster), KnownCovers()
    )
    assert list(solved) == covers
