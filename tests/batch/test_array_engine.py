"""Every field of every row of the array is that of the single call, for 20,000 pairs and more.

The law: a batch is the sum of its single calls. Packages and vehicles are drawn from the catalogue,
with some of them at fault, out of the models, or at the ends of what a document may state.
"""

import copy
import random

import numpy as np
import pyarrow as pa
import pytest

from catalogue import packages, vehicles
from loomwright.batch.array_engine import ArrayEngine
from loomwright.batch.engine import Batch, ReferenceEngine
from loomwright.batch.pair import package_from_document, vehicle_from_document
from loomwright.batch.quote import Pricing
from loomwright.jobs.demo_library import demo_book

VEHICLES = 250
PACKAGES = 84
# Pricing of the batch, by which packages are priced in turn.
STATED = (
    {},
    {"as_of": "2031-04-30"},
    {"document_discount": {"percent": "7.5"}},
    {"deposit": {"percent": "30"}, "line_discounts": [{"kind": "conductor", "percent": "10"}]},
)


def drawn_vehicles() -> list[dict]:
    stated = vehicles(VEHICLES)
    draw = random.Random("at fault")
    for number, vehicle in enumerate(stated):
        if number % 25 == 3:
            for circuit in vehicle["circuits"]:
                circuit["route"][0]["length"] = draw.choice((0.01, 40.0, 100.0))
        elif number % 25 == 7:
            for source in vehicle["power_sources"]:
                source.pop("cold_cranking_current", None)
                source["source_resistance"] = draw.choice((1e-5, 0.4, 10.0))
        elif number % 25 == 11:
            vehicle["circuits"][number % 8]["route"][0]["length"] = draw.choice((-1, "far", None))
        elif number % 25 == 15:
            for circuit in vehicle["circuits"]:
                circuit["route"][-1]["zone"] = draw.choice(("engine_compartment", "roof_lining"))
        elif number % 25 == 19:
            vehicle["power_sources"][0]["cold_cranking_current"] = 0.5
        elif number % 25 == 23:
            vehicle["vehicle"]["difficulty"] = "underwater"
    return stated


def drawn_packages() -> list[dict]:
    stated = packages(PACKAGES)
    for number, package in enumerate(stated):
        if number % 12 == 5:
            package["pricing"] = {"package": {"name": "All in", "price": "990.00"}}
        elif number % 12 == 9:
            package["pricing"] = {"deposit": {"amount": "150.00"}}
        elif number == 10:
            package["pricing"] = {"deposit": {"amount": "1500000.00"}}
        elif number == 14:
            del package["job"]["equipment"]
        elif number == 18:
            package["pricing"] = {"as_of": "tomorrow"}
    return stated


def batch(stated: dict) -> Batch:
    return Batch(
        [package_from_document(document) for document in PACKAGE_DOCUMENTS],
        [vehicle_from_document(document) for document in VEHICLE_DOCUMENTS],
        Pricing(demo_book(), stated),
    )


PACKAGE_DOCUMENTS, VEHICLE_DOCUMENTS = drawn_packages(), drawn_vehicles()


def differences(found: pa.RecordBatch, wanted: pa.RecordBatch) -> list[str]:
    """Return in words the first difference of each column."""
    assert found.schema.equals(wanted.schema), (found.schema, wanted.schema)
    seen = []
    for name in wanted.schema.names:
        if found.column(name).equals(wanted.column(name)):
            continue
        pairs = zip(found.column(name).to_pylist(), wanted.column(name).to_pylist(), strict=True)
        unlike = [(row, *pair) for row, pair in enumerate(pairs) if pair[0] != pair[1]]
        seen.append(f"{name}: {len(unlike)} rows, first {unlike[:1]}")
    return seen


@pytest.mark.parametrize("quarter", range(len(STATED)))
def test_every_field_is_that_of_the_single_call(quarter):
    wanted_of = batch(STATED[quarter])
    array, single = ArrayEngine(wanted_of), ReferenceEngine(wanted_of)
    everyone = np.arange(VEHICLES)
    compared = verdicts = 0
    for package in range(quarter, PACKAGES, len(STATED)):
        found, wanted = array.rows(package, everyone), single.rows(package, everyone)
        assert differences(found.nested(), wanted.nested()) == [], PACKAGE_DOCUMENTS[package]["key"]
        compared += VEHICLES
        verdicts += wanted.flat.num_rows - wanted.flat.column("verdict").null_count
    # Together 21,000 pairs, of which most have a quote.
    assert compared == VEHICLES * PACKAGES / len(STATED) >= 5000
    assert verdicts > 0.6 * compared
    # The array covers nearly all of them by itself.
    assert array.single_calls < 0.1 * compared


def test_rows_do_not_depend_on_what_else_is_asked():
    wanted = batch({})
    array = ArrayEngine(wanted)
    whole = array.rows(0, np.arange(VEHICLES)).nested()
    order = np.random.default_rng(3).permutation(VEHICLES)
    for chosen in (order, order[:1], order[:7], np.array([4, 4, 2]), np.zeros(0, np.int64)):
        again = ArrayEngine(wanted).rows(0, chosen).nested()
        assert again.equals(whole.take(pa.array(chosen)))
        assert array.rows(0, chosen).nested().equals(again)


def test_documents_are_not_changed():
    before = copy.deepcopy((PACKAGE_DOCUMENTS, VEHICLE_DOCUMENTS))
    ArrayEngine(batch({})).rows(3, np.arange(VEHICLES))
    assert before == (PACKAGE_DOCUMENTS, VEHICLE_DOCUMENTS)
