"""Impedance of a network of voice coils and the share of the power that each coil takes."""

from typing import NamedTuple

from loomwright.engineering.audio.series_parallel import Network


class NetworkPower(NamedTuple):
    """Impedance [ohm] of a network, and share of its power [1] by place of the coil."""

    impedance_ohm: float
    shares: dict[int, float]


def network_power(network: Network, coil_impedances_ohm: tuple[float, ...]) -> NetworkPower:
    """Return the impedance of a network and how its coils share the power.

    Nominal impedances taken as resistances: coils of unlike drivers share the power so at no single
    frequency, but over a programme about so. D.c. resistances give the reading of an ohm-meter.

    Parameters
    ----------
    network
        Of places of coils.
    coil_impedances_ohm
        By place [ohm], above 0.

    Returns
    -------
    NetworkPower
        The shares sum to 1.

    Notes
    -----
    ``Z = sum(Zi)`` in series, power in proportion to ``Zi``; ``1/Z = sum(1/Zi)`` in parallel, power
    in proportion to ``1/Zi``.

    References
    ----------
    Ohm's and Kirchhoff's laws; IEC 60268-5:2003, 16.1, rated impedance as the resistance that
    stands for the loudspeaker when power is told (memory).
    """
    if isinstance(network, int):
        return NetworkPower(coil_impedances_ohm[network], {network: 1.0})
    members = [network_power(part, coil_impedances_ohm) for part in network.parts]
    if network.kind == "series":
        weights = [member.impedance_ohm for member in members]
        impedance = sum(weights)
    else:
        weights = [1.0 / member.impedance_ohm for member in members]
        impedance = 1.0 / sum(weights)
    whole = sum(weights)
    shares = {
        coil: share * weight / whole
        for member, weight in zip(members, weights, strict=True)
        for coil, share in member.shares.items()
    }
    return NetworkPower(impedance, shares)
