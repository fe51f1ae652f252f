"""Requests of plan-signal-path that the OpenAPI document shows; all of it invented."""

from copy import deepcopy
from typing import Any

_FACTORY_AMPLIFIER: dict[str, Any] = {
    "system_voltage": 12,
    "signal": {
        "take_offs": [
            {
                "key": "front_woofer",
                "description": "Factory amplifier, front door woofer",
                "level_kind": "speaker_level",
                "greatest_power": 25,
                "load_impedance": 4,
                "upper_corner": 300,
                "detects_open_load": True,
                "ground": {"return_current": 6, "path_resistance": "2 mohm"},
            },
            {
                "key": "front_tweeter",
                "description": "Factory amplifier, front tweeter",
                "level_kind": "speaker_level",
                "greatest_power": 10,
                "load_impedance": 4,
                "lower_corner": 300,
                "loudspeaker_stays": True,
                "ground": {"return_current": 6, "path_resistance": "2 mohm"},
            },
        ],
        "sums": [
            {
                "key": "front_full_range",
                "take_offs": ["front_woofer", "front_tweeter"],
                "relation": "bands",
            }
        ],
        "inputs": [
            {
                "key": "amplifier_front",
                "description": "Four-channel amplifier in the boot, front input",
                "level_kind": "line_level",
                "least_voltage": "200 mV",
                "greatest_voltage": 5,
                "input_impedance": 20000,
                "turn_on_current": "15 mA",
                "ground": {"return_current": 45, "path_resistance": "1.5 mohm"},
            }
        ],
        "connections": [
            {
                "fed_from": "front_full_range",
                "input": "amplifier_front",
                "converter_ratio": 4,
                "shield_resistance": "60 mohm",
            }
        ],
        "turn_on": {"greatest_current": "150 mA"},
    },
    "explain": True,
}
_RELAY: dict[str, Any] = {
    "system_voltage": "24 V",
    "signal": {
        "take_offs": [
            {
                "key": "radio_left",
                "description": "Cab radio, left line output",
                "level_kind": "line_level",
                "greatest_voltage": 2,
                "output_impedance": 200,
                "least_load_impedance": 10000,
                "ground": {"potential": 0},
            },
            {
                "key": "radio_right",
                "description": "Cab radio, right line output",
                "level_kind": "line_level",
                "greatest_voltage": 2,
                "output_impedance": 200,
                "least_load_impedance": 10000,
                "ground": {"potential": 0},
            },
        ],
        "sums": [
            {
                "key": "bass",
                "take_offs": ["radio_left", "radio_right"],
                "relation": "same_signal",
                "method": "resistors",
            }
        ],
        "inputs": [
            {
                "key": "bass_unit",
                "description": "Bass unit behind the seat",
                "level_kind": "line_level",
                "least_voltage": 0.25,
                "greatest_voltage": 4,
                "input_impedance": 47000,
                "reference": "differential",
                "common_mode_rejection_db": 50,
                "turn_on_current": 0.3,
                "ground": {"potential": "120 mV"},
            }
        ],
        "connections": [{"fed_from": "bass", "input": "bass_unit", "gain_overlap_db": 5}],
        "turn_on": {
            "fuse_rating": 5,
            "present_current": 3.5,
            "relay": {
                "coil_resistance": 360,
                "coil_inductance": 0.9,
                "contact_rating": 10,
                "suppression": "diode",
            },
        },
    },
}


def signal_examples() -> dict[str, dict[str, Any]]:
    """Return requests by name: a factory amplifier in bands, and line outputs behind a relay."""
    return {
        "factory_amplifier_in_bands": deepcopy(_FACTORY_AMPLIFIER),
        "line_outputs_behind_a_relay": deepcopy(_RELAY),
    }
