"""Cautions of single tasks, by the facts of the vehicle, the zone and the circuit."""

from collections.abc import Iterable

from loomwright.jobs.circuit_sources import BATTERY_VOLTAGE_V
from loomwright.jobs.job import SOLDER
from loomwright.jobs.sized_circuit import SizedCircuit
from loomwright.jobs.work_order.facts import WorkFacts
from loomwright.jobs.work_order.outline import CircuitOutline, EquipmentOutline, SourceOutline

_LOUD = frozenset({"amplifier", "bass_unit", "loudspeaker"})
Facts = dict[str, bool]


def _true(facts: Facts) -> tuple[str, ...]:
    return tuple(key for key, applies in facts.items() if applies)


def make_safe_cautions(facts: WorkFacts) -> tuple[str, ...]:
    """Return the cautions of switching the vehicle off."""
    high_voltage = facts.outline.has_high_voltage
    return _true(
        {
            "defer_to_maker": True,
            "converter_feeds_low_voltage": high_voltage,
            "service_disconnect": high_voltage,
            "keyless_wake_up": "keyless_entry" in facts.hazards,
            "start_stop": "start_stop" in facts.hazards,
        }
    )


def isolate_cautions(facts: WorkFacts, source: SourceOutline) -> tuple[str, ...]:
    """Return the cautions of isolating a source."""
    return _true(
        {
            "isolate_battery": True,
            "two_sources": len(facts.power_sources) > 1,
            "jump_start_post": source.tap_point == "jump_start_post",
            "battery_in_living_space": source.tap_point == "remote_battery",
        }
    )


def prove_dead_cautions(facts: WorkFacts) -> tuple[str, ...]:
    """Return the cautions of proving that nothing is live."""
    return _true(
        {
            "airbag": True,
            "airbag_wait": "airbags_on_route" in facts.hazards,
            "keyless_wake_up": "keyless_entry" in facts.hazards,
        }
    )


def zone_cautions(facts: WorkFacts, *zones: str) -> tuple[str, ...]:
    """Return the cautions of work in zones."""
    hot = any(facts.zone(zone).engine_space for zone in zones)
    return (*facts.on_the_route, "engine_bay_heat") if hot else facts.on_the_route


def terminate_cautions(circuit: CircuitOutline) -> tuple[str, ...]:
    """Return the cautions of making off the ends of a circuit."""
    material = circuit.material
    return _true(
        {
            "soldered_joint": circuit.joining == SOLDER,
            "copper_clad": material.startswith("cca"),
            "aluminium": material == "aluminium",
        }
    )


def ground_cautions(facts: WorkFacts) -> tuple[str, ...]:
    """Return the cautions of making a ground point."""
    return _true({"chassis_return": True, "battery_sensor": "battery_sensor" in facts.hazards})


def connect_feed_cautions(facts: WorkFacts, circuit: CircuitOutline) -> tuple[str, ...]:
    """Return the cautions of connecting the feed of a circuit."""
    source = facts.power_sources[facts.sources_by_circuit[circuit.key]]
    return _true(
        {
            "jump_start_post": source.tap_point == "jump_start_post",
            "battery_in_series": source.system_voltage_v > BATTERY_VOLTAGE_V,
            "two_sources": circuit.key in facts.linked,
        }
    )


def wants_higher_voltage_fuse(entry: SizedCircuit) -> bool:
    """Return whether a circuit that was sized wants the fuse for a higher voltage."""
    answer = entry.fuse_answer
    return answer is not None and "higher_voltage_variant" in answer.cautions


def fuse_cautions(facts: WorkFacts, circuit: str, *, higher_voltage: bool) -> tuple[str, ...]:
    """Return the cautions of fitting the fuse of a circuit."""
    return _true(
        {
            "fuse_not_above_conductor": True,
            "higher_voltage_variant": higher_voltage,
            "two_sources": circuit in facts.linked,
        }
    )


def mount_cautions(facts: WorkFacts, item: EquipmentOutline) -> tuple[str, ...]:
    """Return the cautions of fitting a piece of equipment."""
    heater = item.what == "heater"
    return _true(
        {
            "defer_to_maker": True,
            "behind_the_panel": True,
            "airbag": True,
            "airbag_wait": "airbags_on_route" in facts.hazards,
            "mains_output": item.what == "inverter",
            "combustion_heater": heater,
            "fuel_lines": heater or "fuel_lines" in facts.hazards,
        }
    )


def hearing(equipment: Iterable[EquipmentOutline]) -> tuple[str, ...]:
    """Return the caution of loud equipment, none where no piece is."""
    return ("hearing",) if any(item.what in _LOUD for item in equipment) else ()


def reconnect_cautions(facts: WorkFacts) -> tuple[str, ...]:
    """Return the cautions of reconnecting a source."""
    return _true(
        {
            "two_sources": len(facts.power_sources) > 1,
            "start_stop": "start_stop" in facts.hazards,
            "battery_sensor": "battery_sensor" in facts.hazards,
        }
    )
