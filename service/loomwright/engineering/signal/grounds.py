"""Ground noise of a connection, from the ground potentials of both ends."""

import math
from dataclasses import dataclass

from loomwright.engineering.signal.ground_noise import (
    LOW,
    NOT_JUDGED,
    interference_v,
    noise_verdict,
    rejected_v,
    shield_current_a,
    signal_over_noise_db,
)
from loomwright.engineering.signal.path import (
    GROUNDED,
    Connection,
    DeviceGround,
    Figures,
    SignalInput,
)


@dataclass(frozen=True, slots=True)
class Remedy:
    """What lowers the noise, and to where.

    ``below_signal_db`` is infinite where nothing is left. ``resistance_ratio`` is what the
    resistance of the ground paths has to be divided by, and their section multiplied by.
    """

    key: str
    interference_v: float
    below_signal_db: float
    verdict: str
    resistance_ratio: float | None


@dataclass(frozen=True, slots=True)
class GroundNoise:
    """Ground noise of one connection; nothing but the verdict where a potential is not known."""

    verdict: str
    difference_v: float | None = None
    alternating_v: float | None = None
    shield_current_a: float | None = None
    interference_v: float | None = None
    below_signal_db: float | None = None
    remedies: tuple[Remedy, ...] = ()


def ground_noise(
    connection: Connection,
    stated: SignalInput,
    signal_v: float,
    potentials_v: tuple[float | None, float | None],
    grounds: tuple[DeviceGround | None, DeviceGround | None],
    figures: Figures,
) -> GroundNoise:
    """Return the noise that a difference of ground potentials puts into an input.

    Parameters
    ----------
    connection
        The connection.
    stated
        The input.
    signal_v
        At the input at the source's greatest [V]; 0 judges nothing.
    potentials_v
        Ground potentials of source and input [V]; ``None`` where not known.
    grounds
        Stated grounds of source and input, for the resistance of their paths.
    figures
        Figures of the tables.

    Returns
    -------
    GroundNoise
        With remedies where it can be heard.
    """
    source_v, input_v = potentials_v
    if source_v is None or input_v is None or not signal_v:
        return GroundNoise(NOT_JUDGED)
    difference = input_v - source_v
    alternating = figures.value("alternating_share") * abs(difference)
    audible = figures.value("ground_noise_audible_db")
    severe = figures.value("ground_noise_severe_db")
    grounded = stated.reference == GROUNDED and not connection.isolated
    shield, paths = connection.shield_resistance_ohm, _paths_ohm(grounds)

    def judged(key: str, noise_v: float, ratio: float | None = None) -> Remedy:
        below = signal_over_noise_db(signal_v, noise_v)
        return Remedy(key, noise_v, below, noise_verdict(below, audible, severe), ratio)

    if grounded:
        noise = float(interference_v(alternating, shield, paths))
    else:
        noise = float(rejected_v(alternating, _rejection_db(connection, stated, figures)))
    now = judged("", noise)
    remedies: list[Remedy] = []
    if now.verdict != LOW:
        remedies.append(judged("common_ground_point", 0.0))
        if stated.reference == GROUNDED:
            rejection = figures.value("common_mode_rejection_db")
            if connection.isolated:
                rejection += figures.stated_or(
                    connection.isolation_rejection_db, "isolation_rejection_db"
                )
            remedies.append(judged("differential_input", float(rejected_v(alternating, rejection))))
        if not connection.isolated:
            rejection = figures.value("isolation_rejection_db")
            if stated.reference != GROUNDED:
                rejection += figures.stated_or(
                    stated.common_mode_rejection_db, "common_mode_rejection_db"
                )
            left = float(rejected_v(alternating, rejection))
            remedies.append(judged("isolation_transformer", left))
        target = signal_v * 10.0 ** (-audible / 20.0)
        # Both paths divided by k leave U / k between the grounds, of which a grounded input takes
        # Rs / (Rs + Rg / k): U Rs / (k Rs + Rg) is then the target.
        ratio = alternating / target - paths / shield if grounded else noise / target
        remedies.append(Remedy("thicker_ground", target, audible, LOW, ratio))
    return GroundNoise(
        verdict=now.verdict,
        difference_v=difference,
        alternating_v=alternating,
        shield_current_a=float(shield_current_a(difference, shield, paths)) if grounded else None,
        interference_v=noise,
        below_signal_db=now.below_signal_db if math.isfinite(now.below_signal_db) else None,
        remedies=tuple(remedies),
    )


def _paths_ohm(grounds: tuple[DeviceGround | None, DeviceGround | None]) -> float:
    """Return the resistance of both ground paths; without it the whole difference is taken."""
    return math.fsum(
        ground.path_resistance_ohm
        for ground in grounds
        if ground is not None and ground.path_resistance_ohm is not None
    )


def _rejection_db(connection: Connection, stated: SignalInput, figures: Figures) -> float:
    rejection = 0.0
    if stated.reference != GROUNDED:
        rejection += figures.stated_or(stated.common_mode_rejection_db, "common_mode_rejection_db")
    if connection.isolated:
        rejection += figures.stated_or(connection.isolation_rejection_db, "isolation_rejection_db")
    return rejection
