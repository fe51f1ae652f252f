"""Paths into an answer: ``conductor.size``, ``types.0.rated_current_a``."""

from collections.abc import Iterator
from typing import Any

from marshmallow import Schema, fields

Path = tuple[str, ...]


class PathError(LookupError):
    """A path that leads nowhere; the text says where it ends and what there is."""


def path_of(text: str) -> Path:
    """Return the names and numbers of a path."""
    return tuple(text.split("."))


def node_at(answer: type[Schema], path: Path) -> Any:
    """Return the schema or field that a path leads to in any answer under a schema.

    Parameters
    ----------
    answer
        Schema of the answer.
    path
        Names of members and numbers of entries.

    Returns
    -------
    Schema, Field or None
        None where the schema leaves the names open.

    Raises
    ------
    PathError
        A name is unknown, a list is asked for a name, or the path goes on behind a single value.
    """
    node: Any = answer()
    for place, step in enumerate(path):
        if isinstance(node, fields.Dict):
            return None
        node = _below(node, step, ".".join(path[:place]) or "the answer")
    return node


def require_value(answer: type[Schema], path: Path) -> None:
    """See that a path leads to a single value or a list of such in any answer under a schema.

    Parameters
    ----------
    answer
        Schema of the answer.
    path
        Names of members and numbers of entries.

    Raises
    ------
    PathError
        As of ``node_at``, or the path ends too early.
    """
    node = node_at(answer, path)
    where = ".".join(path)
    if isinstance(node, fields.List):
        if members_of(node.inner):
            raise PathError(f"{where} is a list of objects; give {where}.0 with a name behind it")
    elif members := members_of(node):
        raise PathError(f"{where} is no single value; add one of {', '.join(members)}")


def _below(node: Any, step: str, where: str) -> Any:
    if isinstance(node, fields.List):
        if not step.isdecimal():
            raise PathError(f"{where} is a list; go on with the number of an entry, from 0")
        return node.inner
    members = members_of(node)
    if not members:
        raise PathError(f"{where} is a single value; end there")
    if step not in members:
        raise PathError(f"{where} has no {step}; give one of {', '.join(members)}")
    return members[step]


def members_of(node: Any) -> dict[str, Any]:
    """Return the members of an object of a schema; anything else has none."""
    if isinstance(node, fields.Nested):
        node = node.schema
    return dict(node.fields) if isinstance(node, Schema) else {}


def value_at(document: Any, path: Path) -> Any:
    """Return the value of an answer at a path; what lies below null is null.

    Parameters
    ----------
    document
        Plain JSON values.
    path
        One that ``node_at`` follows.

    Returns
    -------
    object
        JSON value.

    Raises
    ------
    PathError
        This answer lacks the member or the entry.
    """
    value = document
    for place, step in enumerate(path):
        where = ".".join(path[:place]) or "the answer"
        if value is None:
            return None
        if isinstance(value, list):
            if int(step) >= len(value):
                count = len(value)
                raise PathError(
                    f"{where} has no entry {step}; it has {count}, counted from 0"
                    if count
                    else f"{where} is empty here"
                )
            value = value[int(step)]
        elif isinstance(value, dict) and step in value:
            value = value[step]
        else:
            raise PathError(f"{where} has no {step} here")
    return value


def leaves(value: Any, path: Path = ()) -> Iterator[tuple[Path, Any]]:
    """Yield each single value with its path; an empty list or object is one without value."""
    if isinstance(value, dict) and value:
        for name, entry in value.items():
            yield from leaves(entry, (*path, name))
    elif isinstance(value, list) and value:
        for place, entry in enumerate(value):
            yield from leaves(entry, (*path, str(place)))
    else:
        yield path, None if isinstance(value, (dict, list)) else value
