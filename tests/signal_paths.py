"""Small signal paths for tests: each part with plain values, of which some are changed."""

from typing import Any

from loomwright.engineering.signal.path import (
    Connection,
    DeviceGround,
    Figures,
    Relay,
    SignalInput,
    SignalPath,
    SignalSum,
    TakeOff,
    TurnOn,
)
from loomwright.engineering.signal.plan import SignalPlan, signal_plan
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.signal_load import signal_factors

LOADING_FACTOR = fuse_tables().factors["loading_factor"]
SYSTEMS = {int(entry.nominal_v): entry for entry in fuse_tables().system_voltages}


def figures() -> Figures:
    return Figures(signal_factors())


def take_off(**changes: Any) -> TakeOff:
    """A line output of 2 V and 100 ohm with nothing special about it."""
    return TakeOff(
        **{
            "key": "radio",
            "description": "radio",
            "level_kind": "line_level",
            "greatest_voltage_v": 2.0,
            "greatest_power_w": None,
            "load_impedance_ohm": None,
            "output_impedance_ohm": 100.0,
            "least_load_ohm": None,
            "bridged": False,
            "inverted": False,
            "lower_corner_hz": None,
            "upper_corner_hz": None,
            "detects_open_load": False,
            "loudspeaker_stays": False,
            "load_resistance_ohm": None,
            "ground": None,
            "equipment": None,
        }
        | changes
    )


def speaker_output(**changes: Any) -> TakeOff:
    """A bridged output of 25 W into 4 ohm, which is 10 V."""
    return take_off(
        **{
            "key": "factory",
            "level_kind": "speaker_level",
            "greatest_voltage_v": None,
            "greatest_power_w": 25.0,
            "load_impedance_ohm": 4.0,
            "output_impedance_ohm": None,
            "bridged": True,
        }
        | changes
    )


def signal_sum(*take_offs: str, **changes: Any) -> SignalSum:
    return SignalSum(
        **{
            "key": "sum",
            "take_offs": take_offs,
            "relation": "same_signal",
            "method": "device",
            "resistance_ohm": None,
            "gain": 1.0,
        }
        | changes
    )


def signal_input(**changes: Any) -> SignalInput:
    """A grounded line input of 0.2 V to 4 V with 10 kohm."""
    return SignalInput(
        **{
            "key": "amplifier",
            "description": "amplifier",
            "level_kind": "line_level",
            "least_voltage_v": 0.2,
            "greatest_voltage_v": 4.0,
            "overload_voltage_v": None,
            "impedance_ohm": 10_000.0,
            "reference": "grounded",
            "common_mode_rejection_db": None,
            "turn_on_current_a": 0.0,
            "senses_signal": False,
            "ground": None,
            "equipment": None,
        }
        | changes
    )


def connection(**changes: Any) -> Connection:
    return Connection(
        **{
            "feed": "radio",
            "input": "amplifier",
            "converter_ratio": None,
            "isolated": False,
            "isolation_rejection_db": None,
            "shield_resistance_ohm": 0.05,
            "gain_overlap_db": 0.0,
        }
        | changes
    )


def relay(**changes: Any) -> Relay:
    """A coil of 160 ohm: 0.1 A at 16 V."""
    return Relay(
        **{
            "coil_resistance_ohm": 160.0,
            "coil_inductance_h": 0.4,
            "stray_capacitance_f": 1e-9,
            "contact_rating_a": 10.0,
            "suppression": "diode",
            "suppression_resistance_ohm": None,
        }
        | changes
    )


def turn_on(**changes: Any) -> TurnOn:
    return TurnOn(
        **{
            "greatest_current_a": 0.3,
            "fuse_rating_a": None,
            "present_current_a": 0.0,
            "relay": None,
        }
        | changes
    )


def potential(volts: float) -> DeviceGround:
    return DeviceGround(volts, None, None)


def path(
    *take_offs: TakeOff,
    sums: tuple[SignalSum, ...] = (),
    inputs: tuple[SignalInput, ...] = (),
    connections: tuple[Connection, ...] = (),
    switch: TurnOn | None = None,
) -> SignalPath:
    """A path of these parts, each one plain where none is given."""
    return SignalPath(
        take_offs={entry.key: entry for entry in take_offs or (take_off(),)},
        sums={entry.key: entry for entry in sums},
        inputs={entry.key: entry for entry in inputs or (signal_input(),)},
        connections=connections or (connection(),),
        turn_on=switch,
    )


def planned(stated: SignalPath, system_v: int = 12, **solved: float) -> SignalPlan:
    return signal_plan(stated, SYSTEMS[system_v], signal_factors(), LOADING_FACTOR, solved or None)
