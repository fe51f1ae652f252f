"""Faults that are put in are named: the confusion table, as committed."""

import csv
from collections.abc import Callable

import pytest
from confusion import (
    CASES,
    FILE,
    WIDER,
    outcomes,
    share_right,
    share_within_group,
    table,
)

from loomwright.engineering.measurement.hypotheses import FAULTS

LEAST_RIGHT = 0.9


def test_the_table_is_the_committed_one() -> None:
    with FILE.open(encoding="utf-8", newline="") as file:
        assert list(csv.reader(file)) == table(outcomes())


def test_the_table_counts_every_case_once() -> None:
    rows = table(outcomes())[1:]
    assert sum(int(cell) for row in rows for cell in row[1:-1]) == CASES == 500
    # Each fault is tried often enough to have a share of its own.
    assert all(sum(map(int, row[1:-1])) >= 35 for row in rows)
    assert [row[0] for row in rows] == list(FAULTS)


def test_nine_faults_in_ten_are_named_rightly(
    record_property: Callable[[str, object], None],
) -> None:
    share = share_right(outcomes())
    record_property("summary", f"faults named rightly: {100.0 * share:.1f} % of {CASES} cases")
    assert share >= LEAST_RIGHT


@pytest.mark.parametrize("fault", FAULTS)
def test_each_fault_by_itself_is_named_rightly_nine_times_in_ten(fault: str) -> None:
    of_fault = [right for put, _, right, _ in outcomes() if put == fault]
    assert sum(of_fault) >= LEAST_RIGHT * len(of_fault)


def test_installations_that_spread_more_than_is_believed_are_still_understood() -> None:
    assert share_right(outcomes(tolerances=WIDER)) >= LEAST_RIGHT


def test_fewer_readings_name_less_and_say_so() -> None:
    few = outcomes("voltages and currents alone")
    # A voltage tells that a resistance is there and not which: the first cause is then a guess,
    # and the group that is left in question still holds the right one.
    assert share_right(few) < share_right(outcomes("without the drops over the lugs"))
    assert share_within_group(few) >= LEAST_RIGHT
