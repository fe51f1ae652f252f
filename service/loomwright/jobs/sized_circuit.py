"""One circuit as the engineering sized it: conductor, fuse, verdict and the reasons in words."""

from typing import Protocol

from loomwright.engineering.conductors.choice import ConductorAnswer
from loomwright.engineering.conductors.loaded_route import (
    CURRENT,
    DROP,
    LOAD_VOLTAGE,
    LOOP_RESISTANCE,
    TEMPERATURE,
)
from loomwright.engineering.protection.fuse_answer import FUSE_FOUND, FuseProvenances
from loomwright.engineering.protection.fuse_choice import TypeChoice
from loomwright.engineering.protection.selectivity import Selectivity
from loomwright.engineering.record import record
from loomwright.figures import KELVIN_AT_0_C
from loomwright.jobs.job import Circuit
from loomwright.pricing.attribute_words import in_words
from loomwright.tables.records import ConductorSize

SIZED = "sized"
NO_CONDUCTOR = "no_conductor"
NO_FUSE = "no_fuse"
NO_FEEDER = "no_feeder"
VERDICTS = (SIZED, NO_CONDUCTOR, NO_FUSE, NO_FEEDER)

_CRITERION_WORDS = {
    "voltage_drop": "voltage drop decides",
    "conductor_temperature": "conductor temperature decides",
    "published_ampacity": "published ampacity decides",
    "mechanical": "smallest size allowed decides",
    "short_circuit": "short-circuit withstand decides",
    "smallest_listed_size": "the thinnest of its series serves",
}


class BuiltCircuit(Protocol):
    """What of a sized circuit its parts, its labour and their reasons follow from."""

    @property
    def circuit(self) -> Circuit:
        """The circuit as it is stated."""

    @property
    def verdict(self) -> str:
        """One of ``VERDICTS``."""

    @property
    def branch_fuses(self) -> tuple[tuple[str, float], ...]:
        """Type and rating of the fused branches that it feeds."""

    @property
    def decision(self) -> str:
        """Why the conductor is as thick as it is."""

    @property
    def fuse_reason(self) -> str:
        """Why the fuse has its rating."""

    def built(self) -> tuple[ConductorSize, str, float]:
        """Return conductor, fuse type and rating, if the circuit is sized."""


@record
class CircuitFuse:
    """What of the fuse of a circuit its bill, its work order and its plan need.

    ``chosen`` is the first wanted type that fits; without one the verdict says why.
    ``upstream_selectivity`` is that of the chosen fuse with the one before its feeder.
    """

    verdict: str
    chosen: TypeChoice | None
    near_source_fault_a: float
    far_end_fault_a: float
    upstream_selectivity: Selectivity | None
    cautions: tuple[str, ...]
    provenances: FuseProvenances


@record
class SizedCircuit:
    """What the engineering answers for one circuit of a job.

    ``verdict`` is ``sized``, ``no_conductor``, ``no_fuse``, or ``no_feeder`` where a circuit
    before it is not sized. ``conductor_verdict`` and ``fuse_verdict`` are those of the engineering,
    the latter ``None`` where it was not asked.
    ``candidate`` is the index of the conductor in ``conductor_answer.candidates``: the chosen one,
    or a thicker one that the fuse called for (``thickened_for`` then names the fuse verdict that
    the thinner one met). ``figures`` are the column of its state, taken out once as they are asked
    for some dozen times. ``branch_fuses`` are type and rating of the fused branches that it feeds.
    """

    circuit: Circuit
    verdict: str
    conductor_verdict: str
    fuse_verdict: str | None
    conductor_answer: ConductorAnswer | None
    fuse_answer: CircuitFuse | None
    candidate: int | None
    thickened_for: str | None
    system_voltage_v: float
    figures: tuple[float, ...] = ()
    branch_fuses: tuple[tuple[str, float], ...] = ()

    @property
    def conductor(self) -> ConductorSize | None:
        """The conductor, or ``None`` where there is none."""
        if self.conductor_answer is None or self.candidate is None:
            return None
        return self.conductor_answer.candidates.frame.sizes[self.candidate]

    @property
    def fuse(self) -> TypeChoice | None:
        """The chosen fuse, or ``None`` where no fuse serves."""
        return self.fuse_answer.chosen if self.verdict == SIZED and self.fuse_answer else None

    @property
    def fuse_type(self) -> str | None:
        """Key of the fuse type, or ``None`` where no fuse serves."""
        fuse = self.fuse
        return None if fuse is None else fuse.fuse_type.key

    @property
    def rated_current_a(self) -> float | None:
        """Rating of the fuse [A], or ``None`` where no fuse serves."""
        fuse = self.fuse
        return None if fuse is None else fuse.rating_a

    @property
    def load_current_a(self) -> float | None:
        """Current of the load through the conductor [A]."""
        return self._of_candidate(CURRENT)

    @property
    def voltage_drop_v(self) -> float | None:
        """Drop of the wiring there and back [V]."""
        return self._of_candidate(DROP)

    @property
    def load_voltage_v(self) -> float | None:
        """Voltage at the load [V]."""
        return self._of_candidate(LOAD_VOLTAGE)

    @property
    def conductor_temperature_k(self) -> float | None:
        """Conductor temperature in the hottest stretch [K]."""
        return self._of_candidate(TEMPERATURE)

    @property
    def loop_resistance_ohm(self) -> float | None:
        """Resistance of the wiring there and back at working temperature [ohm]."""
        return self._of_candidate(LOOP_RESISTANCE)

    def _of_candidate(self, row: int) -> float | None:
        return self.figures[row] if self.figures else None

    def built(self) -> tuple[ConductorSize, str, float]:
        """Return conductor, fuse type and rating of a circuit that was sized.

        Returns
        -------
        tuple
            Conductor, key of the fuse type, rating [A].

        Raises
        ------
        ValueError
            The circuit was not sized, so nothing may be built of it.
        """
        conductor, fuse = self.conductor, self.fuse
        if conductor is None or fuse is None or fuse.rating_a is None:
            raise ValueError(f"Circuit {self.circuit.key} is not sized: {self.verdict}.")
        return conductor, fuse.fuse_type.key, fuse.rating_a

    @property
    def decision(self) -> str:
        """Why the conductor is as thick as it is, with its drop and temperature."""
        if self.conductor_answer is None or self.candidate is None:
            return in_words(self.conductor_verdict)
        if self.thickened_for:
            why = f"thickened for its fuse ({in_words(self.thickened_for)})"
        else:
            why = _CRITERION_WORDS[self.conductor_answer.deciding_criterion or "mechanical"]
        drop = self.voltage_drop_v or 0.0
        kelvin = self.conductor_temperature_k or 0.0
        return (
            f"{why}; {self.load_current_a or 0.0:.1f} A, drop {drop:.2f} V"
            f" ({100.0 * drop / self.system_voltage_v:.1f} %), {kelvin - KELVIN_AT_0_C:.0f} C"
        )

    @property
    def fuse_reason(self) -> str:
        """Why the fuse has its rating, or why there is none."""
        if self.fuse_answer is None:
            return "no fuse was asked for"
        if self.fuse_answer.verdict != FUSE_FOUND or self.fuse_answer.chosen is None:
            return in_words(self.fuse_answer.verdict)
        window = self.fuse_answer.chosen.window
        return (
            f"least standard rating between {window.lower_a:.1f} A ({in_words(window.lower_rule)})"
            f" and {window.upper_a:.1f} A ({in_words(window.upper_rule)})"
        )
