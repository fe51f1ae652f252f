"""Request and answer of solve-network."""

from functools import cache
from typing import Any

from marshmallow import fields

from loomwright.jobs.network_members import network_record
from loomwright.jobs.solved_installation import STATES
from loomwright.jobs.solved_network import SOURCE_STATES
from loomwright.tables.load import tables
from loomwright.web.schemas.base import Answer, describe, exactly_one_of
from loomwright.web.schemas.common import AnswerBase, size_of_series
from loomwright.web.schemas.documents import JsonSchema, components

NETWORK_REQUEST = network_record(tables())


def _branch(schema: JsonSchema) -> JsonSchema:
    return {**schema, **exactly_one_of("resistance", "conductor")}


def _conductor(schema: JsonSchema) -> JsonSchema:
    return {**schema, **size_of_series("size")}


def _load(schema: JsonSchema) -> JsonSchema:
    parts = ("load_power", "load_current", "load_resistance")
    return {**schema, "anyOf": [{"required": [part]} for part in parts]}


@cache
def network_components() -> dict[str, JsonSchema]:
    """Return the component schemas of the request, by name."""
    return components(
        NETWORK_REQUEST,
        {"NetworkBranch": _branch, "NetworkConductor": _conductor, "NetworkLoad": _load},
    )


def _cable(size: str, length: float | str, **more: Any) -> dict[str, Any]:
    return {
        "series": "awg",
        "size": size,
        "route": [{"length": length, "zone": "passenger_compartment"}],
        **more,
    }


def network_examples() -> dict[str, dict[str, Any]]:
    """Return requests by name: a ring with two feeds, a converter with a battery, a collapse."""
    return {
        "two_batteries_on_a_ring": {
            "system_voltage": 12,
            "reference_node": "ground",
            "power_sources": [
                {
                    "key": "starter battery",
                    "plus_node": "front",
                    "source_voltage": 12.7,
                    "source_resistance": "6 mohm",
                },
                {
                    "key": "second battery",
                    "plus_node": "rear",
                    "source_voltage": "12.6 V",
                    "source_resistance": 0.009,
                },
            ],
            "branches": [
                {
                    "key": "main",
                    "from_node": "front",
                    "to_node": "rear",
                    "conductor": _cable("2 AWG", 4.5),
                    "joint_resistance": "0.4 mohm",
                    "fuse_resistance": "0.5 mohm",
                },
                {
                    "key": "left feed",
                    "from_node": "front",
                    "to_node": "amplifier",
                    "conductor": _cable("4 AWG", "16 ft"),
                    "joint_resistance": 0.0004,
                },
                {
                    "key": "right feed",
                    "from_node": "rear",
                    "to_node": "amplifier",
                    "conductor": _cable("4 AWG", 1.2),
                    "joint_resistance": 0.0004,
                },
                {
                    "key": "chassis",
                    "from_node": "amplifier ground",
                    "to_node": "ground",
                    "resistance": "1 mohm",
                },
            ],
            "loads": [
                {
                    "key": "amplifier",
                    "plus_node": "amplifier",
                    "minus_node": "amplifier ground",
                    "load_power": "900 W",
                },
                {"key": "lamps", "plus_node": "rear", "load_resistance": 1.5},
            ],
            "explain": True,
        },
        "converter_at_its_limit": {
            "system_voltage": 12,
            "power_sources": [
                {
                    "key": "converter",
                    "plus_node": "output",
                    "source_voltage": 14.2,
                    "source_resistance": 0.002,
                    "greatest_current": 60,
                    "takes_back": False,
                },
                {
                    "key": "battery",
                    "plus_node": "battery",
                    "source_voltage": 12.8,
                    "source_resistance": 0.008,
                },
            ],
            "branches": [
                {
                    "key": "converter to battery",
                    "from_node": "output",
                    "to_node": "battery",
                    "conductor": _cable("6 AWG", 2, material="tinned_copper"),
                    "joint_resistance": 0.001,
                },
                {
                    "key": "feed",
                    "from_node": "battery",
                    "to_node": "inverter",
                    "conductor": _cable("4 AWG", 2.5, parallel_runs=2),
                    "fuse_resistance": 0.0007,
                },
            ],
            "loads": [
                {"key": "inverter", "plus_node": "inverter", "load_power": 1000},
                {"key": "radio", "plus_node": "battery", "load_current": "4 A"},
            ],
        },
        "more_than_the_battery_delivers": {
            "power_sources": [
                {
                    "key": "battery",
                    "plus_node": "battery",
                    "source_voltage": 12,
                    "source_resistance": 0.03,
                }
            ],
            "branches": [
                {"key": "feed", "from_node": "battery", "to_node": "winch", "resistance": 0.02}
            ],
            "loads": [{"key": "winch", "plus_node": "winch", "load_power": 800}],
        },
    }


class NetworkNodeAnswer(Answer):
    """A node."""

    node = fields.String(required=True)
    voltage_v = fields.Float(required=True, metadata=describe("Over the reference."))


class NetworkSourceAnswer(Answer):
    """A source; current and power are what it gives at its terminals."""

    key = fields.String(required=True)
    state = fields.String(
        required=True,
        metadata=describe(
            "at_limit where it gives the greatest current; idle where it takes nothing back and "
            "the network holds its terminals above its open-circuit voltage.",
            enum=list(SOURCE_STATES),
        ),
    )
    current_a = fields.Float(required=True)
    terminal_voltage_v = fields.Float(required=True)
    power_w = fields.Float(required=True)


class NetworkBranchAnswer(Answer):
    """A branch; current and drop are positive from `from_node` to `to_node`."""

    key = fields.String(required=True)
    from_node = fields.String(required=True)
    to_node = fields.String(required=True)
    current_a = fields.Float(required=True)
    voltage_drop_v = fields.Float(required=True)
    voltage_drop_percent = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe("Of the system voltage; null where that is not stated."),
    )
    loss_w = fields.Float(required=True)
    resistance_ohm = fields.Float(
        required=True,
        metadata=describe(
            "Of all runs with joints and fuse, the conductor at its working temperature."
        ),
    )
    conductor_temperature_c = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe(
            "Of its hottest stretch; null without a conductor, and above 250 degC, where the heat "
            "model ends and the resistance stays what it is there."
        ),
    )
    ampacity_a = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe("Of all runs in the least favourable stretch; null without conductor."),
    )
    is_within_ampacity = fields.Boolean(
        required=True, allow_none=True, metadata=describe("Null without a conductor.")
    )


class NetworkLoadAnswer(Answer):
    """A load, its parts together."""

    key = fields.String(required=True)
    current_a = fields.Float(required=True)
    load_voltage_v = fields.Float(required=True)
    power_w = fields.Float(required=True)


class NetworkBalanceAnswer(Answer):
    """What the sources give and where it goes."""

    source_power_w = fields.Float(
        required=True, metadata=describe("Of all sources at their terminals.")
    )
    load_power_w = fields.Float(required=True, metadata=describe("Of all loads."))
    loss_w = fields.Float(required=True, metadata=describe("Of all branches."))
    imbalance_w = fields.Float(
        required=True, metadata=describe("What the sources give and nothing takes: rounding.")
    )


class SolveNetworkAnswer(AnswerBase):
    """A network solved."""

    verdict = fields.String(
        required=True,
        metadata=describe(
            "no_operating_point where the loads ask for more than the sources deliver; "
            "not_settled where the solver found neither. Then the lists are empty.",
            enum=list(STATES.values()),
        ),
    )
    nodes = fields.List(
        fields.Nested(NetworkNodeAnswer),
        required=True,
        metadata=describe("The reference first, then as they are named."),
    )
    power_sources = fields.List(fields.Nested(NetworkSourceAnswer), required=True)
    branches = fields.List(fields.Nested(NetworkBranchAnswer), required=True)
    # A schema has a method of the name.
    fed_loads = fields.List(fields.Nested(NetworkLoadAnswer), required=True, data_key="loads")
    power_balance = fields.Nested(
        NetworkBalanceAnswer,
        required=True,
        allow_none=True,
        metadata=describe("Null without an operating point."),
    )
    greatest_factor = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe(
            "On the constant power of all loads together, up to which the network has an operating "
            "point: below 1 where it has none. Null where no load has constant power, and where "
            "what the loads take besides has no operating point alone."
        ),
    )
    greatest_power_w = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe("Constant power of all loads together at that factor."),
    )
    iterations = fields.Integer(required=True, metadata=describe("Steps of Newton's method."))
    residual_a = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe("Greatest current that is left over at a node when the solver stops."),
    )
