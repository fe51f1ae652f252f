"""Labour that follows from a job, each operation with its count, length and reason."""

from collections.abc import Iterable
from decimal import Decimal

from loomwright.jobs.circuit_build import CircuitBuild
from loomwright.jobs.job import Circuit, Equipment, Job
from loomwright.pricing.requirements import (
    REMOTE_LEAD,
    ROUTE,
    SIGNAL_LEAD,
    TAPED,
    LabourRequirement,
    Requirement,
    Stretch,
    exact_length_m,
)

CRIMPED = ("ring_terminal", "ferrule", "tab_terminal", "splice")
_COUNTED = (*CRIMPED, "grommet", "fuse_holder", "distribution_block", "ground_hardware")
_NO_LENGTH = Decimal(0)


def job_labour(job: Job) -> list[LabourRequirement]:
    """Return the labour of a job as a whole: to make safe, to fit, to test, and what it asks for.

    Parameters
    ----------
    job
        The job.

    Returns
    -------
    list of LabourRequirement
        One for each operation wanted.
    """
    first = _whole_job("isolate_source", "every source is isolated before work starts")
    last = _whole_job("test_and_hand_over", "functions shown, readings handed over")
    wanted = [
        LabourRequirement(
            item.operation, item.quantity, _NO_LENGTH, item.reason, "wanted_labour", ""
        )
        for item in job.labour
    ]
    fittings = [_fitting(item) for item in job.equipment if item.fitted]
    return [first, *wanted, *fittings, last]


def circuit_labour(build: CircuitBuild, parts: Iterable[Requirement]) -> list[LabourRequirement]:
    """Return the labour of building one circuit from its parts.

    Parameters
    ----------
    build
        The circuit as it is built.
    parts
        Its parts; what is counted there is not counted again here.

    Returns
    -------
    list of LabourRequirement
        One for each operation that the circuit needs.
    """
    counts = dict.fromkeys(_COUNTED, 0)
    for part in parts:
        if part.what in counts:
            counts[part.what] += int(part.quantity)
    layout = build.layout
    crimped = sum([counts[kind] for kind in CRIMPED])
    counted = (
        ("run_conductor", 1, layout.route_m, "route of the circuit", Stretch(ROUTE)),
        (
            "wrap_tape",
            int(layout.taped_m > 0),
            layout.taped_m,
            "run without loom",
            Stretch(TAPED),
        ),
        ("pass_bulkhead", counts["grommet"], _NO_LENGTH, "clear of what lies behind"),
        ("fit_fuse_holder", counts["fuse_holder"], _NO_LENGTH, "near the source"),
        (
            "fit_distribution_block",
            counts["distribution_block"],
            _NO_LENGTH,
            "with its ways labelled",
        ),
        ("make_off_end", crimped, _NO_LENGTH, "every end marked and pull-tested"),
        ("solder_joint", build.solder_joints, _NO_LENGTH, "every joint held clear of vibration"),
        (
            "make_ground_point",
            counts["ground_hardware"],
            _NO_LENGTH,
            "on bare metal, sealed",
        ),
        ("test_circuit", 1, _NO_LENGTH, "polarity, voltage and drop under load"),
    )
    return [
        LabourRequirement(
            operation, pieces, length_m, reason, operation, build.circuit.key, *stretch
        )
        for operation, pieces, length_m, reason, *stretch in counted
        if pieces
    ]


def lead_labour(circuit: Circuit) -> list[LabourRequirement]:
    """Return the labour of laying signal and remote leads and making taps.

    Parameters
    ----------
    circuit
        The circuit whose equipment the leads serve.

    Returns
    -------
    list of LabourRequirement
        One for each lead and each use of a tap.
    """
    labour = [
        LabourRequirement(
            "run_signal_lead",
            1,
            exact_length_m(lead.length_m),
            f"{lead.form}, away from the power conductor",
            "signal_lead",
            circuit.key,
            Stretch(SIGNAL_LEAD, number),
        )
        for number, lead in enumerate(circuit.signal_leads)
    ]
    labour += [
        LabourRequirement(
            "run_remote_lead",
            1,
            exact_length_m(lead.length_m),
            "beside the signal lead",
            "remote_lead",
            circuit.key,
            Stretch(REMOTE_LEAD, number),
        )
        for number, lead in enumerate(circuit.remote_leads)
    ]
    labour += [
        LabourRequirement(
            "make_tap", tap.quantity, _NO_LENGTH, f"at: {tap.use}", "tap", circuit.key
        )
        for tap in circuit.taps
    ]
    return labour


def _whole_job(operation: str, reason: str) -> LabourRequirement:
    return LabourRequirement(operation, 1, _NO_LENGTH, reason, operation, "")


def _fitting(item: Equipment) -> LabourRequirement:
    return LabourRequirement(
        item.operation,
        item.quantity,
        _NO_LENGTH,
        item.description,
        "fit_equipment",
        item.circuit or "",
    )
