"""The three ways in which a job is planned, as changed jobs."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from loomwright.jobs.circuit_conductors import feeders
from loomwright.jobs.job import Circuit, Equipment, Job
from loomwright.pricing.members import Number

LEANEST, RECOMMENDED, HEADROOM = "leanest", "recommended", "headroom"
PLAN_NAMES = (LEANEST, RECOMMENDED, HEADROOM)
PURPOSES: Mapping[str, str] = MappingProxyType(
    {
        LEANEST: (
            "The least copper that is safe: heat, short circuit and fuses as always, and up to "
            "10 % of voltage drop from the source to each load."
        ),
        RECOMMENDED: "The voltage drop that the job allows each circuit.",
        HEADROOM: "Conductors and fuses for the stated growth of every load, fed as today.",
    }
)
# Member of a request for the growth that the plan with headroom is sized for.
HEADROOM_PERCENT = Number(
    0.0, 200.0, "%", default=30.0, about="Growth of every load that headroom is sized for."
)
# ABYC E-11, 11.14.3 (memory): at most 10 % for what safety does not hang on.
LEAN_DROP_FRACTION = 0.10


@dataclass(frozen=True, slots=True)
class PlanOptions:
    """What a request may say about the plans.

    ``headroom_fraction`` is the growth of every load that the plan with headroom is sized for [1].
    """

    headroom_fraction: float = 0.3

    @classmethod
    def of_percent(cls, headroom_percent: float) -> "PlanOptions":
        """Return the options for a growth in per cent."""
        return cls(headroom_fraction=0.01 * headroom_percent)


USUAL = PlanOptions()


def planned_job(job: Job, name: str, options: PlanOptions) -> Job:
    """Return the job as one of the plans sizes it.

    Parameters
    ----------
    job
        The job as stated.
    name
        One of ``PLAN_NAMES``.
    options
        Growth of the loads.

    Returns
    -------
    Job
        Leanest: allowed drops widened alike along each path until one path reaches 10 %; no
        allowance ever falls. Recommended: as stated. Headroom: loads and their starting currents
        grown.
    """
    if name == LEANEST:
        return replace(job, circuits=tuple(_widened(job, circuit) for circuit in job.circuits))
    if name == HEADROOM:
        growth = 1.0 + options.headroom_fraction
        return replace(job, equipment=tuple(_grown(item, growth) for item in job.equipment))
    return job


def _widened(job: Job, circuit: Circuit) -> Circuit:
    fractions = [
        sum(item.allowed_drop_fraction for item in feeders(job, end))
        for end in ends_behind(job, circuit)
    ]
    factor = max(1.0, LEAN_DROP_FRACTION / max(fractions))
    return replace(circuit, allowed_drop_fraction=circuit.allowed_drop_fraction * factor)


def ends_behind(job: Job, circuit: Circuit) -> tuple[Circuit, ...]:
    """Return the circuits without branches that a circuit feeds, or itself if it has none."""
    branches = job.branches(circuit.key)
    if not branches:
        return (circuit,)
    return tuple(end for branch in branches for end in ends_behind(job, branch))


def _grown(item: Equipment, growth: float) -> Equipment:
    def grown(value: float | None) -> float | None:
        return None if value is None else value * growth

    return replace(
        item,
        current_a=grown(item.current_a),
        power_w=grown(item.power_w),
        inrush_current_a=grown(item.inrush_current_a),
    )
