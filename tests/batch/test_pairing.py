import json
from typing import Any

import numpy as np
import pytest
from drawn_rows import CURRENCY
from drawn_rows import pairs as drawn_pairs
from hypothesis import given
from hypothesis import strategies as st

from loomwright.batch.engine import Batch, Indices, Pairs, ReferenceEngine, batches
from loomwright.batch.forms.batch_document import BatchDocument
from loomwright.batch.forms.items import Item
from loomwright.batch.forms.pair_list import PairList
from loomwright.batch.forms.pairing import batch_of_document
from loomwright.batch.pair import OF_VEHICLES, Package, Vehicle
from loomwright.batch.quote import Pricing, Refusal, reference_quote
from loomwright.batch.rows import Rows, rows_in_order, rows_of_quotes
from loomwright.jobs.demo_library import demo_book, demo_job
from loomwright.pricing.faults import Fault

Document = dict[str, Any]
PRICING = Pricing(demo_book(), {})


def package(key: str) -> Document:
    job = demo_job("combustion_car")
    return {"key": key, "job": {name: job[name] for name in job if name not in OF_VEHICLES}}


def vehicle(key: str) -> Document:
    job = demo_job("combustion_car")
    return {"key": key, **{name: job[name] for name in OF_VEHICLES}}


def items(documents: list[Any]) -> list[Item]:
    return [Item(f"item {number}", each) for number, each in enumerate(documents, start=1)]


def pairs(listed: list[Any]) -> PairList:
    made = PairList()
    for item in items(listed):
        made.add(item)
    return made


def batch_of(
    packages: list[Any], vehicles: list[Any], listed: list[Any] | None = None
) -> tuple[Batch, Pairs | None]:
    document = BatchDocument(
        {}, items(packages), items(vehicles), None if listed is None else pairs(listed)
    )
    return batch_of_document(document, PRICING)


def rows(batch: Batch, listed: Pairs | None, rows_at_once: int = 100) -> list[Document]:
    engine = ReferenceEngine(batch)
    return [
        row
        for each in batches(engine, batch, listed, rows_at_once)
        for row in each.nested().to_pylist()
    ]


def told(found: list[Document]) -> list[tuple[str, str, str | None]]:
    return [(row["package"], row["vehicle"], row["detail"]) for row in found]


@pytest.mark.parametrize("rows_at_once", [1, 2, 100])
def test_a_vehicle_at_fault_spoils_its_own_rows_alone(rows_at_once: int) -> None:
    vehicles = [vehicle("a"), {"key": "b", "wheels": 3}, vehicle("c"), vehicle("a")]
    batch, listed = batch_of([package("p"), package("q")], vehicles)
    found = rows(batch, listed, rows_at_once)
    unknown = "/vehicles/1/wheels: item 2: Unknown member; remove it or check its spelling."
    twice = "/vehicles/3/key: item 4: That of item 1 is the same; keys are unique."
    expected = [("a", None), ("b", unknown), ("c", None), ("a", twice)]
    assert told(found) == [(key, *each) for key in "pq" for each in expected]
    assert {row["verdict"] for row in found} == {"complete", None}
    assert {row["code"] for row in found if row["verdict"] is None} == {"invalid_pair"}
    quoted = [row for row in found if row["verdict"]]
    assert (
        len({json.dumps({**row, "package": "", "vehicle": ""}, default=str) for row in quoted}) == 1
    )


def test_a_package_at_fault_spoils_its_own_rows_alone() -> None:
    batch, listed = batch_of([5, package("p")], [vehicle("a"), {"key": "b", "vehicle": 5, "x": 1}])
    found = rows(batch, listed)
    package_told = "/packages/0: item 1: An object is needed."
    vehicle_told = "/vehicles/1/x: item 2: Unknown member; remove it or check its spelling."
    assert told(found) == [
        ("", "a", package_told),
        ("", "b", f"{package_told}; {vehicle_told}"),
        ("p", "a", None),
        ("p", "b", vehicle_told),
    ]


def test_the_reference_quote_of_what_is_at_fault_is_a_refusal() -> None:
    fault = Fault("/vehicles/0", "line 1: Wrong.")
    refused = Vehicle("a", {}, {}, (fault,))
    quote = reference_quote(Package("p", {}, {}), refused, PRICING)
    assert quote == Refusal("invalid_pair", "/vehicles/0: line 1: Wrong.", (fault,))


def test_pairs_have_rows_in_their_order_whatever_they_name() -> None:
    listed = [
        {"package": "q", "vehicle": "a"},
        {"package": "p", "vehicle": "z"},
        {"package": "p", "vehicle": "b"},
        {"package": "r", "vehicle": "z"},
        {"package": "q"},
        "p",
        {"package": "p", "vehicle": "a"},
        {"package": "q", "vehicle": "a"},
    ]
    batch, found_pairs = batch_of(
        [package("p"), package("q")], [vehicle("a"), vehicle("b")], listed
    )
    unknown_vehicle = "/pairs: No vehicle of the batch has the key z."
    assert told(rows(batch, found_pairs)) == [
        ("q", "a", None),
        ("p", "z", unknown_vehicle),
        ("p", "b", None),
        ("r", "z", f"/pairs: No package of the batch has the key r.; {unknown_vehicle}"),
        ("q", "", "/pairs/4/vehicle: item 5: Missing; it is required."),
        ("", "", "/pairs/5: item 6: An object is needed."),
        ("p", "a", None),
        ("q", "a", None),
    ]
    # What is named and not there stands behind the packages and vehicles that are.
    assert [each.key for each in batch.packages][:2] == ["p", "q"]
    assert [each.key for each in batch.vehicles][:2] == ["a", "b"]


def test_a_pair_means_the_first_of_items_with_its_key() -> None:
    batch, listed = batch_of(
        [package("p")], [vehicle("a"), vehicle("a")], [{"package": "p", "vehicle": "a"}]
    )
    assert told(rows(batch, listed)) == [("p", "a", None)]


def test_the_engine_is_not_asked_for_what_is_at_fault() -> None:
    asked: list[tuple[int, list[int]]] = []

    class Asked:
        def rows(self, package: int, vehicles: Indices) -> Rows:
            asked.append((package, vehicles.tolist()))
            keys = [batch.vehicles[index].key for index in vehicles.tolist()]
            quotes = [Refusal("other", "")] * len(keys)
            return rows_of_quotes([batch.packages[package].key] * len(keys), keys, quotes, "EUR")

    batch, _ = batch_of([package("p"), 5], [1, vehicle("a"), 2, vehicle("b"), 3, 4])
    found = [row for each in batches(Asked(), batch, None, 4) for row in each.nested().to_pylist()]
    assert asked == [(0, [1, 3])]
    asked.clear()
    # Listed pairs that come together are asked for package by package.
    listed = Pairs(np.array([2, 0, 1, 2, 0, 0, 2]), np.array([1, 3, 1, 0, 1, 1, 3]))
    batch = Batch([*batch.packages, batch.packages[0]], batch.vehicles, PRICING)
    found_pairs = [
        row for each in batches(Asked(), batch, listed, 6) for row in each.nested().to_pylist()
    ]
    assert asked == [(0, [3, 1, 1]), (2, [1]), (2, [3])]
    assert [row["vehicle"] for row in found_pairs] == ["a", "b", "a", "", "a", "a", "b"]
    codes = [row["code"] for row in found_pairs]
    assert codes == ["other", "other", "invalid_pair", "invalid_pair", "other", "other", "other"]
    assert [row["code"] for row in found].count("other") == 2
    assert [row["vehicle"] for row in found] == ["", "a", "", "b", "", ""] * 2


@given(drawn_pairs, drawn_pairs, st.randoms(use_true_random=False))
def test_rows_of_two_are_put_in_order(first: list[Any], second: list[Any], random: Any) -> None:
    both = first + second
    order = list(range(len(both)))
    random.shuffle(order)
    made = rows_in_order([made_rows(first), made_rows(second)], np.array(order, np.int64))
    assert made.nested().to_pylist() == made_rows([both[i] for i in order]).nested().to_pylist()


def made_rows(drawn: list[Any]) -> Rows:
    columns = zip(*drawn, strict=True) if drawn else ((), (), ())
    return rows_of_quotes(*columns, CURRENCY)
