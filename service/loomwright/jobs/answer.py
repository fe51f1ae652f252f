"""The answer for a job as plain JSON values, in a fixed order."""

from typing import Any

from loomwright.engineering.cautions import CAUTIONS
from loomwright.figures import KELVIN_AT_0_C, six_digits
from loomwright.jobs.bill_answer import bill_document
from loomwright.jobs.circuit_sources import SourceLoad
from loomwright.jobs.job import Vehicle
from loomwright.jobs.priced_job import PricedJob
from loomwright.jobs.sized_circuit import SizedCircuit
from loomwright.jobs.substitutes import Substitute


def answer_document(priced: PricedJob) -> dict[str, Any]:
    """Return the answer for a job as plain JSON values.

    Money and quantities are decimal strings; every other number is a number whose name ends in its
    unit. The same job, book and tables give the same document.

    Parameters
    ----------
    priced
        The answer.

    Returns
    -------
    dict
        The document; the publications that it rests on are not in it.
    """
    return {
        "verdict": priced.verdict,
        "title": priced.job.title,
        "vehicle": vehicle_document(priced.job.vehicle),
        "power_sources": [source_load_document(load) for load in priced.power_sources],
        "circuits": [circuit_document(entry) for entry in priced.circuits],
        **bill_document(priced.bill),
        "substitutes": [_substitute(entry) for entry in priced.substitutes],
        "cautions": [{"key": key, "text": CAUTIONS[key]} for key in priced.cautions],
    }


def vehicle_document(vehicle: Vehicle) -> dict[str, Any]:
    """Return the vehicle of a job as plain JSON values."""
    return {
        "description": vehicle.description,
        "drive": vehicle.drive,
        "system_voltage_v": vehicle.system_voltage_v,
    }


def _substitute(entry: Substitute) -> dict[str, str]:
    return {
        "circuit": entry.circuit,
        "kind": entry.kind,
        "reason": entry.reason,
        "replaced": entry.replaced,
        "offered": entry.offered,
        "total": str(entry.total),
        "total_difference": str(entry.total_difference),
    }


def source_load_document(load: SourceLoad) -> dict[str, Any]:
    """Return what is asked of a source as plain JSON values."""
    return {
        "key": load.source.key,
        "description": load.source.description,
        "tap_point": load.source.tap_point,
        "system_voltage_v": load.source.system_voltage_v,
        "load_current_a": six_digits(load.load_current_a),
        "greatest_current_a": six_digits(load.source.greatest_current_a),
        "verdict": load.verdict,
    }


def circuit_document(entry: SizedCircuit) -> dict[str, Any]:
    """Return a sized circuit as plain JSON values."""
    drop_v, kelvin = entry.voltage_drop_v, entry.conductor_temperature_k
    percent = None if drop_v is None else 100.0 * drop_v / entry.system_voltage_v
    celsius = None if kelvin is None else kelvin - KELVIN_AT_0_C
    answer, fuse = entry.conductor_answer, entry.fuse_answer
    return {
        "key": entry.circuit.key,
        "description": entry.circuit.description,
        "fed_from": entry.circuit.fed_from,
        "verdict": entry.verdict,
        "conductor_verdict": entry.conductor_verdict,
        "fuse_verdict": entry.fuse_verdict,
        "conductor": _conductor(entry),
        "fuse": _fuse(entry),
        "route_length_m": six_digits(entry.circuit.route_length_m),
        "load_current_a": six_digits(entry.load_current_a),
        "load_voltage_v": six_digits(entry.load_voltage_v),
        "voltage_drop_v": six_digits(drop_v),
        "voltage_drop_percent": six_digits(percent),
        "conductor_temperature_c": six_digits(celsius),
        "near_source_fault_a": six_digits(fuse.near_source_fault_a) if fuse else None,
        "far_end_fault_a": six_digits(fuse.far_end_fault_a) if fuse else None,
        "deciding_criterion": answer.deciding_criterion if answer else None,
        "thickened_for": entry.thickened_for,
        "conductor_reason": entry.decision,
        "fuse_reason": entry.fuse_reason,
    }


def _conductor(entry: SizedCircuit) -> dict[str, Any] | None:
    size = entry.conductor
    if size is None:
        return None
    return {
        "series": size.series,
        "size": size.key,
        "material": entry.circuit.conductor.material,
        "insulation": entry.circuit.conductor.insulation,
        "cross_section_mm2": six_digits(size.cross_section_m2 * 1e6),
        "outside_diameter_mm": six_digits(size.outside_diameter_m * 1e3),
    }


def _fuse(entry: SizedCircuit) -> dict[str, Any] | None:
    answer, fuse = entry.fuse_answer, entry.fuse
    if answer is None or fuse is None:
        return None
    upstream = answer.upstream_selectivity
    return {
        "fuse_type": fuse.fuse_type.key,
        "rated_current_a": fuse.rating_a,
        "rated_voltage_v": fuse.setting.rated_voltage_v,
        "breaking_capacity_a": fuse.fuse_type.breaking_capacity_a,
        "lower_bound_a": six_digits(fuse.window.lower_a),
        "lower_rule": fuse.window.lower_rule,
        "upper_bound_a": six_digits(fuse.window.upper_a),
        "upper_rule": fuse.window.upper_rule,
        "upstream_selectivity": upstream.state if upstream else None,
        "selective_up_to_a": six_digits(upstream.selective_up_to_a) if upstream else None,
    }
