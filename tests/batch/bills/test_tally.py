"""Sums of many rows in whole steps are the exact sums of each row, rounded up once."""

from decimal import Decimal
from fractions import Fraction
from math import ceil

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.batch.bills.growth import TooGreatError, in_steps
from loomwright.batch.bills.lengths import CircuitStretch, RowLengths
from loomwright.batch.bills.pieces import constant
from loomwright.batch.bills.tally import Amount, Chunk, Presence, Tally
from loomwright.batch.variation import SEGMENT_LENGTH, Place, Variation
from loomwright.jobs.demo_library import demo_job
from loomwright.jobs.job_document import job_from_document
from loomwright.pricing.growing import Growing
from loomwright.pricing.minor_units import Units
from loomwright.pricing.requirements import ROUTE, QuantityRules, Stretch, rounded_up
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables

RULES = QuantityRules(conductor_slack_percent=Decimal("12.345678"))
TAPE = RULES.tape_length_m(Growing(), Decimal("0.012345"))
LAWS = (
    RULES.conductor_length_m(Growing(), 2),
    RULES.tie_count(Growing()),
    TAPE,
    # Feet up to their millionth, of what was rounded up before.
    rounded_up(TAPE / Decimal("0.3048"), Decimal("0.000001")),
)
CIRCUIT = "bass_feed"
AT = CircuitStretch(CIRCUIT, Stretch(ROUTE))
NUMBERS = st.integers(0, 10**6).map(lambda count: Decimal(count).scaleb(-3))


def chunk(lengths_um: list[int], cases: dict[int, Units]) -> Chunk:
    """Rows of a route of these lengths."""
    document = demo_job("hybrid_jump_start")
    circuit = document["circuits"][0]
    circuit["route"] = circuit["route"][:1]
    job = job_from_document(document, tables(), fuse_tables().types)
    values = {Place(SEGMENT_LENGTH, CIRCUIT, 0): np.array(lengths_um) / 1e6}
    variation = Variation(job, len(lengths_um), values)
    return Chunk(len(lengths_um), cases, RowLengths(variation, slice(None)))


def listed(steps: Units, count: int) -> list[int]:
    return np.broadcast_to(steps, count).tolist()  # type: ignore[no-any-return]


def test_a_sum_is_rounded_once_as_worked_by_hand() -> None:
    # 0.7 and 1.4 x the length, in steps of 0.5: 0.7 + 1.4 = 2.1 makes 5, 0.7 + 2.8 = 3.5 makes 7.
    half = Fraction(1, 2)
    amounts = [
        Amount(0, 0, in_steps(constant(Decimal("0.7")), half), None),
        Amount(1, 0, in_steps(Growing() * Decimal("1.4"), half), AT),
    ]
    tally = Tally(amounts)
    assert listed(tally.steps(chunk([10**6, 2 * 10**6], {0: 0, 1: 0})), 2) == [5, 7]
    # In the other case of the second piece nothing is needed of it.
    assert listed(tally.steps(chunk([10**6], {0: 0, 1: 1})), 1) == [2]
    in_both = {0: 0, 1: np.array([1, 0])}
    assert listed(tally.steps(chunk([10**6, 2 * 10**6], in_both)), 2) == [2, 7]


@given(
    st.lists(st.integers(10**4, 10**8), min_size=1, max_size=8),
    st.lists(st.tuples(st.integers(0, 1), st.sampled_from(LAWS)), max_size=4),
    NUMBERS,
    st.sampled_from((Fraction(1, 10), Fraction(3, 10), Fraction(1, 10**6), Fraction(1))),
    st.data(),
)
def test_sums_are_exact(
    lengths_um: list[int],
    laws: list[tuple[int, Growing]],
    fixed: Decimal,
    step: Fraction,
    data: st.DataObject,
) -> None:
    cases = [data.draw(st.integers(0, 1)) for _ in lengths_um]
    amounts = [Amount(0, case, in_steps(law, step), AT) for case, law in laws]
    amounts.append(Amount(1, 0, in_steps(constant(fixed), step), None))
    rows = chunk(lengths_um, {0: np.array(cases), 1: 0})
    found = listed(Tally(amounts).steps(rows), len(lengths_um))
    for length_um, case, steps in zip(lengths_um, cases, found, strict=True):
        length_m = Decimal(length_um).scaleb(-6)
        own = sum(law.at(length_m) for of, law in laws if of == case)
        assert steps == ceil((own + Fraction(fixed)) / step)


def test_what_64_bits_may_not_hold_is_refused() -> None:
    rows, micro = chunk([10**8], {0: 0}), Fraction(1, 10**6)
    with pytest.raises(TooGreatError):
        Tally([Amount(0, 0, in_steps(constant(Decimal(10**13)), micro), None)]).steps(rows)
    with pytest.raises(TooGreatError):
        Tally([Amount(0, 0, in_steps(Growing() * 10**11, micro), AT)]).steps(rows)
    many = (Growing() * Decimal("123456789.123456789123456789")).whole_steps()
    with pytest.raises(TooGreatError):
        Tally([Amount(0, 0, in_steps(many, Fraction(1)), AT)]).steps(rows)


def test_presence_is_that_of_the_cases() -> None:
    presence = Presence([(0, 1), (1, 0)])
    rows = {0: np.array([0, 1, 0, 1]), 1: np.array([0, 0, 1, 1])}
    assert np.array_equal(presence.of(chunk([1] * 4, rows)), [True, True, False, True])
    assert presence.of(chunk([1], {0: 1, 1: 1})) is True
    assert presence.of(chunk([1], {0: 0, 1: 1})) is False
    assert Presence([(2, 0)]).of(chunk([1], {2: 0})) is True
    assert Presence().of(chunk([1], {})) is False


def test_cases_of_rows_are_told() -> None:
    rows = chunk([1] * 4, {0: np.array([2, 0, 2, 0]), 1: 1})
    assert (rows.present(0), rows.present(1)) == ([0, 2], [1])
    assert rows.rows(0, 2).tolist() == [0, 2]
    assert rows.rows(0, 1).tolist() == []
