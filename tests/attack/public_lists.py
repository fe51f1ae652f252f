"""The public lists beside this module, and all places of a JSON document where they can go."""

import base64
import copy
import hashlib
import json
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import orjson

LISTS = Path(__file__).parent / "lists"
EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"
# What the three long files repeat, and SHA-256 of the files that were read.
_REPEATED = {
    "i_structure_500_nested_arrays": (b"[" * 500 + b"]" * 500, "a6c6b45361ff"),
    "n_structure_100000_opening_arrays": (b"[" * 100_000, "13f86ea1e7ed"),
    "n_structure_open_array_object": (b'[{"":' * 50_000 + b"\n", "48b232fcd18c"),
}


@cache
def json_cases() -> dict[str, bytes]:
    """Return the bytes of each case of JSONTestSuite by its name."""
    kept = json.loads((LISTS / "json_parsing.json").read_text("ascii"))
    cases = {name: base64.b64decode(text) for name, text in kept.items()}
    for name, (content, digest) in _REPEATED.items():
        assert hashlib.sha256(content).hexdigest().startswith(digest)
        cases[name] = content
    return cases


@cache
def naughty_strings() -> tuple[str, ...]:
    """Return the strings of the Big List of Naughty Strings."""
    kept = json.loads((LISTS / "naughty_strings.json").read_text("ascii"))
    return tuple(base64.b64decode(text).decode() for text in kept)


@cache
def _example(operation: str) -> bytes:
    return (EXAMPLES / f"{operation}.json").read_bytes()


def example(operation: str) -> dict[str, Any]:
    """Return a fresh copy of the example body of an operation."""
    body: dict[str, Any] = orjson.loads(_example(operation))
    return body


OPERATIONS = tuple(sorted(path.stem for path in EXAMPLES.glob("*.json")))
Place = tuple[str | int, ...]


def text_places(value: Any, place: Place = ()) -> Iterator[Place]:
    """Yield the place of each text in a JSON value."""
    if isinstance(value, str):
        yield place
    elif isinstance(value, dict):
        for name, entry in value.items():
            yield from text_places(entry, (*place, name))
    elif isinstance(value, list):
        for index, entry in enumerate(value):
            yield from text_places(entry, (*place, index))


def with_text(document: dict[str, Any], place: Place, text: str) -> dict[str, Any]:
    """Return a copy of a document with another text at a place."""
    made, holder = _copied(document, place)
    holder[place[-1]] = text
    return made


def _copied(document: dict[str, Any], place: Place) -> tuple[dict[str, Any], Any]:
    """Return a copy of a document, and what in it holds a place."""
    made = copy.deepcopy(document)
    holder: Any = made
    for step in place[:-1]:
        holder = holder[step]
    return made, holder


def member_places(value: Any, place: Place = ()) -> Iterator[Place]:
    """Yield the place of each member of each object in a JSON value."""
    if isinstance(value, dict):
        for name, entry in value.items():
            yield (*place, name)
            yield from member_places(entry, (*place, name))
    elif isinstance(value, list):
        for index, entry in enumerate(value):
            yield from member_places(entry, (*place, index))


def with_name(document: dict[str, Any], place: Place, name: str) -> dict[str, Any]:
    """Return a copy of a document with another name for a member."""
    made, holder = _copied(document, place)
    holder[name] = holder.pop(place[-1])
    return made
