"""Lengths of rows are exact to the micrometre, as those of one bill are."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.batch.bills.lengths import (
    CircuitStretch,
    RowLengths,
    exact_micrometres,
    rows_out_of_range,
)
from loomwright.batch.variation import (
    GROUND_LEAD_LENGTH,
    REMOTE_LEAD_LENGTH,
    SEGMENT_LENGTH,
    SIGNAL_LEAD_LENGTH,
    SOURCE_VOLTAGE,
    Place,
    Variation,
)
from loomwright.jobs.circuit_layout import CircuitLayout
from loomwright.jobs.demo_library import demo_job
from loomwright.jobs.job import Job
from loomwright.jobs.job_document import job_from_document
from loomwright.pricing.requirements import (
    GROUND_LEAD,
    LOOMED,
    REMOTE_LEAD,
    ROUTE,
    SIGNAL_LEAD,
    TAPED,
    Stretch,
    exact_length_m,
)
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables

CAR = "amplifier_feed"


def car() -> Job:
    """Its route is 1.5 m in loom, 2.25 m in tape and 0.5 m bare."""
    document = demo_job("combustion_car")
    circuit = document["circuits"][0]
    circuit["route"] = [
        {**circuit["route"][0], "length": 1.5, "loomed": True, "taped": True},
        {**circuit["route"][0], "length": 2.25, "loomed": False, "taped": True},
        {**circuit["route"][0], "length": 0.5, "loomed": False, "taped": False},
    ]
    return job_from_document(document, tables(), fuse_tables().types)


# Halves of a micrometre and what lies next to them in binary, beside any lengths.
HALVES = st.integers(0, 2 * 10**8).map(lambda count: count / 2e6)
NEIGHBOURS = st.tuples(HALVES, st.sampled_from((0.0, 1e9))).map(
    lambda drawn: float(np.nextafter(*drawn))
)


@given(st.lists(HALVES | NEIGHBOURS | st.floats(0.0, 1e4), min_size=1, max_size=50))
def test_micrometres_are_those_of_one_length(lengths_m: list[float]) -> None:
    found = exact_micrometres(np.array(lengths_m))
    assert found.tolist() == [exact_length_m(each) * 10**6 for each in lengths_m]


@pytest.mark.parametrize(
    ("what", "millimetres"),
    # Loom goes before tape.
    [(ROUTE, 4250), (LOOMED, 1500), (TAPED, 2250)],
)
def test_stretches_of_a_route_are_those_of_its_layout(what: str, millimetres: int) -> None:
    job = car()
    lengths = RowLengths(Variation(job, 2, {}), slice(None))
    assert lengths.micrometres(CircuitStretch(CAR, Stretch(what))) == millimetres * 1000
    layout = CircuitLayout(job, job.circuit_by_key[CAR])
    alone = {ROUTE: layout.route_m, LOOMED: layout.loomed_m, TAPED: layout.taped_m}
    assert alone[what] * 1000 == millimetres


def test_lengths_are_those_of_the_rows_that_are_looked_at() -> None:
    values = {
        Place(SEGMENT_LENGTH, CAR, 1): np.array([1.0, 2.0, 3.0]),
        Place(GROUND_LEAD_LENGTH, CAR): np.array([0.1, 0.2, 0.3]),
        Place(SIGNAL_LEAD_LENGTH, CAR, 1): np.array([4.0, 5.0, 6.0]),
        Place(REMOTE_LEAD_LENGTH, CAR): np.array([7.0, 8.0, 9.0]),
    }
    lengths = RowLengths(Variation(car(), 3, values), np.array([2, 0]))

    def found(what: str, number: int = 0) -> object:
        micrometres = lengths.micrometres(CircuitStretch(CAR, Stretch(what, number)))
        return micrometres.tolist() if isinstance(micrometres, np.ndarray) else micrometres

    assert found(ROUTE) == [5_000_000, 3_000_000]
    assert found(TAPED) == [3_000_000, 1_000_000]
    assert found(LOOMED) == 1_500_000
    assert found(GROUND_LEAD) == [300_000, 100_000]
    assert found(SIGNAL_LEAD, 0) == 2_800_000
    assert found(SIGNAL_LEAD, 1) == [6_000_000, 4_000_000]
    assert found(REMOTE_LEAD) == [9_000_000, 7_000_000]


def test_rows_with_impossible_lengths_are_named_whatever_their_source_is_like() -> None:
    values = {
        Place(SEGMENT_LENGTH, CAR, 0): np.array([1.0, np.nan, 1e-7, 1e4, 1.00001e4]),
        Place(SOURCE_VOLTAGE, "battery"): np.zeros(5),
    }
    found = rows_out_of_range(Variation(car(), 5, values))
    assert found.tolist() == [False, True, True, False, True]
