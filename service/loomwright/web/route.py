"""Routes and conductor families of requests as engineering values."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from loomwright.engineering.conductors.choice import Segment
from loomwright.engineering.errors import EngineeringError
from loomwright.tables.records import Tables

DEFAULT_ZONE = "passenger_compartment"


def segments_of(values: dict[str, Any], tables: Tables) -> tuple[Segment, ...]:
    """Return the segments of a loaded request, ambient resolved by zone.

    Parameters
    ----------
    values
        Loaded under ``RouteFields``.
    tables
        Holds the zones.

    Returns
    -------
    tuple of Segment
        In order from the source.
    """
    return tuple(_segment(entry, tables) for entry in values.get("route") or (values,))


def zone_keys(values: dict[str, Any]) -> Iterator[str]:
    """Yield the zones whose ambient the request rests on."""
    for entry in values.get("route") or (values,):
        if "ambient_temperature" not in entry:
            yield entry.get("zone", DEFAULT_ZONE)


def _segment(entry: dict[str, Any], tables: Tables) -> Segment:
    zone = tables.zones[entry.get("zone", DEFAULT_ZONE)]
    return Segment(
        length_m=entry["length"],
        ambient_temperature_k=entry.get("ambient_temperature", zone.ambient_temperature_k),
        bundled_conductors=entry.get("bundled_conductors", 1),
        engine_space=zone.engine_space,
    )


@contextmanager
def request_fields(values: dict[str, Any], names: Mapping[str, str]) -> Iterator[None]:
    """Name the request's own fields in errors of the engineering that are raised inside.

    Parameters
    ----------
    values
        Loaded request.
    names
        Request field by engineering field.

    Raises
    ------
    EngineeringError
        The same error under the request's field.
    """
    try:
        yield
    except EngineeringError as error:
        field = error.field or ""
        if field.startswith("segments/"):
            # A route given flat has its fields at the top.
            place = field.removeprefix("segments/")
            field = f"route/{place}" if "route" in values else place.partition("/")[2]
        raise EngineeringError(
            error.code,
            error.message,
            field=names.get(field, field) or None,
            **error.attributes,
        ) from error
