"""What is asked of the solver, and that nothing but its proof is taken for an answer."""

from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import highspy
import pytest

from loomwright.pricing import cover_solver
from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.cover import Choice, Cluster, CoverError, clusters
from loomwright.pricing.cover_solver import cheapest_plan

NOTHING: frozenset[str] = frozenset()


def cluster_of(*quantities: str, **changes: Any) -> Cluster:
    """The cluster of some needs of one part that costs 1 loose and 8 by the ten."""
    part = {
        "key": "TIE",
        "kind": "equipment",
        "description": "Tie",
        "attributes": {"reference": "tie"},
        "unit": "EA",
        "unit_price": "1",
        "packs": [{"quantity": "10", "price": "8"}],
        **changes,
    }
    book = price_book_from_document({"name": "One", "currency": "EUR", "parts": [part]})
    choices = [Choice({"TIE": Decimal(each)}) for each in quantities]
    (cluster,) = clusters(choices, book)
    return cluster


def bought(
    cluster: Cluster, *, within_stock: bool = False, without: frozenset[str] = NOTHING
) -> dict[str, Decimal] | None:
    found = cheapest_plan(cluster, within_stock=within_stock, without_one_of=without)
    return None if found is None else dict(found[0].quantities)


def test_the_cheapest_plan_is_found_with_and_without_an_article() -> None:
    # 25 loose are 25, with two packs 21, three packs 24.
    cluster = cluster_of("20", "5")
    assert bought(cluster) == {"TIE": 5, "TIE pack 10": 2}
    assert bought(cluster, without=frozenset({"TIE"})) == {"TIE pack 10": 3}
    assert bought(cluster, without=frozenset({"TIE pack 10"})) == {"TIE": 25}
    # One of both is enough to do without; the packs alone are the cheaper.
    assert bought(cluster, without=frozenset({"TIE", "TIE pack 10"})) == {"TIE pack 10": 3}


def test_stock_is_counted_in_units_of_the_part_loose_and_in_packs() -> None:
    for stock, expected in (
        ("30", {"TIE": 9, "TIE pack 10": 2}),
        ("29", {"TIE": 9, "TIE pack 10": 2}),
        ("28", None),
    ):
        assert bought(cluster_of("29", stock=stock, packs=PACKS), within_stock=True) == expected
    assert bought(cluster_of("29", stock="28", packs=PACKS)) == {"TIE": 9, "TIE pack 10": 2}


@pytest.mark.parametrize(
    ("needed", "increment", "expected"),
    [
        # A unit costs 1 in a pack of five and loose, so that no pack is the fewest.
        ("40", "1", {"TIE": 40}),
        # Sold by twos, an odd number of fives is needed for a price of one a unit.
        ("21", "2", {"TIE": 16, "TIE pack 5": 1}),
        ("45", "2", {"TIE": 40, "TIE pack 5": 1}),
        # Sold by sixes: three or nine fives leave a multiple of six.
        ("45", "6", {"TIE": 30, "TIE pack 5": 3}),
    ],
)
def test_of_plans_of_one_price_that_with_the_fewest_packs_is_found(
    needed: str, increment: str, expected: dict[str, int]
) -> None:
    packs = [{"quantity": "5", "price": "5"}]
    assert bought(cluster_of(needed, sale_increment=increment, packs=packs)) == expected


# At 9.50 nine loose are cheaper than a third pack.
PACKS = [{"quantity": "10", "price": "9.50"}]


def test_a_dearer_tier_is_not_passed_by_two_lines_of_one_article() -> None:
    # From 10 up each costs 2: 12 are 24, and never nine at 1 beside three at 1.
    cluster = cluster_of("12", packs=[], price_breaks=[{"from_quantity": "10", "unit_price": "2"}])
    plan = cheapest_plan(cluster, within_stock=False, without_one_of=NOTHING)
    assert plan is not None
    assert (dict(plan[0].quantities), plan[0].price, plan[1]) == ({"TIE": 12}, Decimal(24), 0.0)


def test_tiers_that_start_within_one_step_leave_the_last() -> None:
    # Sold by 10: the breaks at 11 and 15 both start with the second ten, at the price of the last.
    cluster = cluster_of(
        "20",
        packs=[],
        sale_increment="10",
        price_breaks=[
            {"from_quantity": "11", "unit_price": "0.5"},
            {"from_quantity": "15", "unit_price": "0.7"},
        ],
    )
    plan = cheapest_plan(cluster, within_stock=False, without_one_of=NOTHING)
    assert plan is not None
    assert plan[0].price == Decimal(14)


def test_an_article_without_its_first_tier_can_be_done_without() -> None:
    # Sold by 10: the break at 5 holds from the first ten on, so that none is sold at 1.
    breaks = [{"from_quantity": "5", "unit_price": "0.5"}]
    cluster = cluster_of("10", sale_increment="10", price_breaks=breaks)
    assert bought(cluster) == {"TIE": 10}
    assert bought(cluster, without=frozenset({"TIE"})) == {"TIE pack 10": 1}
    assert bought(cluster, without=frozenset({"TIE", "TIE pack 10"})) == {"TIE": 10}


def test_the_solver_is_asked_for_a_proof_on_one_thread(monkeypatch: pytest.MonkeyPatch) -> None:
    model = highspy.Highs()
    cluster = cluster_of("25")
    monkeypatch.setattr(cover_solver, "_NEW_MODEL", lambda: model)
    assert bought(cluster) == {"TIE": 5, "TIE pack 10": 2}
    wanted = {
        "output_flag": False,
        "log_to_console": False,
        "mip_rel_gap": 0.0,
        "mip_abs_gap": 0.0,
        "threads": 1,
        "random_seed": 0,
    }
    assert {name: model.getOptionValue(name)[1] for name in wanted} == wanted
    # A thousandth of what the solver takes when it is not asked.
    for name in ("mip_feasibility_tolerance", "primal_feasibility_tolerance"):
        usual = highspy.Highs().getOptionValue(name)[1]
        assert model.getOptionValue(name)[1] <= max(usual / 1000, 1e-9)


def pretending(**answers: Any) -> Any:
    """A solver of which some answers are others than it found."""

    class Pretender(highspy.Highs):
        pass

    for name, answer in answers.items():
        setattr(Pretender, name, lambda _self, *_args, given=answer: given)
    return Pretender


@pytest.mark.parametrize(
    ("answers", "words"),
    [
        ({"getModelStatus": highspy.HighsModelStatus.kTimeLimit}, "kTimeLimit and a gap of 0"),
        ({"getModelStatus": highspy.HighsModelStatus.kUnbounded}, "kUnbounded and a gap of 0"),
        # 21 is bought in whole numbers: half of one is a gap of 1 in 42, and proves nothing more.
        ({"getInfo": SimpleNamespace(mip_gap=1 / 41.9)}, "kOptimal and a gap of 0.0238"),
        ({"getInfo": SimpleNamespace(mip_gap=2.0)}, "kOptimal and a gap of 2"),
        ({"setOptionValue": highspy.HighsStatus.kError}, "does not take False for its option"),
    ],
)
def test_an_answer_without_proof_is_an_error(
    monkeypatch: pytest.MonkeyPatch, answers: dict[str, Any], words: str
) -> None:
    cluster = cluster_of("25")
    monkeypatch.setattr(cover_solver, "_NEW_MODEL", pretending(**answers))
    with pytest.raises(CoverError, match=words):
        bought(cluster)


def test_a_gap_that_no_price_lies_within_is_a_proof(monkeypatch: pytest.MonkeyPatch) -> None:
    # Plans cost 21 to 24, in whole numbers: what is less than one half lets no other in.
    cluster = cluster_of("25")
    monkeypatch.setattr(
        cover_solver, "_NEW_MODEL", pretending(getInfo=SimpleNamespace(mip_gap=1 / 50))
    )
    found = cheapest_plan(cluster, within_stock=False, without_one_of=NOTHING)
    assert found is not None
    assert (found[0].price, found[1]) == (21, 0.0)


def test_a_row_is_scaled_to_the_least_whole_numbers() -> None:
    scaled = cover_solver._whole
    assert scaled({1: Decimal("0.5"), 2: Decimal("-0.75")}) == {1: 2.0, 2: -3.0}
    assert scaled({1: Decimal(10), 2: Decimal(-4)}) == {1: 5.0, 2: -2.0}
    assert scaled({1: Decimal("2E+1"), 2: Decimal(-15)}) == {1: 4.0, 2: -3.0}
    assert scaled({1: Decimal(300), 2: Decimal("-200")}) == {1: 3.0, 2: -2.0}
    assert scaled({1: Decimal("0.50"), 2: Decimal("0.00")}) == {1: 1.0, 2: 0.0}
