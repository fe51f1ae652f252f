"""Everything that a job needs, from its sized circuits, equipment and leads."""

from collections.abc import Hashable, Mapping, Sequence
from decimal import Decimal

from loomwright.engineering.record import record
from loomwright.jobs.circuit_build import CircuitBuild, CircuitBuilds
from loomwright.jobs.circuit_labour import circuit_labour, job_labour, lead_labour
from loomwright.jobs.circuit_parts import circuit_parts, other_parts
from loomwright.jobs.job import Circuit, Job
from loomwright.jobs.part_texts import exact_number, metres_text, millimetres
from loomwright.jobs.sized_circuit import SIZED, BuiltCircuit
from loomwright.pricing.growing import Exact
from loomwright.pricing.kinds import Attribute
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.requirements import (
    REMOTE_LEAD,
    SIGNAL_LEAD,
    LabourRequirement,
    Measured,
    QuantityRules,
    Requirement,
    Stretch,
    exact_length_m,
)

# A signal lead with the remote lead beside it is no thicker; common practice, no source.
_LEAD_BUNDLE_M = 0.012


@record
class _Wiring:
    """Parts and labour that follow from how a circuit is built alone."""

    others: tuple[Requirement, ...]
    labour: list[LabourRequirement]


class JobRequirements:
    """Parts and labour of a job for any sizes of its circuits.

    What two sizings of the job have in common is worked out once and is the same object in both.

    Parameters
    ----------
    job
        The job.
    book
        Price book, for its quantity rules and the studs of its fuse holders.
    """

    def __init__(self, job: Job, book: PriceBook) -> None:
        self.builds = CircuitBuilds(job, book)
        self._equipment = _equipment(job)
        self._job_labour = job_labour(job)
        self._leads = {circuit.key: lead_parts(circuit, book.rules) for circuit in job.circuits}
        self._lead_labour = {circuit.key: lead_labour(circuit) for circuit in job.circuits}
        self._wirings: dict[CircuitBuild, _Wiring] = {}
        self._labour: dict[Hashable, list[LabourRequirement]] = {}
        self._parts: dict[tuple[CircuitBuild, str, str], tuple[Requirement, ...]] = {}

    def of(
        self, sized: Sequence[BuiltCircuit]
    ) -> tuple[list[Requirement], list[LabourRequirement]]:
        """Return the parts and the labour of the job.

        A circuit without a conductor or without a fuse contributes neither wiring parts nor wiring
        labour; its equipment and leads, which do not depend on them, stay.

        Parameters
        ----------
        sized
            Circuits of the job as the engineering found them, for whatever loads and allowances.

        Returns
        -------
        tuple of two lists
            Parts, then labour.
        """
        parts, labour = self.of_job()
        for entry in sized:
            key = entry.circuit.key
            if entry.verdict == SIZED:
                own_parts, own_labour = self.of_wiring(entry)
                parts += own_parts
                labour += own_labour
            parts += self._leads[key]
            labour += self._lead_labour[key]
        return parts, labour

    def of_job(self) -> tuple[list[Requirement], list[LabourRequirement]]:
        """Return the parts and the labour that are the same whatever the circuits are."""
        return list(self._equipment), list(self._job_labour)

    def of_wiring(
        self, entry: BuiltCircuit
    ) -> tuple[Sequence[Requirement], Sequence[LabourRequirement]]:
        """Return the parts and the labour of a sized circuit, without those of its leads."""
        build = self.builds.of(entry)
        wiring = self._wiring(build)
        return self._parts_of(entry, build, wiring.others), wiring.labour

    def _wiring(self, build: CircuitBuild) -> _Wiring:
        wiring = self._wirings.get(build)
        if wiring is None:
            others = other_parts(build)
            wiring = self._wirings[build] = _Wiring(others, self._labour_of(build, others))
        return wiring

    def _labour_of(
        self, build: CircuitBuild, others: Sequence[Requirement]
    ) -> list[LabourRequirement]:
        """Return the labour of a circuit, which conductor and ratings change nothing of."""
        blocks = tuple([fuse_type for fuse_type, _ in build.branch_fuses])
        key = build.circuit.key, build.holder_connection, blocks
        labour = self._labour.get(key)
        if labour is None:
            labour = self._labour[key] = circuit_labour(build, others)
        return labour

    def _parts_of(
        self, entry: BuiltCircuit, build: CircuitBuild, others: tuple[Requirement, ...]
    ) -> tuple[Requirement, ...]:
        decision, fuse_reason = entry.decision, entry.fuse_reason
        key = build, decision, fuse_reason
        if key not in self._parts:
            self._parts[key] = circuit_parts(build, decision, fuse_reason, others)
        return self._parts[key]


def requirements_of_job(
    job: Job, sized: Sequence[BuiltCircuit], book: PriceBook
) -> tuple[list[Requirement], list[LabourRequirement]]:
    """Return the parts and the labour of a job, as ``JobRequirements`` does.

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
    return JobRequirements(job, book).of(sized)


def _equipment(job: Job) -> list[Requirement]:
    fitted = [item for item in job.equipment if item.fitted]
    priced = [
        _piece(
            "equipment",
            {"reference": item.reference},
            item.quantity,
            "equipment of the job",
            item.circuit or "",
        )
        for item in fitted
        if item.reference is not None
    ]
    return priced + [
        _piece(
            "fixing_set",
            {"use": item.fixings},
            item.quantity,
            f"one for each: {item.description}",
            item.circuit or "",
        )
        for item in fitted
        if item.fixings is not None
    ]


def _piece(
    what: str,
    attributes: Mapping[str, Attribute],
    quantity: int,
    reason: str,
    circuit: str,
    measured: Measured | None = None,
) -> Requirement:
    """Return so many pieces of a kind whose rule has the name of the kind."""
    return Requirement(what, attributes, Decimal(quantity), "EA", reason, what, circuit, measured)


def _as_long_as_it_is(length_m: Exact) -> Exact:
    return length_m


def lead_parts(circuit: Circuit, rules: QuantityRules) -> list[Requirement]:
    """Return the parts of the signal and remote leads of a circuit, and its taps.

    Parameters
    ----------
    circuit
        The circuit.
    rules
        Of the price book.

    Returns
    -------
    list of Requirement
        They do not depend on the sizes of the circuit.
    """
    parts: list[Requirement] = []
    for number, signal in enumerate(circuit.signal_leads):
        length_m = exact_length_m(signal.length_m)
        signal_form: dict[str, Attribute] = {"form": signal.form, "length_m": length_m}
        words = f"signal over {metres_text(length_m)}"
        chosen = Measured(Stretch(SIGNAL_LEAD, number), None, "length_m")
        parts.append(_piece("signal_lead", signal_form, 1, words, circuit.key, chosen))
    for number, remote in enumerate(circuit.remote_leads):
        length_m = exact_length_m(remote.length_m)
        size: dict[str, Attribute] = {
            "cross_section_mm2": exact_number(remote.cross_section_m2 * 1e6)
        }
        words = f"switches the equipment on over {metres_text(length_m)}"
        what, measured = "remote_lead", Measured(Stretch(REMOTE_LEAD, number), _as_long_as_it_is)
        parts.append(Requirement(what, size, length_m, "MTR", words, what, circuit.key, measured))
        words = "one set at the two ends of the lead"
        ends = "remote_lead_ends"
        parts.append(Requirement(ends, size, Decimal(1), "SET", words, ends, circuit.key))
    parts += _lead_ties(circuit, rules)
    parts += [
        _piece(
            "tap",
            {"use": tap.use},
            tap.quantity,
            "connects to the vehicle's own wiring",
            circuit.key,
        )
        for tap in circuit.taps
    ]
    return parts


def _lead_ties(circuit: Circuit, rules: QuantityRules) -> list[Requirement]:
    """Return the ties of the signal leads, or of the remote leads where those lie alone."""
    needed: dict[str, Attribute] = {"bundle_diameter_mm": millimetres(_LEAD_BUNDLE_M)}
    ties = []
    stretch = SIGNAL_LEAD if circuit.signal_leads else REMOTE_LEAD
    lengths_m = [lead.length_m for lead in circuit.signal_leads] or [
        lead.length_m for lead in circuit.remote_leads
    ]
    for number, each_m in enumerate(lengths_m):
        length_m = exact_length_m(each_m)
        reason = (
            f"one and one every {metres_text(rules.tie_spacing_m)} along {metres_text(length_m)}"
            " of lead"
        )
        measured = Measured(Stretch(stretch, number), rules.tie_count)
        count = rules.tie_count(length_m)
        ties.append(
            Requirement("cable_tie", needed, count, "EA", reason, "lead_tie", circuit.key, measured)
        )
    return ties
