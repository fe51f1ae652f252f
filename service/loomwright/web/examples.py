"""Requests shown in the OpenAPI document; the first of each operation also as a query string."""

from types import MappingProxyType
from typing import Any

_CALCULATED: dict[str, dict[str, dict[str, Any]]] = {
    "size-conductor": {
        "bass_unit_under_the_seat": {
            "series": "awg",
            "load_current": 25,
            "supply_voltage": "12.6 V",
            "length": "14 ft",
            "zone": "passenger_compartment",
        },
        "route_through_the_engine_space": {
            "series": "metric",
            "insulation": "xlpe_125",
            "load_power": 500,
            "supply_voltage": 12.8,
            "source_resistance": "6 mohm",
            "allowed_voltage_drop_percent": 5,
            "route": [
                {"length": 1.2, "zone": "engine_compartment"},
                {"length": 2.6, "zone": "passenger_compartment", "bundled_conductors": 4},
                {"length": 1.1, "ambient_temperature": "106 degF"},
            ],
            "return_path": "chassis",
            "chassis_resistance": "1 mohm",
            "joints": 4,
        },
        "sensitivity_to_tolerances": {
            "series": "metric",
            "load_current": 25,
            "supply_voltage": "12.6 V",
            "length": "5.5 m",
            "zone": "passenger_compartment",
            "tolerances": [{"input": "length", "tolerance": 2}],
            "sensitivity": True,
        },
        "given_size_checked": {
            "series": "sae",
            "load_current": 25,
            "supply_voltage": 12,
            "allowed_voltage_drop": "0.5 V",
            "length": 3.7,
            "given_size": "SAE 8",
            "explain": True,
        },
    },
    "size-fuse": {
        "bass_unit_under_the_seat": {
            "series": "awg",
            "size": "8 AWG",
            "load_current": 25,
            "source_voltage": 12.6,
            "source_resistance": "8 mohm",
            "resistance_before_fuse": "6 mohm",
            "length": "14 ft",
            "distance_from_source": "7 in",
            "fuse_types": ["iso_8820_3_c", "iso_8820_3_e"],
        },
        "sensitivity_to_tolerances": {
            "series": "awg",
            "size": "8 AWG",
            "load_current": 25,
            "source_voltage": 12.6,
            "source_resistance": "8 mohm",
            "resistance_before_fuse": "6 mohm",
            "length": "14 ft",
            "fuse_types": ["iso_8820_3_c", "iso_8820_3_e"],
            "sensitivity": True,
        },
        "light_behind_a_cranking_battery": {
            "series": "iso_6722",
            "size": "ISO 2.5 mm2",
            "load_current": 9,
            "on_time": "20 s",
            "off_time": "40 s",
            "system_voltage": "24",
            "source_voltage": 25.4,
            "cold_cranking_current": 800,
            "cold_cranking_standard": "en_50342_1",
            "resistance_before_fuse": "30 mohm",
            "length": 8,
            "zone": "underbody",
            "equipment_fuse_rating": 10,
            "equipment_fuse_type": "iso_8820_3_f",
            "explain": True,
        },
    },
    "estimate-real-output": {
        "bass_unit_with_one_fuse": {
            "fuse_rating": 25,
            "supply_voltage": 12,
            "amplifier_class": "AB",
            "converter": "regulated",
            "load_impedance": 4,
            "claimed_output": "1.2 kW",
        },
        "sensitivity_to_tolerances": {
            "fuse_rating": 25,
            "source_voltage": 12.8,
            "source_resistance": "8 mohm",
            "route_resistance": "12 mohm",
            "amplifier_class": "AB",
            "converter": "none",
            "load_impedance": 4,
            "claimed_output": 25,
            "sensitivity": True,
        },
        "two_fuses_behind_a_route": {
            "fuse_ratings": [30, "30 A"],
            "source_voltage": 12.8,
            "source_resistance": "8 mohm",
            "route_resistance": "12 mohm",
            "amplifier_class": "D",
            "converter": "unregulated",
            "load_impedance": 2,
            "claimed_output_per_channel": 500,
            "programme": "bass_music",
            "explain": True,
        },
    },
    "match-load-impedance": {
        "two_drivers_of_two_coils": {
            "drivers": [{"quantity": 2, "voice_coils": 2, "coil_impedance": 4, "power_limit": 300}],
            "least_load_impedance": 2,
            "outputs": [
                {"load_impedance": 4, "output": 300},
                {"load_impedance": 2, "output": 500},
            ],
        },
        "unlike_drivers_on_a_bridged_pair": {
            "drivers": [
                {
                    "quantity": 2,
                    "coil_impedance": 8,
                    "coil_dc_resistance": "5.8 ohm",
                    "power_limit": "0.15 kW",
                },
                {"voice_coils": 2, "coil_impedance": 2, "power_limit": 400},
            ],
            "least_load_impedance": 2,
            "bridged": True,
            "channels": 2,
            "outputs": [
                {"load_impedance": 4, "output": 90},
                {"load_impedance": 4, "output": 300, "bridged": True},
            ],
            "coils_of_a_driver_together": False,
            "greatest_listed": 5,
            "explain": True,
        },
    },
}
# Drawings take the requests of what they draw; working and sensitivity are not drawn.
_DRAWN = {
    "draw-time-current": (
        "size-fuse",
        ("bass_unit_under_the_seat", "light_behind_a_cranking_battery"),
    ),
    "draw-drop-against-length": (
        "size-conductor",
        ("bass_unit_under_the_seat", "route_through_the_engine_space"),
    ),
    "draw-output-against-claim": (
        "estimate-real-output",
        ("bass_unit_with_one_fuse", "two_fuses_behind_a_route"),
    ),
}
EXAMPLES: MappingProxyType[str, dict[str, dict[str, Any]]] = MappingProxyType(
    _CALCULATED
    | {
        operation: {
            name: {
                member: value
                for member, value in _CALCULATED[calculator][name].items()
                if member != "explain"
            }
            for name in names
        }
        for operation, (calculator, names) in _DRAWN.items()
    }
)
