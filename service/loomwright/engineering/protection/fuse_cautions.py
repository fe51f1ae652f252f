"""Which cautions an installer must read beside the figures of a fuse."""

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
    fitting = [answer for answer in types if answer.rated_current_a is not None]
    applies = {
        "defer_to_maker": True,
        "isolate_battery": True,
        "fuse_at_source": True,
        "fuse_not_above_conductor": True,
        "opening_times_from_memory": any(
            answer.curve_provenance is not None and answer.curve_provenance.checked == "memory"
            for answer in types
        ),
        "outside_published_curve": any(
            answer.coordination is not None
            and answer.coordination.beyond_published_curve == BY_CONSTANT_I2T
            for answer in fitting
        ),
        "ambient_factor_low_confidence": abs(ambient_factor - 1.0) > NOTICEABLE_FACTOR_CHANGE,
        "higher_voltage_variant": any(answer.is_higher_voltage_variant for answer in types),
        "warm_battery": request.source.internal_resistance_is_cold,
        "cyclic_load": request.load.on_time_s is not None,
        "rating_above_ampacity": request.options.rating_may_exceed_ampacity,
        "parallel_runs": request.conductor.parallel_conductors > 1,
        "breaking_capacity_exceeded": any(
            answer.lacking_resistance_before_fuse_ohm is not None for answer in fitting
        ),
        "road_vehicle_position": request.placement.rules not in BOAT_RULES,
    }
    return tuple(key for key, holds in applies.items() if holds)
