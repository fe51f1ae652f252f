"""The ways to wire the voice coils of loudspeakers, each once, and how a way is written.

A coil is named by its place in the list of all coils: sort by sort, driver by driver.
"""

from collections.abc import Iterator
from functools import lru_cache
from itertools import combinations_with_replacement, count, permutations, product
from typing import NamedTuple

from loomwright.engineering.audio.series_parallel import (
    Content,
    Group,
    Network,
    in_order,
    network_count,
    networks,
    order_of,
    parts_of,
    with_parts,
)
from loomwright.engineering.errors import EngineeringError

GREATEST_COIL_COUNT = 8
# Networks listed for one answer: enough for 8 coils all alike (522) and for three drivers alike of
# two coils wired at will (1150, before those that differ in the drivers' numbers alone are one).
GREATEST_NETWORK_COUNT = 1200


class DriverSort(NamedTuple):
    """Drivers that are alike in everything: how many, and how many coils each has."""

    drivers: int
    coils: int


@lru_cache(maxsize=16)
def coil_wirings(sorts: tuple[DriverSort, ...], together: bool) -> tuple[Network, ...]:
    """Return all ways to wire every coil of some drivers in series and parallel, each once.

    Coils of a driver are alike, and so are the drivers of a sort: what differs only in which of
    them stands where is one way. Kept between requests, as it depends on small numbers alone.

    Parameters
    ----------
    sorts
        The drivers by sort; one coil or more in all.
    together
        Whether the coils of each driver are wired with one another first, and the drivers then;
        otherwise any coil may stand anywhere.

    Returns
    -------
    tuple
        Networks of the coils' places.

    Raises
    ------
    EngineeringError
        ``too_many_coils`` or ``too_many_wirings``.
    """
    coils = sum(sort.drivers * sort.coils for sort in sorts)
    if coils > GREATEST_COIL_COUNT:
        raise EngineeringError(
            "too_many_coils",
            f"The drivers have {coils} voice coils; at most {GREATEST_COIL_COUNT} are wired in all"
            " ways. Ask for the drivers of one channel, or for a part of them.",
            field="drivers",
            value=coils,
            limit=GREATEST_COIL_COUNT,
        )
    contents = list(_contents_of_units(sorts)) if together else [_content_of_coils(sorts)]
    listed = sum(network_count(tuple(sorted(content))) for content in contents)
    if listed > GREATEST_NETWORK_COUNT:
        raise EngineeringError(
            "too_many_wirings",
            f"There are {listed} ways to wire these coils; at most {GREATEST_NETWORK_COUNT} are"
            " looked at. Ask for fewer unlike drivers at once, or wire the coils of each driver"
            " together first.",
            field="drivers",
            value=listed,
            limit=GREATEST_NETWORK_COUNT,
        )
    ways = _ways_by_driver(sorts) if together else _ways_by_coil(sorts)
    return tuple(map(_in_reading_order, ways))


def _units_of(sorts: tuple[DriverSort, ...]) -> Iterator[list[tuple[int, Network]]]:
    """Yield what the drivers can be wired to inside, each as sort and network of its coils."""
    choices = [
        combinations_with_replacement(networks((sort.coils,)), sort.drivers) for sort in sorts
    ]
    for chosen in product(*choices):
        yield [(place, inside) for place, ways in enumerate(chosen) for inside in ways]


def _contents_of_units(sorts: tuple[DriverSort, ...]) -> Iterator[Content]:
    for units in _units_of(sorts):
        yield tuple(units.count(unit) for unit in dict.fromkeys(units))


def _ways_by_driver(sorts: tuple[DriverSort, ...]) -> Iterator[Network]:
    for units in _units_of(sorts):
        kinds = list(dict.fromkeys(units))
        for network in networks(tuple(units.count(unit) for unit in kinds)):
            places = [_coil_places(sorts, sort) for sort in range(len(sorts))]
            insides = (
                with_parts(kinds[part][1], places[kinds[part][0]]) for part in parts_of(network)
            )
            yield with_parts(network, insides)


def _content_of_coils(sorts: tuple[DriverSort, ...]) -> Content:
    """Return the coils by kind: coils of one driver are alike, and all of drivers of one coil."""
    return tuple(
        number
        for sort in sorts
        for number in ([sort.drivers] if sort.coils == 1 else [sort.coils] * sort.drivers)
    )


def _ways_by_coil(sorts: tuple[DriverSort, ...]) -> Iterator[Network]:
    content = _content_of_coils(sorts)
    first = [sum(content[:kind]) for kind in range(len(content))]
    exchanges = list(_exchanges_of_drivers(sorts))
    seen = set()
    for network in networks(content):
        alike = (
            in_order(with_parts(network, iter([exchange[kind] for kind in parts_of(network)])))
            for exchange in exchanges
        )
        least = min(alike, key=order_of)
        if least not in seen:
            seen.add(least)
            places = [count(start) for start in first]
            yield with_parts(least, iter([next(places[kind]) for kind in parts_of(least)]))


def _exchanges_of_drivers(sorts: tuple[DriverSort, ...]) -> Iterator[tuple[int, ...]]:
    """Yield which kind of coil stands for which, where drivers of a sort change places."""
    choices = []
    start = 0
    for sort in sorts:
        kinds = 1 if sort.coils == 1 else sort.drivers
        choices.append(permutations(range(start, start + kinds)))
        start += kinds
    for chosen in product(*choices):
        yield sum(chosen, ())


def _coil_places(sorts: tuple[DriverSort, ...], place: int) -> Iterator[Network]:
    """Return the places of the coils of a sort, in order."""
    before = sum(sort.drivers * sort.coils for sort in sorts[:place])
    return iter(range(before, before + sorts[place].drivers * sorts[place].coils))


def _in_reading_order(network: Network) -> Network:
    """Return a way with the members of each group by their first coil."""
    if isinstance(network, int):
        return network
    members = sorted(map(_in_reading_order, network.parts), key=lambda part: min(parts_of(part)))
    return Group(network.kind, tuple(members))


def notation_of(network: Network, names: tuple[str, ...]) -> str:
    """Return a way in short: ``+`` for series, ``|`` for parallel, groups in brackets.

    Parameters
    ----------
    network
        Of places of coils.
    names
        Of the coils.

    Returns
    -------
    str
        Such as ``(A1+A2)|(A3+A4)``.
    """
    if isinstance(network, int):
        return names[network]
    sign = "+" if network.kind == "series" else "|"
    written = (notation_of(part, names) for part in network.parts)
    return sign.join(text if text in names else f"({text})" for text in written)


def words_of(network: Network, names: tuple[str, ...]) -> str:
    """Return a way in words.

    Parameters
    ----------
    network
        Of places of coils.
    names
        Of the coils.

    Returns
    -------
    str
        Such as ``(A1 and A2 in series) and (A3 and A4 in series) in parallel``.
    """
    if isinstance(network, int):
        return names[network]
    written = [words_of(part, names) for part in network.parts]
    members = [text if text in names else f"({text})" for text in written]
    return f"{', '.join(members[:-1])} and {members[-1]} in {network.kind}"
