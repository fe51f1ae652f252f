"""The sources of a job: their resistance, their faults, and what is asked of them."""

from collections.abc import Sequence
from dataclasses import dataclass

from loomwright.engineering.protection.faults import (
    WARM_RESISTANCE_SHARE,
    FaultSource,
    Quantity,
    internal_resistance_from_en_cold_cranking_ohm,
)
from loomwright.jobs.job import Job, PowerSource
from loomwright.jobs.sized_circuit import SizedCircuit

BATTERY_VOLTAGE_V = 12.0
CONVERTER = "converter_output"
WITHIN_LIMIT = "within_limit"
ABOVE_LIMIT = "above_limit"
NO_LIMIT_STATED = "no_limit_stated"


@dataclass(frozen=True, slots=True)
class SourceLoad:
    """What the circuits of a job take from one source, beside what its maker allows.

    ``verdict`` is ``within_limit``, ``above_limit`` or ``no_limit_stated``.
    """

    source: PowerSource
    load_current_a: float
    verdict: str


def cold_resistance_ohm(source: PowerSource) -> float:
    """Return the internal resistance of a source as stated, or at -18 C from its cranking current.

    Parameters
    ----------
    source
        A source of a job.

    Returns
    -------
    float
        Resistance [ohm].

    Raises
    ------
    EngineeringError
        ``emf_below_cranking_voltage``.
    """
    if source.internal_resistance_ohm is not None:
        return source.internal_resistance_ohm
    assert source.cold_cranking_current_a is not None
    return cranking_resistance_ohm(
        source.emf_v, source.cold_cranking_current_a, source.system_voltage_v
    )


def cranking_resistance_ohm(
    emf_v: Quantity, cold_cranking_current_a: Quantity, system_voltage_v: float
) -> Quantity:
    """Return the internal resistance at -18 C of a battery from its cranking current.

    Parameters
    ----------
    emf_v
        Open-circuit voltage [V].
    cold_cranking_current_a
        By EN [A], above 0.
    system_voltage_v
        Nominal voltage [V].

    Returns
    -------
    float or ndarray
        Resistance [ohm].

    Raises
    ------
    EngineeringError
        ``emf_below_cranking_voltage``.
    """
    in_series = max(1, round(system_voltage_v / BATTERY_VOLTAGE_V))
    return internal_resistance_from_en_cold_cranking_ohm(emf_v, cold_cranking_current_a, in_series)


def working_resistance_ohm(source: PowerSource) -> float:
    """Return the internal resistance of a source at work: as stated, or that of a warm battery.

    Parameters
    ----------
    source
        A source of a job.

    Returns
    -------
    float
        Resistance [ohm].

    Raises
    ------
    EngineeringError
        ``emf_below_cranking_voltage``.
    """
    return working_share(source.internal_resistance_ohm is not None) * cold_resistance_ohm(source)


def working_share(resistance_is_stated: bool) -> float:
    """Return the resistance of a source at work over what ``cold_resistance_ohm`` says.

    Parameters
    ----------
    resistance_is_stated
        Whether it is stated; a warm battery has less than its cranking current says.

    Returns
    -------
    float
        Share [1].
    """
    return 1.0 if resistance_is_stated else WARM_RESISTANCE_SHARE


def fault_source(source: PowerSource, resistance_before_fuse_ohm: float) -> FaultSource:
    """Return a source as a fault sees it.

    Parameters
    ----------
    source
        A source of a job.
    resistance_before_fuse_ohm
        Circuits between the source and the fuse, there and back [ohm].

    Returns
    -------
    FaultSource
        A cranking current gives the resistance of a cold battery and says so: the far-end fault is
        then the smallest, and the near-source fault of the warm battery is stated beside it.
    """
    return FaultSource(
        emf_v=source.emf_v,
        internal_resistance_ohm=cold_resistance_ohm(source),
        resistance_before_fuse_ohm=resistance_before_fuse_ohm,
        current_limit_a=source.greatest_current_a if limits_its_fault(source) else None,
        cold_cranking_a=source.cold_cranking_current_a,
        internal_resistance_is_cold=source.internal_resistance_ohm is None,
    )


def limits_its_fault(source: PowerSource) -> bool:
    """Return whether the greatest current of a source is that of a fault as well."""
    return source.tap_point == CONVERTER


def source_loads(job: Job, sized: Sequence[SizedCircuit]) -> tuple[SourceLoad, ...]:
    """Return what the circuits take from each source.

    Parameters
    ----------
    job
        The job.
    sized
        Its circuits; one without a conductor takes nothing.

    Returns
    -------
    tuple of SourceLoad
        In the order of the job.
    """
    return tuple(
        source_load(
            source,
            sum(
                entry.load_current_a or 0.0
                for entry in sized
                if entry.circuit.fed_from == source.key and not entry.circuit.charges_source
            ),
        )
        for source in job.power_sources.values()
    )


def source_load(source: PowerSource, current_a: float) -> SourceLoad:
    """Return a current beside what may be taken from a source.

    Parameters
    ----------
    source
        A source of a job.
    current_a
        What is taken from it [A].

    Returns
    -------
    SourceLoad
        With its verdict.
    """
    if source.greatest_current_a is None:
        return SourceLoad(source, current_a, NO_LIMIT_STATED)
    within = current_a <= source.greatest_current_a
    return SourceLoad(source, current_a, WITHIN_LIMIT if within else ABOVE_LIMIT)
