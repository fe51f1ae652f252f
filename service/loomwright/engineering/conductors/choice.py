"""What is asked of a conductor and what is answered, in coherent SI."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from loomwright.engineering.conductors.loaded_route import (
    AMPACITY_MARGIN,
    CURRENT,
    DROP,
    GREATEST_LENGTH,
    LOAD_VOLTAGE,
    LOOP_RESISTANCE,
    LOSS,
    TEMPERATURE,
)
from loomwright.engineering.record import record
from loomwright.tables.records import ConductorSize, Insulation, Material

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

CRITERIA = (
    "voltage_drop",
    "conductor_temperature",
    "published_ampacity",
    "mechanical",
    "short_circuit",
)


@record
class Segment:
    """A stretch of the route with one surrounding.

    Parameters
    ----------
    length_m
        One way [m], above 0.
    ambient_temperature_k
        Of the place [K].
    bundled_conductors
        Loaded conductors in the bundle, this one included [1], 1 or more.
    engine_space
        Whether the published engine-space factor applies.
    """

    length_m: float
    ambient_temperature_k: float
    bundled_conductors: int = 1
    engine_space: bool = False


@dataclass(frozen=True, slots=True)
class ConductorRequest:
    """What a conductor is chosen for, in coherent SI.

    Exactly one of ``load_current_a`` and ``load_power_w`` is given. ``on_time_s`` and
    ``off_time_s`` describe a cyclic load; none means continuous. ``fault_current_a`` and
    ``clearing_time_s`` together switch the short-circuit criterion on.
    """

    sizes: tuple[ConductorSize, ...]
    material: Material
    insulation: Insulation
    supply_voltage_v: float
    allowed_voltage_drop_v: float
    segments: tuple[Segment, ...]
    load_current_a: float | None = None
    load_power_w: float | None = None
    source_resistance_ohm: float = 0.0
    return_by_conductor: bool = True
    chassis_resistance_ohm: float = 0.0
    fixed_resistance_ohm: float = 0.0
    on_time_s: float | None = None
    off_time_s: float | None = None
    greatest_parallel_runs: int = 1
    smallest_size: ConductorSize | None = None
    given_size: ConductorSize | None = None
    given_parallel_runs: int = 1
    fault_current_a: float | None = None
    clearing_time_s: float | None = None

    @property
    def wiring_fixed_resistance_ohm(self) -> float:
        """Resistance of the wiring that no choice of size changes [ohm]."""
        return self.chassis_resistance_ohm + self.fixed_resistance_ohm

    @property
    def route_length_m(self) -> float:
        """One-way length of the whole route [m]."""
        return sum(segment.length_m for segment in self.segments)

    def with_numbers(
        self,
        supply_voltage_v: float,
        allowed_voltage_drop_v: float,
        load_current_a: float | None,
        load_power_w: float | None,
        source_resistance_ohm: float,
    ) -> "ConductorRequest":
        """Return the same with another supply, allowance and load.

        Parameters
        ----------
        supply_voltage_v
            Open-circuit voltage of the source [V].
        allowed_voltage_drop_v
            Greatest drop of the wiring [V].
        load_current_a
            Of the load [A]; none where its power is given.
        load_power_w
            Of a constant-power load [W]; none where its current is given.
        source_resistance_ohm
            Of the source [ohm].

        Returns
        -------
        ConductorRequest
            Otherwise as it is.
        """
        # In the order of the fields: ``replace`` takes four times as long.
        return ConductorRequest(
            self.sizes,
            self.material,
            self.insulation,
            supply_voltage_v,
            allowed_voltage_drop_v,
            self.segments,
            load_current_a,
            load_power_w,
            source_resistance_ohm,
            self.return_by_conductor,
            self.chassis_resistance_ohm,
            self.fixed_resistance_ohm,
            self.on_time_s,
            self.off_time_s,
            self.greatest_parallel_runs,
            self.smallest_size,
            self.given_size,
            self.given_parallel_runs,
            self.fault_current_a,
            self.clearing_time_s,
        )


@dataclass(frozen=True, slots=True, eq=False)
class CandidateFrame:
    """What each candidate is and can carry, whatever it is asked for.

    ``published_ampacity_a`` is NaN where no table covers the size; ``ampacity_a`` is the lower of
    heat balance and published table. Currents are those of all parallel runs together, continuous
    or of the stated cycle, in the least favourable segment.
    """

    sizes: tuple[ConductorSize, ...]
    parallel_runs: npt.NDArray[np.int64]
    cross_section_m2: Array
    heat_ampacity_a: Array
    published_ampacity_a: Array
    ampacity_a: Array
    ampacity_is_published: Mask


@record
class Candidates:
    """Every candidate as one element of each array, in order of choice.

    ``state`` has the rows of ``loaded_route.solved_candidates``, named by the properties below.
    ``utilisation`` has one row for each of ``CRITERIA``: what is asked over what is allowed [1].
    ``failing`` has the criteria that are missed as binary digits, the first criterion as the last
    digit.
    """

    frame: CandidateFrame
    operating_point_exists: Mask
    state: Array
    utilisation: Array
    failing: npt.NDArray[np.uint8]

    def _row(self, row: int) -> Array:
        return np.asarray(self.state[row])

    @property
    def load_current_a(self) -> Array:
        """Current of the load [A]."""
        return self._row(CURRENT)

    @property
    def load_voltage_v(self) -> Array:
        """Voltage at the load [V]."""
        return self._row(LOAD_VOLTAGE)

    @property
    def voltage_drop_v(self) -> Array:
        """Voltage lost in the wiring, there and back [V]."""
        return self._row(DROP)

    @property
    def wiring_loss_w(self) -> Array:
        """Power that the wiring turns into heat [W]."""
        return self._row(LOSS)

    @property
    def loop_resistance_ohm(self) -> Array:
        """Resistance of the whole wiring there and back [ohm]."""
        return self._row(LOOP_RESISTANCE)

    @property
    def conductor_temperature_k(self) -> Array:
        """Temperature of the hottest segment [K].

        NaN above the 250 C cap of the model and where no operating point exists.
        """
        return self._row(TEMPERATURE)

    @property
    def greatest_length_m(self) -> Array:
        """One-way length at which the drop reaches its limit, or the circuit collapses [m]."""
        return self._row(GREATEST_LENGTH)

    @property
    def ampacity_margin_a(self) -> Array:
        """Ampacity less the current of the load [A]."""
        return self._row(AMPACITY_MARGIN)

    @property
    def passes(self) -> Mask:
        """Whether each criterion, one row each, is met."""
        places = np.arange(len(CRITERIA), dtype=np.uint8)[:, None]
        return np.asarray(self.failing >> places & 1 == 0)

    @property
    def sizes(self) -> tuple[ConductorSize, ...]:
        """Size of each candidate."""
        return self.frame.sizes

    @property
    def parallel_runs(self) -> npt.NDArray[np.int64]:
        """Parallel runs of each candidate [1]."""
        return self.frame.parallel_runs

    @property
    def ampacity_a(self) -> Array:
        """Ampacity of each candidate, see ``CandidateFrame`` [A]."""
        return self.frame.ampacity_a

    @property
    def ampacity_is_published(self) -> Mask:
        """Whether the published table governs."""
        return self.frame.ampacity_is_published

    @property
    def heat_ampacity_a(self) -> Array:
        """Ampacity by the heat balance [A]."""
        return self.frame.heat_ampacity_a

    @property
    def published_ampacity_a(self) -> Array:
        """Ampacity by the published table, NaN where none covers the size [A]."""
        return self.frame.published_ampacity_a


@record
class ConductorAnswer:
    """The choice with every candidate.

    ``verdict`` is ``conductor_found``, ``no_conductor_meets_criteria``, ``given_size_passes``,
    ``given_size_fails`` or ``no_operating_point``. ``chosen`` and ``checked`` are indices into the
    candidates. ``greatest_power_w`` is the most that the largest candidate can deliver.
    """

    verdict: str
    chosen: int | None
    checked: int | None
    deciding_criterion: str | None
    candidates: Candidates
    greatest_power_w: float
    iterations: int
    residual: float
