"""What an output estimate is asked, and the checks on it."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from loomwright.engineering.audio.levels import SINE_CREST_FACTOR_DB
from loomwright.engineering.elementwise import holds_anywhere, lesser
from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.network.operating_point import Number
from loomwright.tables.audio_records import AmplifierClass, Programme

Converter = Literal["none", "unregulated", "regulated"]
# What is played where nobody says.
DEFAULT_PROGRAMME = "music_uncompressed"
CONVERTERS = frozenset({"none", "unregulated", "regulated"})

# Least and greatest value of each number, in the unit of its name.
LIMITS: dict[str, tuple[float, float]] = {
    "fuse_ratings_a": (0.05, 2000.0),
    "load_impedance_ohm": (0.1, 1000.0),
    "channels": (1.0, 64.0),
    "supply_voltage_v": (1.0, 100.0),
    "source_emf_v": (1.0, 100.0),
    "source_resistance_ohm": (0.0, 10.0),
    "route_resistance_ohm": (0.0, 10.0),
    "measured_efficiency": (0.01, 1.0),
    "likely_efficiency": (0.01, 1.0),
    "claimed_output_total_w": (0.1, 1e6),
    "claimed_output_per_channel_w": (0.1, 1e6),
    "claim_supply_voltage_v": (1.0, 100.0),
    "claim_load_impedance_ohm": (0.1, 1000.0),
    "crest_factor_db": (3.01, 40.0),
    "loudspeaker_sensitivity_db": (50.0, 130.0),
    "listening_distance_m": (0.05, 100.0),
}
_NUMBERS = tuple(item for item in LIMITS.items() if item[0] != "fuse_ratings_a")


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputRequest:
    """An amplifier, its supply, its load, its claim and what it plays.

    Every number may be a float or an array; arrays have to be broadcastable to one shape. Ranges
    are in ``LIMITS``.

    Parameters
    ----------
    fuse_ratings_a
        Rated current of each fuse in the equipment [A]; fuses side by side are summed.
    amplifier_class
        Class with its efficiency band and loss shape.
    load_impedance_ohm
        Nominal impedance that one channel drives [ohm].
    channels
        Number of loads driven at once [1]; two channels bridged into one load count as one.
    bridged
        Whether each load hangs between two output stages in opposite phase. Only felt without a
        converter, since the rail behind a converter is unknown.
    converter
        Step-up supply inside: none, unregulated or regulated.
    supply_voltage_v
        At the amplifier, under load [V]; or else
    source_emf_v, source_resistance_ohm, route_resistance_ohm
        Open-circuit voltage [V], internal resistance and there-and-back route resistance [ohm].
    measured_efficiency
        Whole amplifier at full sine output [1]; replaces the band of the class.
    likely_efficiency
        Replaces the middle of that band [1]; of no effect beside a measured one.
    claimed_output_total_w, claimed_output_per_channel_w
        Claim, one of the two at most [W].
    claim_supply_voltage_v, claim_load_impedance_ohm
        Conditions of the claim, where it names them.
    crest_factor_db, programme
        What is played, exactly one of the two; the crest factor in [dB].
    loudspeaker_sensitivity_db, listening_distance_m
        Level at 1 W and 1 m [dB re 20 uPa], and distance [m].
    """

    fuse_ratings_a: tuple[Number, ...]
    amplifier_class: AmplifierClass
    load_impedance_ohm: Number
    bridged: bool
    converter: Converter
    channels: Number = 1
    supply_voltage_v: Number | None = None
    source_emf_v: Number | None = None
    source_resistance_ohm: Number | None = None
    route_resistance_ohm: Number | None = None
    measured_efficiency: Number | None = None
    likely_efficiency: Number | None = None
    claimed_output_total_w: Number | None = None
    claimed_output_per_channel_w: Number | None = None
    claim_supply_voltage_v: Number | None = None
    claim_load_impedance_ohm: Number | None = None
    crest_factor_db: Number | None = None
    programme: Programme | None = None
    loudspeaker_sensitivity_db: Number | None = None
    listening_distance_m: Number = 1.0


def check_output_request(request: OutputRequest) -> None:
    """Refuse a request that the model cannot answer.

    Parameters
    ----------
    request
        Any request.

    Raises
    ------
    EngineeringError
        ``out_of_range``, ``one_of_required``, ``only_one_of``, ``unknown_converter``,
        ``fuse_required``, ``efficiency_required`` or ``efficiency_above_class_maximum``.
    """
    if not request.fuse_ratings_a:
        raise EngineeringError(
            "fuse_required",
            "No fuse rating is given; give the rating of each fuse in the equipment.",
            field="fuse_ratings_a",
        )
    for rating in request.fuse_ratings_a:
        _check_range("fuse_ratings_a", rating, LIMITS["fuse_ratings_a"])
    for name, limits in _NUMBERS:
        value = getattr(request, name)
        if value is not None:
            _check_range(name, value, limits)
    if request.converter not in CONVERTERS:
        raise EngineeringError(
            "unknown_converter",
            "The converter is none of none, unregulated and regulated.",
            field="converter",
            value=request.converter,
        )
    _check_supply(request)
    _check_one("crest_factor_db", request.crest_factor_db, "programme", request.programme)
    if request.claimed_output_total_w is not None and (
        request.claimed_output_per_channel_w is not None
    ):
        raise EngineeringError(
            "only_one_of",
            "The claim is given both in total and per channel; give one of the two.",
            field="claimed_output_total_w",
        )
    _check_efficiency(request)


def fuse_rating_total_a(request: OutputRequest) -> Number:
    """Return the summed rated current of the fuses [A]."""
    return sum(request.fuse_ratings_a[1:], request.fuse_ratings_a[0])


def source_of_request(request: OutputRequest) -> tuple[Number, Number]:
    """Return EMF [V] and resistance [ohm] of the supply; a given terminal voltage has none."""
    if request.supply_voltage_v is not None:
        return request.supply_voltage_v, 0.0
    resistance, route = request.source_resistance_ohm, request.route_resistance_ohm
    # check_output_request saw to both
    assert request.source_emf_v is not None
    assert resistance is not None
    return request.source_emf_v, resistance if route is None else resistance + route


def efficiencies_of_request(request: OutputRequest) -> tuple[Number, Number, Number, Number]:
    """Return low, likely and high efficiency at full sine output, and their limit [1].

    Likely is the middle of the band unless the request states it. A measured efficiency stands for
    all four.
    """
    measured = request.measured_efficiency
    if measured is not None:
        return measured, measured, measured, measured
    kind = request.amplifier_class
    band = kind.efficiency if request.converter == "none" else kind.efficiency_with_converter
    assert band is not None  # check_output_request saw to it
    likely = request.likely_efficiency
    if likely is None:
        likely = 0.5 * (band.low + band.high)
    return band.low, likely, band.high, kind.theoretical_efficiency


def claim_of_request(request: OutputRequest) -> Number | None:
    """Return the claim in total over all channels as printed [W], or none."""
    if request.claimed_output_per_channel_w is not None:
        return request.claimed_output_per_channel_w * request.channels
    return request.claimed_output_total_w


def crest_factor_of_request_db(request: OutputRequest) -> Number:
    """Return the crest factor, never below that of a sine [dB]."""
    if request.programme is not None:
        return max(request.programme.crest_factor_db, SINE_CREST_FACTOR_DB)
    assert request.crest_factor_db is not None  # check_output_request saw to it
    # 3.01 and 3.0103 both mean a sine; neither may lift the drive above full.
    return -lesser(-request.crest_factor_db, -SINE_CREST_FACTOR_DB)


def _check_range(name: str, value: Number, limits: tuple[float, float]) -> None:
    least, greatest = limits
    if isinstance(value, np.ndarray):
        inside = bool(np.all((value >= least) & (value <= greatest)))
    else:
        inside = least <= value <= greatest
    if not inside:
        raise EngineeringError(
            "out_of_range",
            f"{name} lies outside {least:g} to {greatest:g}.",
            field=name,
            value=value,
            least=least,
            greatest=greatest,
        )


def _check_one(first_name: str, first: object, second_name: str, second: object) -> None:
    if (first is None) == (second is None):
        code = "one_of_required" if first is None else "only_one_of"
        raise EngineeringError(
            code,
            f"Exactly one of {first_name} and {second_name} has to be given.",
            field=first_name,
        )


def _check_supply(request: OutputRequest) -> None:
    _check_one("supply_voltage_v", request.supply_voltage_v, "source_emf_v", request.source_emf_v)
    if request.supply_voltage_v is not None and not (
        request.source_resistance_ohm is None and request.route_resistance_ohm is None
    ):
        raise EngineeringError(
            "only_one_of",
            "A voltage at the amplifier already holds the drop of source and route; leave their"
            " resistances out or give source_emf_v instead.",
            field="supply_voltage_v",
        )
    if request.source_emf_v is not None and request.source_resistance_ohm is None:
        raise EngineeringError(
            "one_of_required",
            "A source needs its internal resistance; give source_resistance_ohm, or the voltage"
            " at the amplifier instead.",
            field="source_resistance_ohm",
        )


def _check_efficiency(request: OutputRequest) -> None:
    kind = request.amplifier_class
    measured = request.measured_efficiency
    if measured is None:
        if kind.efficiency is None or kind.efficiency_with_converter is None:
            raise EngineeringError(
                "efficiency_required",
                f"Class {kind.key} has no usual efficiency; give measured_efficiency.",
                field="measured_efficiency",
            )
    elif holds_anywhere(measured > kind.theoretical_efficiency):
        raise EngineeringError(
            "efficiency_above_class_maximum",
            f"The measured efficiency exceeds {kind.theoretical_efficiency:.4f}, the theoretical"
            f" maximum of {kind.name}; check the measurement or the class.",
            field="measured_efficiency",
            value=measured,
            limit=kind.theoretical_efficiency,
        )
