"""What a take-off or a sum of take-offs delivers, and what it must not be connected to."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from loomwright.engineering.audio.amplifiers import gain_setting_voltage_v
from loomwright.engineering.audio.levels import voltage_level_db
from loomwright.engineering.signal.path import (
    BANDS,
    DEVICE,
    DIRECT,
    INDEPENDENT,
    LINE_LEVEL,
    RESISTORS,
    SAME_SIGNAL,
    SPEAKER_LEVEL,
    Figures,
    Remark,
    SignalPath,
    SignalSum,
    TakeOff,
)
from loomwright.engineering.signal.voltages import (
    correlated_sum_v,
    least_load_of_passive_sum_ohm,
    least_summing_resistance_ohm,
    passive_sum_parts_v,
    preferred_resistance_ohm,
    uncorrelated_sum_v,
)

_LOAD_SLACK = 1e-9


@dataclass(frozen=True, slots=True)
class Feed:
    """A source of signal for connections; ``ground_of`` is the take-off whose ground it has."""

    key: str
    level_kind: str
    open_voltage_v: float
    output_impedance_ohm: float
    bridged: bool
    ground_of: str


@dataclass(frozen=True, slots=True)
class LoadResistor:
    """A resistor that an output with open-load detection takes for its loudspeaker."""

    resistance_ohm: float
    heat_w: float
    least_rating_w: float


@dataclass(frozen=True, slots=True)
class PlannedTakeOff:
    """A take-off judged; ``load_resistor`` where its output looks for a load and has none."""

    take_off: TakeOff
    feed: Feed
    load_resistor: LoadResistor | None


@dataclass(frozen=True, slots=True)
class PlannedSum:
    """A sum judged.

    ``parts_v`` is what each take-off contributes, ``sine_voltage_v`` the greatest on a sine,
    ``feed`` carries the greatest on any programme. ``resistance_ohm`` and ``least_load_ohm`` are
    those of summing resistors, where they do.
    """

    sum: SignalSum
    feed: Feed
    parts_v: tuple[float, ...]
    sine_voltage_v: float
    over_greatest_part_db: float | None
    resistance_ohm: float | None
    least_load_ohm: float | None
    changes: tuple[Remark, ...]
    notes: tuple[Remark, ...]
    needed: tuple[Remark, ...]


def take_off_voltage_v(take_off: TakeOff) -> float:
    """Return the voltage of a take-off at the onset of clipping, root mean square [V]."""
    if take_off.greatest_voltage_v is not None:
        return take_off.greatest_voltage_v
    power_w, impedance_ohm = take_off.greatest_power_w, take_off.load_impedance_ohm
    assert power_w is not None
    assert impedance_ohm is not None  # one or the other is stated
    return float(gain_setting_voltage_v(power_w, impedance_ohm))


def planned_take_off(take_off: TakeOff, figures: Figures) -> PlannedTakeOff:
    """Return what a take-off delivers, and the load resistor that it may need.

    Parameters
    ----------
    take_off
        As stated; without an output impedance that of a line output by the table, and none of a
        speaker-level output.
    figures
        Figures of the tables.

    Returns
    -------
    PlannedTakeOff
        With its feed.
    """
    volts = take_off_voltage_v(take_off)
    impedance = take_off.output_impedance_ohm
    if impedance is None:
        is_line = take_off.level_kind == LINE_LEVEL
        impedance = figures.value("line_output_impedance_ohm") if is_line else 0.0
    feed = Feed(
        key=take_off.key,
        level_kind=take_off.level_kind,
        open_voltage_v=volts,
        output_impedance_ohm=impedance,
        bridged=take_off.bridged,
        ground_of=take_off.key,
    )
    resistor = None
    if take_off.detects_open_load and not take_off.loudspeaker_stays:
        ohm = figures.stated_or(take_off.load_resistance_ohm, "load_resistance_ohm")
        heat_w = volts * volts / ohm
        resistor = LoadResistor(ohm, heat_w, figures.value("resistor_rating_multiple") * heat_w)
    return PlannedTakeOff(take_off, feed, resistor)


def planned_sum(stated: SignalSum, planned: Sequence[PlannedTakeOff]) -> PlannedSum:
    """Return what a sum delivers, and whether it may be made as stated.

    What may not be made as stated is judged as a summing device makes it, which is the remedy.

    Parameters
    ----------
    stated
        The sum.
    planned
        Its take-offs, in its order.

    Returns
    -------
    PlannedSum
        With changes that must be made, notes, and devices that are needed.
    """
    forbidden = tuple(_forbidden(stated, planned))
    passive = stated.method == RESISTORS and not forbidden
    joined = _by_resistors(stated, planned) if passive else _by_device(stated, planned)
    sine, greatest = _summed(stated.relation, joined.parts_v)
    largest = max(abs(part) for part in joined.parts_v)
    return PlannedSum(
        sum=stated,
        feed=Feed(
            key=stated.key,
            level_kind=LINE_LEVEL,
            open_voltage_v=greatest,
            output_impedance_ohm=joined.output_impedance_ohm,
            bridged=False,
            ground_of=stated.take_offs[0],
        ),
        parts_v=joined.parts_v,
        sine_voltage_v=sine,
        over_greatest_part_db=float(voltage_level_db(greatest / largest)) if greatest else None,
        resistance_ohm=joined.resistance_ohm,
        least_load_ohm=joined.least_load_ohm,
        changes=(*forbidden, *joined.changes, *_opposed(stated, planned)),
        notes=tuple(_notes(stated, planned)),
        needed=(joined.needed,),
    )


def overloaded_outputs(
    path: SignalPath, loads_ohm: Iterable[tuple[str, float]]
) -> tuple[Remark, ...]:
    """Return the take-offs that are loaded with less than they bear.

    Parameters
    ----------
    path
        The path.
    loads_ohm
        Key of a take-off and impedance of an input, for each input that it drives [ohm].

    Returns
    -------
    tuple of Remark
        One for each such take-off.
    """
    conductance: dict[str, float] = {}
    for key, ohm in loads_ohm:
        conductance[key] = conductance.get(key, 0.0) + 1.0 / ohm
    found = []
    for key, siemens in conductance.items():
        limit = path.take_offs[key].least_load_ohm
        load = 1.0 / siemens
        if limit is not None and load < limit * (1.0 - _LOAD_SLACK):
            found.append(
                Remark(
                    "output_overloaded",
                    key,
                    f"The inputs load this output with {load:g} ohm; it bears {limit:g} ohm. "
                    "Split the signal with a distribution amplifier.",
                )
            )
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Joined:
    """How take-offs are joined electrically."""

    parts_v: tuple[float, ...]
    output_impedance_ohm: float
    resistance_ohm: float | None
    least_load_ohm: float | None
    changes: tuple[Remark, ...]
    needed: Remark


def _signed_v(planned: PlannedTakeOff) -> float:
    volts = planned.feed.open_voltage_v
    return -volts if planned.take_off.inverted else volts


def _by_device(stated: SignalSum, planned: Sequence[PlannedTakeOff]) -> _Joined:
    text = f"A summing device with a floating input for each of: {', '.join(stated.take_offs)}."
    return _Joined(
        parts_v=tuple(stated.gain * _signed_v(entry) for entry in planned),
        output_impedance_ohm=0.0,
        resistance_ohm=None,
        least_load_ohm=None,
        changes=(),
        needed=Remark("summing_device", stated.key, text),
    )


def _by_resistors(stated: SignalSum, planned: Sequence[PlannedTakeOff]) -> _Joined:
    count = len(planned)
    resistance = stated.resistance_ohm
    if resistance is None:
        wanted = max(map(_wanted_load_ohm, planned))
        resistance = preferred_resistance_ohm(float(least_summing_resistance_ohm(wanted, count)))
    least_load = float(least_load_of_passive_sum_ohm(resistance, count))
    limit = max(entry.take_off.least_load_ohm or 0.0 for entry in planned)
    changes = []
    if least_load < limit * (1.0 - _LOAD_SLACK):
        least = least_summing_resistance_ohm(limit, count)
        changes.append(
            Remark(
                "output_overloaded",
                stated.key,
                f"The summing resistors load an output with {least_load:g} ohm; it bears "
                f"{limit:g} ohm. Fit at least {least:g} ohm each.",
            )
        )
    branches = [resistance + entry.feed.output_impedance_ohm for entry in planned]
    text = f"{count} resistors of {resistance:g} ohm, one behind each output."
    return _Joined(
        # Without load: the impedance of all branches together stands for the loss at an input.
        parts_v=passive_sum_parts_v(list(map(_signed_v, planned)), branches, math.inf),
        output_impedance_ohm=1.0 / math.fsum(1.0 / ohm for ohm in branches),
        resistance_ohm=resistance,
        least_load_ohm=least_load,
        changes=tuple(changes),
        needed=Remark("summing_resistors", stated.key, text),
    )


def _wanted_load_ohm(planned: PlannedTakeOff) -> float:
    # An output that states no limit is not to lose more than 1 dB: ten times its own impedance.
    own = max(10.0 * planned.feed.output_impedance_ohm, 1.0)
    return planned.take_off.least_load_ohm or own


def _polarities_differ(planned: Sequence[PlannedTakeOff]) -> bool:
    return len({entry.take_off.inverted for entry in planned}) > 1


def _opposed(stated: SignalSum, planned: Sequence[PlannedTakeOff]) -> Iterable[Remark]:
    if stated.relation == SAME_SIGNAL and _polarities_differ(planned):
        turned = ", ".join(entry.take_off.key for entry in planned if entry.take_off.inverted)
        yield Remark(
            "polarity_opposed",
            stated.key,
            f"Outputs of one signal are joined in opposite polarity and cancel; reverse: {turned}.",
        )


def _forbidden(stated: SignalSum, planned: Sequence[PlannedTakeOff]) -> Iterable[Remark]:
    speaker = [
        entry.take_off.key for entry in planned if entry.take_off.level_kind == SPEAKER_LEVEL
    ]
    if stated.method == DIRECT:
        remedy = "a summing device" if speaker else "a resistor behind each, or a summing device"
        yield Remark(
            "outputs_in_parallel",
            stated.key,
            f"Outputs joined directly drive into each other and fail; fit {remedy}.",
        )
    elif stated.method == RESISTORS and speaker:
        yield Remark(
            "resistors_at_speaker_level",
            stated.key,
            "Summing resistors are for line outputs of one ground; fit a summing device for: "
            f"{', '.join(speaker)}.",
        )


def _summed(relation: str, parts_v: Sequence[float]) -> tuple[float, float]:
    """Return the greatest voltage of a sum on a sine, and on any programme."""
    if relation == SAME_SIGNAL:
        total = correlated_sum_v(parts_v)
        return total, total
    if relation == INDEPENDENT:
        return max(map(abs, parts_v)), uncorrelated_sum_v(parts_v)
    # A sine lies in one band; the peaks of a programme can meet.
    return max(map(abs, parts_v)), math.fsum(map(abs, parts_v))


def _notes(stated: SignalSum, planned: Sequence[PlannedTakeOff]) -> Iterable[Remark]:
    take_offs = [entry.take_off for entry in planned]
    if stated.relation == BANDS:
        for lower, upper in _gaps(take_offs):
            yield Remark(
                "band_gap",
                stated.key,
                f"No output carries {lower:g} Hz to {upper:g} Hz; look for a further channel.",
            )
        if _polarities_differ(planned):
            yield Remark(
                "polarity_at_crossover",
                stated.key,
                "Channels of opposite polarity can cancel where their bands meet: measure the sum "
                "there with either polarity and keep the louder.",
            )
    elif len({(entry.lower_corner_hz, entry.upper_corner_hz) for entry in take_offs}) > 1:
        yield Remark(
            "unlike_bands",
            stated.key,
            "The outputs carry unlike bands; state the relation bands and sum them flat.",
        )
    if stated.method == DEVICE and stated.relation == BANDS:
        yield Remark(
            "level_of_bands",
            stated.key,
            "Trim the channels so that the sum is flat: factory channels differ in level.",
        )


def _gaps(take_offs: Sequence[TakeOff]) -> Iterable[tuple[float, float]]:
    """Yield what lies between the bands of the outputs."""
    bands = sorted(
        (entry.lower_corner_hz or 0.0, entry.upper_corner_hz or math.inf) for entry in take_offs
    )
    reach = bands[0][1]
    for lower, upper in bands[1:]:
        if lower > reach:
            yield reach, lower
        reach = max(reach, upper)
