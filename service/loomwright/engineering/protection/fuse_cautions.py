"""Which cautions an installer must read beside the figures of a fuse."""

from collections.abc import Iterator

from loomwright.engineering.protection.fuse_answer import FuseTypeAnswer
from loomwright.engineering.protection.fuse_coordination import BY_CONSTANT_I2T
from loomwright.engineering.protection.fuse_request import BOAT_RULES, FuseRequest

NOTICEABLE_FACTOR_CHANGE = 0.005


def fuse_cautions(
    request: FuseRequest, types: tuple[FuseTypeAnswer, ...], ambient_factor: float
) -> tuple[str, ...]:
    """Return the cautions that go with one answer.

    Parameters
    ----------
    request
        The circuit.
    types
        Answers by type.
    ambient_factor
        Capacity of the fuse at the ambient over that at 23 C [1].

    Returns
    -------
    tuple of str
        Keys of ``CAUTIONS``; always with those on the place and the size of the fuse.
    """
    keys = ["defer_to_maker", "isolate_battery", "fuse_at_source", "fuse_not_above_conductor"]
    keys += dict.fromkeys([key for answer in types for key in _cautions_of_type(answer)])
    if abs(ambient_factor - 1.0) > NOTICEABLE_FACTOR_CHANGE:
        keys.append("ambient_factor_low_confidence")
    if request.source.internal_resistance_is_cold:
        keys.append("warm_battery")
    if request.load.on_time_s is not None:
        keys.append("cyclic_load")
    if request.options.rating_may_exceed_ampacity:
        keys.append("rating_above_ampacity")
    if request.conductor.parallel_conductors > 1:
        keys.append("parallel_runs")
    if request.placement.rules not in BOAT_RULES:
        keys.append("road_vehicle_position")
    return tuple(keys)


def _cautions_of_type(answer: FuseTypeAnswer) -> Iterator[str]:
    curve = answer.curve_provenance
    if curve is not None and curve.checked == "memory":
        yield "opening_times_from_memory"
    if answer.is_higher_voltage_variant:
        yield "higher_voltage_variant"
    if answer.rated_current_a is None:
        return
    found = answer.coordination
    if found is not None and found.beyond_published_curve == BY_CONSTANT_I2T:
        yield "outside_published_curve"
    if answer.lacking_resistance_before_fuse_ohm is not None:
        yield "breaking_capacity_exceeded"
