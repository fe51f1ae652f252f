"""What is known of a circuit before its conductor is kept as far as it is small."""

from dataclasses import replace

import pytest

from loomwright.jobs.circuit_layout import CircuitLayout
from loomwright.jobs.demo_library import demo_job
from loomwright.jobs.job import Job
from loomwright.jobs.job_document import job_from_document
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables


def job_with(loads: int) -> Job:
    """A demo job with so many pieces of equipment on the circuit of its first."""
    job = job_from_document(demo_job("van_second_battery"), tables(), fuse_tables().types)
    key = next(item.circuit for item in job.equipment if item.circuit)
    own = [item for item in job.equipment if item.circuit == key]
    others = [item for item in job.equipment if item.circuit != key]
    return replace(job, equipment=(replace(own[0], quantity=loads), *others))


@pytest.mark.parametrize(("loads", "is_kept"), [(1, True), (16, True), (17, False), (100, False)])
def test_the_ends_of_a_circuit_with_many_loads_are_not_kept(loads: int, is_kept: bool) -> None:
    job = job_with(loads)
    key = next(item.circuit for item in job.equipment if item.circuit)
    one, other = (CircuitLayout(job, job.circuit_by_key[key]).ends("ring") for _ in range(2))
    assert one == other
    assert (one is other) == is_kept
    # There and back at each of them.
    assert sum(end.place == "load" for end in one.ends) == 2 * loads
