"""What a job may state of an amplifier, so that its real output can be estimated."""

from collections.abc import Mapping
from dataclasses import dataclass

from loomwright.engineering.audio.output_request import CONVERTERS, DEFAULT_PROGRAMME
from loomwright.pricing.members import Choice, Member, Number, Truth, Whole
from loomwright.pricing.reading import ObjectReader
from loomwright.tables.audio_load import audio_tables


@dataclass(frozen=True, slots=True)
class Amplifier:
    """An amplifier as the box and the manual state it.

    ``amplifier_class`` and ``programme`` are keys of the tables. ``claimed_output_w`` is over all
    channels; ``measured_efficiency`` replaces the band of the class.
    """

    amplifier_class: str
    converter: str
    load_impedance_ohm: float
    channels: int
    bridged: bool
    claimed_output_w: float | None
    measured_efficiency: float | None
    programme: str


AMPLIFIER: Mapping[str, Member] = {
    "amplifier_class": Choice(
        tuple(audio_tables().amplifier_classes),
        about="Amplifier class; constant_efficiency with a measured efficiency only.",
    ),
    "converter": Choice(tuple(sorted(CONVERTERS)), about="Step-up supply inside the amplifier."),
    "load_impedance": Number(
        0.1, 1000.0, "ohm", "impedance", about="Nominal impedance that one channel drives."
    ),
    "channels": Whole(1, 64, 1, about="Loads driven at once; a bridged pair counts as one."),
    "bridged": Truth(
        True, about="Whether each load hangs between two stages; felt without a converter only."
    ),
    "claimed_output": Number(
        0.1, 1e6, "W", "power", required=False, about="Claimed output over all channels."
    ),
    "measured_efficiency": Number(
        0.01, 1.0, "1", required=False, about="Whole amplifier; replaces the band of the class."
    ),
    "programme": Choice(
        tuple(audio_tables().programmes), default=DEFAULT_PROGRAMME, about="What is played."
    ),
}


def amplifier_of(equipment: ObjectReader) -> Amplifier | None:
    """Return the amplifier that a piece of equipment states, or none.

    Parameters
    ----------
    equipment
        Reader of the equipment; notes the faults.

    Returns
    -------
    Amplifier or None
        As stated.
    """
    if not equipment.has("amplifier"):
        return None
    for needed in ("fuse_rating", "circuit"):
        if not equipment.has(needed):
            equipment.fault(needed, "An amplifier needs it, so that its output can be estimated.")
    reader = equipment.object("amplifier")
    kind = reader.choice("amplifier_class")
    measured = reader.optional_number("measured_efficiency")
    known = audio_tables().amplifier_classes.get(kind)
    if known is not None:
        if measured is None and known.efficiency is None:
            reader.fault("measured_efficiency", f"Class {kind} has no usual efficiency; give it.")
        elif measured is not None and measured > known.theoretical_efficiency:
            reader.fault(
                "measured_efficiency",
                f"{known.theoretical_efficiency:.4g} is the theoretical maximum of {known.name}.",
            )
    return Amplifier(
        amplifier_class=kind,
        converter=reader.choice("converter"),
        load_impedance_ohm=reader.number("load_impedance"),
        channels=reader.whole("channels"),
        bridged=reader.truth("bridged"),
        claimed_output_w=reader.optional_number("claimed_output"),
        measured_efficiency=measured,
        programme=reader.choice("programme"),
    )
