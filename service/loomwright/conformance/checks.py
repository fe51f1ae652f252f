"""Checks on one answer that hold for providers and receivers alike.

A check takes what was seen, the words of the expectation and the context of the case. It returns
None, or what is wrong, and raises ``UnexercisedError`` where nothing can be said.
"""

import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from loomwright.conformance.report import UnexercisedError
from loomwright.delivery import VERSION
from loomwright.exchange import JSON, PROBLEM, Seen

_VERSION = re.compile(r"1\.(0|[1-9][0-9]*)", re.ASCII)
_CAPABILITIES = ("specification", "roles", "name", "serves", "price_books")


@dataclass
class Context:
    """What a check has to know besides the answer: the role, and what the case has seen so far.

    ``earlier`` are the answers to the steps before, in order, ``at_once`` those to equal requests
    that were sent together. ``book`` and ``tax_rules`` are those of the price book ``name`` as they
    came; ``kept`` is a copy of a document that was spoiled since.
    """

    role: str
    in_process: bool = False
    earlier: list[Seen] = field(default_factory=list)
    at_once: Sequence[Seen] = ()
    name: str = ""
    book: Mapping[str, Any] = field(default_factory=dict)
    tax_rules: Mapping[str, Any] = field(default_factory=dict)
    capabilities: Mapping[str, Any] = field(default_factory=dict)
    kept: Any = None


Words = Mapping[str, Any]
Check = Callable[[Seen, Words, Context], str | None]


def answered(seen: Seen) -> Seen:
    """Return what was seen if there was an answer."""
    if seen.error:
        raise UnexercisedError(seen.error)
    return seen


def _status(seen: Seen, words: Words, _: Context) -> str | None:
    if seen.status in words["is"]:
        return None
    return f"{seen.summary}; {_either(words['is'])} is right"


def _either(values: Sequence[object]) -> str:
    return " or ".join(str(value) for value in values)


def _taken(seen: Seen, _: Words, __: Context) -> str | None:
    """Find a delivery that is neither recorded now nor was before."""
    return None if seen.status in (200, 201) else f"{seen.summary}; it was not taken"


def _below_400(seen: Seen, words: Words, _: Context) -> str | None:
    answered(seen)
    return f"{seen.summary} to {words['to']}" if seen.status < 400 else None


def _json_object(seen: Seen, _: Words, __: Context) -> str | None:
    if isinstance(seen.document, dict):
        return None
    return f"{seen.summary}, and what came is no JSON object"


def _document_status(seen: Seen, _: Words, __: Context) -> str | None:
    if seen.status != 200:
        return f"{seen.summary}; status 200 is right"
    if seen.media_type != JSON:
        return f"media type {seen.media_type or 'missing'}; {JSON} is right"
    return None


def _no_redirect(seen: Seen, _: Words, __: Context) -> str | None:
    answered(seen)
    if 300 <= seen.status < 400 and seen.status != 304:
        return f"redirect with status {seen.status} to {seen.headers.get('location', 'nowhere')}"
    return None


def _problem(seen: Seen, _: Words, __: Context) -> str | None:
    answered(seen)
    if seen.status < 400:
        raise UnexercisedError(f"nothing was refused: {seen.summary}")
    if seen.media_type != PROBLEM:
        return f"status {seen.status} with media type {seen.media_type or 'missing'}"
    if not isinstance(seen.member("title"), str):
        return f"status {seen.status} without a title"
    if seen.member("status") != seen.status:
        return f"status {seen.status}, and {seen.member('status')!r} in the problem document"
    return None


def _utf_8(seen: Seen, _: Words, __: Context) -> str | None:
    answered(seen)
    if not seen.media_type.endswith("json") or not seen.body:
        raise UnexercisedError("no JSON came")
    if seen.body.startswith((b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")):
        return "the body begins with a byte order mark"
    try:
        seen.body.decode("utf-8")
    except UnicodeDecodeError as error:
        return f"the body is not UTF-8: {error}"
    return None


def _unique_members(seen: Seen, _: Words, __: Context) -> str | None:
    twice: list[str] = []

    def read(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        names = [name for name, _ in pairs]
        twice.extend(name for name in set(names) if names.count(name) > 1)
        return dict(pairs)

    answered(seen)
    try:
        json.loads(seen.body, object_pairs_hook=read)
    except ValueError as error:
        raise UnexercisedError(f"no JSON came: {error}") from None
    return f"{twice[0]!r} stands twice in one object" if twice else None


def _within(seen: Seen, words: Words, _: Context) -> str | None:
    # Time comes first: what came too late is often cut off and no answer at all.
    if seen.seconds > words["seconds"]:
        return f"{seen.seconds:.1f} s for {len(seen.body)} bytes; {seen.summary}"
    answered(seen)
    return None


def _of_capabilities(seen: Seen) -> Mapping[str, Any]:
    if not isinstance(seen.document, dict):
        raise UnexercisedError("there are no capabilities")
    return seen.document


def _version(seen: Seen, _: Words, __: Context) -> str | None:
    stated = _of_capabilities(seen).get("specification")
    if isinstance(stated, str) and _VERSION.fullmatch(stated):
        return None
    return f"specification is {stated!r}"


def _roles(seen: Seen, _: Words, context: Context) -> str | None:
    stated = _of_capabilities(seen).get("roles")
    if isinstance(stated, list) and context.role in stated:
        return None
    return f"roles is {stated!r}; {context.role} is not in it"


def _name(seen: Seen, _: Words, __: Context) -> str | None:
    stated = _of_capabilities(seen).get("name")
    return None if isinstance(stated, str) and stated.strip() else f"name is {stated!r}"


def _own_members(seen: Seen, _: Words, __: Context) -> str | None:
    document = _of_capabilities(seen)
    if document.get("specification") != VERSION:
        raise UnexercisedError(f"only version {VERSION} is known member by member")
    strange = [name for name in document if name not in _CAPABILITIES and not name.startswith("x_")]
    return f"member {strange[0]!r} is its own and has no prefix x_" if strange else None


SHARED: Mapping[str, Check] = MappingProxyType(
    {
        "status": _status,
        "taken": _taken,
        "status_400_or_above": _below_400,
        "json_object": _json_object,
        "document_status": _document_status,
        "no_redirect": _no_redirect,
        "problem_document": _problem,
        "utf_8_without_mark": _utf_8,
        "within": _within,
        "members_once": _unique_members,
        "version": _version,
        "roles": _roles,
        "name": _name,
        "own_members": _own_members,
    }
)
