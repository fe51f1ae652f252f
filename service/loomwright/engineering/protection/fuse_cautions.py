"""Which cautions an installer must read beside the figures of a fuse."""

from collections.abc import Sequence
from functools import lru_cache

from loomwright.engineering.protection.fuse_choice import TypeChoice
from loomwright.engineering.protection.fuse_coordination import BY_CONSTANT_I2T
from loomwright.engineering.protection.fuse_request import BOAT_RULES
from loomwright.engineering.protection.fuse_setting import FuseSetting

NOTICEABLE_FACTOR_CHANGE = 0.005


def fuse_cautions(
    setting: FuseSetting,
    types: Sequence[TypeChoice],
    near_source_fault_a: float,
    internal_resistance_is_cold: bool,
    placement_rules: str,
) -> tuple[str, ...]:
    """Return the cautions that go with one answer.

    Parameters
    ----------
    setting
        The circuit but for its currents.
    types
        Choice of each type.
    near_source_fault_a
        Greatest fault [A].
    internal_resistance_is_cold
        Whether it is that of a battery at -18 C.
    placement_rules
        One of ``PLACEMENT_RULES``.

    Returns
    -------
    tuple of str
        Keys of ``CAUTIONS``; always with those on the place and the size of the fuse.
    """
    return _in_order(
        tuple([key for choice in types for key in _of_type(choice, near_source_fault_a)]),
        abs(setting.ambient_factor - 1.0) > NOTICEABLE_FACTOR_CHANGE,
        internal_resistance_is_cold,
        setting.is_cyclic,
        setting.options.rating_may_exceed_ampacity,
        setting.parallel_conductors > 1,
        placement_rules not in BOAT_RULES,
    )


def _of_type(choice: TypeChoice, near_source_fault_a: float) -> tuple[str, ...]:
    keys = choice.setting.cautions
    if choice.failing:
        return keys
    if choice.beyond == BY_CONSTANT_I2T:
        keys = (*keys, "outside_published_curve")
    if near_source_fault_a > choice.fuse_type.breaking_capacity_a:
        keys = (*keys, "breaking_capacity_exceeded")
    return keys


# In as many ways as types and circuits differ in what is to be cautioned of.
@lru_cache(maxsize=512)
def _in_order(
    of_types: tuple[str, ...],
    ambient_matters: bool,
    battery_is_cold: bool,
    is_cyclic: bool,
    rating_may_exceed_ampacity: bool,
    is_parallel: bool,
    is_road_vehicle: bool,
) -> tuple[str, ...]:
    """Return every caution that holds, each once."""
    keys = ["defer_to_maker", "isolate_battery", "fuse_at_source", "fuse_not_above_conductor"]
    keys += dict.fromkeys(of_types)
    for key, holds in (
        ("ambient_factor_low_confidence", ambient_matters),
        ("warm_battery", battery_is_cold),
        ("cyclic_load", is_cyclic),
        ("rating_above_ampacity", rating_may_exceed_ampacity),
        ("parallel_runs", is_parallel),
        ("road_vehicle_position", is_road_vehicle),
    ):
        if holds:
            keys.append(key)
    return tuple(keys)
