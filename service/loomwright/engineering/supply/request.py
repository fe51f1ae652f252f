"""What an assessment of a supply is asked about, in coherent SI."""

from dataclasses import replace

from loomwright.engineering.record import record
from loomwright.engineering.supply.alternator import Alternator
from loomwright.engineering.supply.battery import Battery
from loomwright.engineering.supply.converter import Converter
from loomwright.tables.records import Provenance

DRIVING, IDLE, ENGINE_OFF = "driving", "idle", "engine_off"
# In the order in which they are judged.
RUNNING_STATES = (IDLE, DRIVING)
STATES = (*RUNNING_STATES, ENGINE_OFF)


@record
class ExistingLoads:
    """What the vehicle takes without the new equipment, by its state [A], 0 or more."""

    idle_a: float = 0.0
    driving_a: float = 0.0
    engine_off_a: float = 0.0
    key_off_a: float = 0.0

    def in_state(self, state: str) -> float:
        """Return the current in one of ``STATES``."""
        return {IDLE: self.idle_a, DRIVING: self.driving_a, ENGINE_OFF: self.engine_off_a}[state]


@record
class VehicleSupply:
    """What a vehicle has to feed equipment with.

    At most one of alternator and converter is there. Without either nothing charges the battery.
    ``resistance_is_cold`` says that the internal resistance is that at -18 C.
    ``share_is_practice`` says that the output of the hot alternator is that of common practice.
    ``provenances`` are those of the figures that were not stated.
    """

    system_voltage_v: float
    battery: Battery
    alternator: Alternator | None
    converter: Converter | None
    existing: ExistingLoads
    wanted_engine_off_s: float | None
    wanted_standing_s: float | None
    resistance_is_cold: bool = False
    share_is_practice: bool = False
    provenances: tuple[Provenance, ...] = ()


@record
class SupplyLoad:
    """New equipment as a load of the supply.

    Parameters
    ----------
    key
        Unique among the loads.
    current_a
        Peak current [A], above 0; none for a load of constant power.
    power_w
        Peak power [W], above 0, if it is such a load.
    average_current_a
        Over minutes while it is in use [A], 0 or more, at most the peak.
    loop_resistance_ohm
        Wiring there and back between battery and equipment [ohm], 0 or more.
    least_voltage_v
        At which the equipment still works [V]; none if that is not judged.
    standby_current_a
        Drawn with the vehicle parked [A], 0 or more.
    states
        Those of ``STATES`` in which it is used.
    peak_time_s
        That a peak lasts [s], above 0.
    has_drive_level
        Whether a lower drive level lowers what it draws.
    draw_exponent
        Power of the relative output that the draw follows: 1 where it follows the output power, as
        with a switching amplifier, 0.5 where it follows the output voltage, as with a linear one.
    """

    key: str
    current_a: float | None
    power_w: float | None
    average_current_a: float
    loop_resistance_ohm: float
    least_voltage_v: float | None = None
    standby_current_a: float = 0.0
    states: tuple[str, ...] = STATES
    peak_time_s: float = 1.0
    has_drive_level: bool = False
    draw_exponent: float = 0.5

    def peak_current_a(self, voltage_v: float) -> float:
        """Return the peak current [A] at a voltage [V] at the equipment."""
        return self.current_a if self.power_w is None else self.power_w / voltage_v  # type: ignore[return-value]

    def at_level(self, change_db: float) -> "SupplyLoad":
        """Return the same load with its drive level lowered by some decibel, 0 or more."""
        if not self.has_drive_level:
            return self
        share = 10.0 ** (-change_db * self.draw_exponent / 10.0)
        return replace(
            self,
            current_a=None if self.current_a is None else share * self.current_a,
            power_w=None if self.power_w is None else share * self.power_w,
            average_current_a=share * self.average_current_a,
        )


@record
class SupplyRequest:
    """A supply and the equipment that is to be fed from it.

    ``provenances`` are those of the figures of loads that were not stated.
    """

    supply: VehicleSupply
    loads: tuple[SupplyLoad, ...]
    provenances: tuple[Provenance, ...] = ()

    def in_state(self, state: str) -> tuple[SupplyLoad, ...]:
        """Return the loads that are used in one of ``STATES``."""
        return tuple(load for load in self.loads if state in load.states)
