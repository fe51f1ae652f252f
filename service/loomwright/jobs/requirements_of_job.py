"""Everything that a job needs, from its sized circuits, equipment and leads."""

from collections.abc import Sequence
from decimal import Decimal

from loomwright.jobs.circuit_labour import circuit_labour, job_labour, lead_labour
from loomwright.jobs.circuit_parts import CircuitParts, exact_number, metres_text
from loomwright.jobs.job import Circuit, Job
from loomwright.jobs.sized_circuit import SizedCircuit
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.requirements import LabourRequirement, Requirement, exact_length_m


def requirements_of_job(
    job: Job, sized: Sequence[SizedCircuit], book: PriceBook
) -> tuple[list[Requirement], list[LabourRequirement]]:
    """Return the parts and the labour of a job.

    A circuit without a conductor or without a fuse contributes neither wiring parts nor wiring
    labour; its equipment and leads, which do not depend on them, stay.

    Parameters
    ----------
    job
        The job.
    sized
        Its circuits as the engineering found them.
    book
        Price book, for its quantity rules and the studs of its fuse holders.

    Returns
    -------
    tuple of two lists
        Parts, then labour.
    """
    parts = _equipment(job)
    labour = job_labour(job)
    for entry in sized:
        if entry.verdict == "sized":
            wiring = CircuitParts(job, entry, book).collected()
            parts += wiring
            labour += circuit_labour(entry.circuit, wiring)
        parts += _leads(entry.circuit)
        labour += lead_labour(entry.circuit)
    return parts, labour


def _equipment(job: Job) -> list[Requirement]:
    return [
        Requirement(
            "equipment",
            {"reference": item.reference},
            Decimal(item.quantity),
            "EA",
            "equipment of the job",
            "equipment",
            item.circuit or "",
        )
        for item in job.equipment
        if item.fitted and item.reference is not None
    ]


def _leads(circuit: Circuit) -> list[Requirement]:
    signal = [
        Requirement(
            "signal_lead",
            {"form": lead.form, "length_m": exact_length_m(lead.length_m)},
            Decimal(1),
            "EA",
            f"signal over {metres_text(exact_length_m(lead.length_m))}",
            "signal_lead",
            circuit.key,
        )
        for lead in circuit.signal_leads
    ]
    remote = [
        Requirement(
            "remote_lead",
            {"cross_section_mm2": exact_number(lead.cross_section_m2 * 1e6)},
            exact_length_m(lead.length_m),
            "MTR",
            f"switches the equipment on over {metres_text(exact_length_m(lead.length_m))}",
            "remote_lead",
            circuit.key,
        )
        for lead in circuit.remote_leads
    ]
    taps = [
        Requirement(
            "tap",
            {"use": tap.use},
            Decimal(tap.quantity),
            "EA",
            "connects to the vehicle's own wiring",
            "tap",
            circuit.key,
        )
        for tap in circuit.taps
    ]
    return signal + remote + taps
