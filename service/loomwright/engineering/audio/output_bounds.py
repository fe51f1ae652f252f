"""What ends an output: fuse, source and route, rail or claim.

A fuse carries its rated current for good, 110 % of it for at least 100 h and, in the quickest blade
type, 200 % for 0.15 s (ISO 8820-3, memory). So the rated current bounds a sustained sine, 110 % of
it bounds what can be called impossible, and 200 % bounds bursts of music shorter than 0.15 s whose
average still lies within the rating.
"""

from dataclasses import dataclass

import numpy as np

from loomwright.engineering.audio.amplifiers import input_power_w, loss_model
from loomwright.engineering.elementwise import Flag, Key, chosen_key, greater, lesser
from loomwright.engineering.network.operating_point import Number
from loomwright.tables.audio_records import AmplifierClass

TIE = 1e-9
FUSE_OVERLOAD = 1.10
FUSE_BURST = 2.00


@dataclass(frozen=True, slots=True)
class OutputCircuit:
    """What limits the output: fuse, source, and the rail where no converter raises it.

    ``rail_output_per_v2`` is the lossless output of all channels per square of the supply voltage.
    """

    fuse_a: Number
    emf_v: Number
    resistance_ohm: Number
    rail_output_per_v2: Number | None


@dataclass(frozen=True, slots=True)
class OutputBound:
    """An output with the key of what ends it."""

    output_w: Number
    key: Key


@dataclass(frozen=True, slots=True)
class OutputBounds:
    """All bounds of one amplifier; ``limit_w`` and ``rail_w`` are lossless but for the class."""

    low: OutputBound
    likely: OutputBound
    high: OutputBound
    burst: OutputBound
    limit_w: Number
    rail_w: Number | None


def input_at_current_w(circuit: OutputCircuit, current_a: Number) -> tuple[Number, Flag]:
    """Return the input power at a supply current, and whether the source held it back.

    Steady direct current; linear source. The power is held at the greatest that the source
    delivers, since no amplifier works past that point.

    Parameters
    ----------
    circuit
        Source voltage and resistance.
    current_a
        Current that the fuse lets through [A], above 0.

    Returns
    -------
    tuple of number and flag
        Input power [W], and whether the source limits it.

    Notes
    -----
    ``P = I (E - I R)`` with ``I`` at most ``E / 2R``.
    """
    emf, resistance = circuit.emf_v, circuit.resistance_ohm
    limited: Flag = 2.0 * resistance * current_a > emf
    if isinstance(limited, np.ndarray):
        # The quotient is only taken where the resistance is above 0.
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            held = np.where(limited, emf / (2.0 * np.asarray(resistance)), current_a)
        return held * (emf - held * resistance), limited
    held_a = emf / (2.0 * resistance) if limited else current_a
    return held_a * (emf - held_a * resistance), limited


def _rail_output_w(circuit: OutputCircuit, efficiency: Number, utilisation: float) -> Number | None:
    """Return the output that the sagging supply allows as a rail; none behind a converter.

    Draw ``c U**2`` and ``U = E - I R`` meet at ``U = E / (1 + c R)``. Past ``c R = 1`` full swing
    would collapse the supply, and less drive puts out more: the greatest power of the source.
    """
    if circuit.rail_output_per_v2 is None:
        return None
    emf, resistance = circuit.emf_v, circuit.resistance_ohm
    per_v2 = utilisation * utilisation * circuit.rail_output_per_v2
    share = lesser(per_v2 * resistance / efficiency, 1.0)
    if isinstance(share, np.ndarray):
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            matched = efficiency / np.asarray(resistance, float)
            held: Number = np.where(share < 1.0, per_v2, matched)
    else:
        held = per_v2 if share < 1.0 else efficiency / resistance
    voltage = emf / (1.0 + share)
    return held * voltage * voltage


def _bound(
    circuit: OutputCircuit, loading: float, efficiency: Number, utilisation: float
) -> OutputBound:
    input_w, limited = input_at_current_w(circuit, loading * circuit.fuse_a)
    output = efficiency * input_w
    key = chosen_key(limited, "supply_and_efficiency", "fuse_and_efficiency")
    rail = _rail_output_w(circuit, efficiency, utilisation)
    if rail is None:
        return OutputBound(output, key)
    # Where rail and supply end it at the same output, rounding must not choose the reason.
    ends = rail < output * (1.0 - TIE)
    return OutputBound(lesser(output, rail), chosen_key(ends, "rail_voltage", key))


def _capped(bound: OutputBound, claim_w: Number | None) -> OutputBound:
    if claim_w is None:
        return bound
    return OutputBound(
        lesser(bound.output_w, claim_w), chosen_key(claim_w < bound.output_w, "claim", bound.key)
    )


def output_bounds(
    amplifier_class: AmplifierClass,
    circuit: OutputCircuit,
    efficiencies: tuple[Number, Number, Number, Number],
    fraction: Number,
    claim_w: Number | None,
) -> OutputBounds:
    """Return low, likely, high and burst output with what ends each.

    Steady state; see the module for what the fuse multiples mean.

    Parameters
    ----------
    amplifier_class
        Fuse loading and rail utilisation, low and likely.
    circuit
        Fuse, source and rail.
    efficiencies
        Low, likely, high and limit at full sine output [1].
    fraction
        Mean power of the programme over full sine power [1], above 0 and at most 1.
    claim_w
        Claim at these conditions over all channels [W], or none; it caps low and likely.

    Returns
    -------
    OutputBounds
        Outputs over all channels [W].
    """
    kind = amplifier_class
    low, likely, high, limit = efficiencies
    highest = _bound(circuit, 1.0, high, kind.rail_utilisation_high)
    return OutputBounds(
        low=_capped(
            _bound(circuit, kind.fuse_loading_low, low, kind.rail_utilisation_low),
            claim_w,
        ),
        likely=_capped(
            _bound(
                circuit,
                kind.fuse_loading_likely,
                likely,
                kind.rail_utilisation_likely,
            ),
            claim_w,
        ),
        high=highest,
        burst=_burst_bound(kind, circuit, high, fraction, highest.output_w),
        limit_w=_bound(circuit, FUSE_OVERLOAD, limit, 1.0).output_w,
        rail_w=_rail_output_w(circuit, limit, 1.0),
    )


def _burst_bound(
    amplifier_class: AmplifierClass,
    circuit: OutputCircuit,
    efficiency: Number,
    fraction: Number,
    sustained_w: Number,
) -> OutputBound:
    model = loss_model(amplifier_class, efficiency)
    by_burst = efficiency * input_at_current_w(circuit, FUSE_BURST * circuit.fuse_a)[0]
    # Draw is proportional to the full output at a fixed drive level, so the ceiling divides by it.
    ceiling = input_at_current_w(circuit, circuit.fuse_a)[0]
    by_average = ceiling / input_power_w(model, fraction, 1.0)
    output = lesser(by_burst, by_average)
    key = chosen_key(by_average < by_burst, "fuse_average", "fuse_burst")
    rail = _rail_output_w(circuit, efficiency, amplifier_class.rail_utilisation_high)
    if rail is not None:
        key = chosen_key(rail < output, "rail_voltage", key)
        output = lesser(output, rail)
    # A full sine is its own burst: rounding may not put the burst below it.
    return OutputBound(greater(output, sustained_w), key)
