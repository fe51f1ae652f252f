"""The answer for a solved network as plain JSON values, in a fixed order."""

from collections.abc import Iterator
from typing import Any

from loomwright.engineering.conductors.provenances import conductor_provenances
from loomwright.figures import KELVIN_AT_0_C, six_digits
from loomwright.jobs.network_document import StatedConductor, StatedNetwork
from loomwright.jobs.solved_network import (
    AT_LIMIT,
    BranchState,
    LoadState,
    SolvedNetwork,
    SourceState,
)
from loomwright.tables.records import Provenance, Tables

# Taken more than half of what there is at most.
NEAR_COLLAPSE_FACTOR = 2.0
_CIRCUIT_LAWS = Provenance("circuit_laws", "Kirchhoff's laws at every node", "formula")


def network_document(solved: SolvedNetwork) -> dict[str, Any]:
    """Return a solved network as plain JSON values, without cautions and sources.

    Parameters
    ----------
    solved
        The operating point, or that there is none.

    Returns
    -------
    dict
        As the schema ``SolveNetworkAnswer`` describes.
    """
    system_v = solved.network.system_voltage_v
    return {
        "verdict": solved.state,
        "nodes": [
            {"node": node, "voltage_v": six_digits(voltage)}
            for node, voltage in solved.voltages_v.items()
        ],
        "power_sources": [_source(entry) for entry in solved.sources],
        "branches": [_branch(entry, system_v) for entry in solved.branches],
        "loads": [_load(entry) for entry in solved.loads],
        "power_balance": _power_balance(solved) if solved.voltages_v else None,
        "greatest_factor": six_digits(solved.greatest_factor),
        "greatest_power_w": six_digits(solved.greatest_power_w),
        "iterations": solved.iterations,
        "residual_a": nine_places(solved.residual_a),
    }


def nine_places(rounding: float) -> float | None:
    """Return what rounding leaves, to nine places: its digits say nothing; none for no figure."""
    return round(rounding, 9) + 0.0 if rounding == rounding else None  # noqa: PLR0124  NaN


def _source(entry: SourceState) -> dict[str, Any]:
    return {
        "key": entry.source.key,
        "state": entry.state,
        "current_a": six_digits(entry.current_a),
        "terminal_voltage_v": six_digits(entry.terminal_voltage_v),
        "power_w": six_digits(entry.power_w),
    }


def _branch(entry: BranchState, system_v: float | None) -> dict[str, Any]:
    temperature_k = entry.conductor_temperature_k
    drop_v = entry.voltage_drop_v
    return {
        "key": entry.branch.key,
        "from_node": entry.branch.start,
        "to_node": entry.branch.end,
        "current_a": six_digits(entry.current_a),
        "voltage_drop_v": six_digits(drop_v),
        "voltage_drop_percent": None if system_v is None else six_digits(100.0 * drop_v / system_v),
        "loss_w": six_digits(entry.loss_w),
        "resistance_ohm": six_digits(entry.resistance_ohm),
        "conductor_temperature_c": None
        if temperature_k is None
        else six_digits(temperature_k - KELVIN_AT_0_C),
        "ampacity_a": six_digits(entry.ampacity_a),
        "is_within_ampacity": entry.is_within_ampacity,
    }


def _load(entry: LoadState) -> dict[str, Any]:
    return {
        "key": entry.key,
        "current_a": six_digits(entry.current_a),
        "load_voltage_v": six_digits(entry.voltage_v),
        "power_w": six_digits(entry.power_w),
    }


def _power_balance(solved: SolvedNetwork) -> dict[str, Any]:
    return {
        "source_power_w": six_digits(solved.source_power_w),
        "load_power_w": six_digits(solved.load_power_w),
        "loss_w": six_digits(solved.loss_w),
        "imbalance_w": nine_places(solved.imbalance_w),
    }


def cautions_of_network(solved: SolvedNetwork) -> tuple[str, ...]:
    """Return the keys of the cautions that a network calls for, the most general first.

    Parameters
    ----------
    solved
        The operating point, or that there is none.

    Returns
    -------
    tuple of str
        Keys of ``CAUTIONS``.
    """
    network, factor = solved.network, solved.greatest_factor
    requests = [conductor.request for conductor in _conductors(network)]
    materials = {request.material.key for request in requests}
    facts = {
        "isolate_battery": True,
        "two_sources": len(network.sources) > 1,
        "fuse_at_source": True,
        "moving_and_hot_parts": bool(requests),
        "engine_bay_heat": any(
            segment.engine_space for request in requests for segment in request.segments
        ),
        "chassis_return": any(
            branch.conductor is None and network.reference in (branch.start, branch.end)
            for branch in network.branches
        ),
        "copper_clad": any(key.startswith("cca") for key in materials),
        "aluminium": "aluminium" in materials,
        "parallel_runs": any(request.given_parallel_runs > 1 for request in requests),
        "current_above_ampacity": any(
            entry.is_within_ampacity is False for entry in solved.branches
        ),
        "source_at_limit": any(entry.state == AT_LIMIT for entry in solved.sources),
        "near_collapse": bool(solved.voltages_v)
        and factor is not None
        and factor < NEAR_COLLAPSE_FACTOR,
        "defer_to_maker": True,
    }
    return tuple(key for key, applies in facts.items() if applies)


def provenances_of_network(network: StatedNetwork, tables: Tables) -> tuple[Provenance, ...]:
    """Return what the figures of a network rest on, each row once.

    Parameters
    ----------
    network
        With its conductors.
    tables
        Tables of conductors and heat.

    Returns
    -------
    tuple of Provenance
        In a fixed order.
    """
    found: dict[Provenance, None] = {_CIRCUIT_LAWS: None}
    for conductor in _conductors(network):
        request = conductor.request
        assert request.given_size is not None  # each conductor of a network states its size
        more = request.given_parallel_runs - 1
        places = [
            (segment.bundled_conductors + more, segment.engine_space)
            for segment in request.segments
        ]
        rows = conductor_provenances(
            request.given_size, request.material, request.insulation, places, tables
        )
        found.update(dict.fromkeys(rows))
        found.update({tables.zones[zone].provenance: None for zone in conductor.zones})
    return tuple(found)


def _conductors(network: StatedNetwork) -> Iterator[StatedConductor]:
    for branch in network.branches:
        if branch.conductor is not None:
            yield branch.conductor
