"""Checks on the documents of a provider."""

import math
import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from types import MappingProxyType
from typing import Any

from loomwright.conformance.checks import Check, Context, Words, answered
from loomwright.conformance.report import UnexercisedError
from loomwright.exchange import Seen
from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.faults import DocumentError
from loomwright.pricing.members import DECIMAL_PATTERN, TEXT_LIMIT, TEXT_PATTERN
from loomwright.providers.provided_book import LABOUR_MEMBERS, TAX_MEMBERS
from loomwright.providers.provider import KINDS

# Kind of document -> members that it has besides its version.
MEMBERS: Mapping[str, Mapping[str, type]] = MappingProxyType(
    {
        "price_book": {"price_book": dict},
        "labour_rates": {"currency": str, "labour": dict},
        "tax_rules": {"tax_rules": dict},
        "stock": {"as_of": str, "stock": list},
        "mapping": {},
    }
)
_MAPPED = ("parts", "tax_categories")
FUTURE = timedelta(minutes=5)
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,63}", re.ASCII)
_DECIMAL = re.compile(DECIMAL_PATTERN, re.ASCII)
_TEXT = re.compile(TEXT_PATTERN)
_RFC_3339 = re.compile(
    r"\d{4}-\d{2}-\d{2}[Tt ]\d{2}:\d{2}:\d{2}(\.\d+)?([Zz]|[+-]\d{2}:\d{2})", re.ASCII
)


def _served(seen: Seen) -> Mapping[str, Any]:
    """Return the document, or say that there is none to judge."""
    if seen.error or seen.status != 200 or not isinstance(seen.document, dict):
        raise UnexercisedError(f"no document came: {seen.summary}")
    document: Mapping[str, Any] = seen.document
    return document


def _document(seen: Seen, words: Words, _: Context) -> str | None:
    if seen.status != 200 or seen.error:
        raise UnexercisedError(f"no document came: {seen.summary}")
    if not isinstance(seen.document, dict):
        return "what came is no JSON object"
    for name, kind in MEMBERS[words["kind"]].items():
        if not isinstance(seen.document.get(name), kind):
            return f"{words['kind']} has no {name} that is {kind.__name__}"
    if words["kind"] == "mapping":
        lists = [seen.document[name] for name in _MAPPED if name in seen.document]
        if not lists or not all(isinstance(each, list) for each in lists):
            return f"mapping has no {' or '.join(_MAPPED)} that is list"
    return None


def _is_served(seen: Seen, words: Words, _: Context) -> str | None:
    return None if seen.status == 200 else f"{words['kind']}: {seen.summary}"


def _is_not_served(seen: Seen, words: Words, _: Context) -> str | None:
    return f"{words['kind']} is served" if seen.status == 200 else None


def _same_version(seen: Seen, _: Words, context: Context) -> str | None:
    stated, expected = _served(seen).get("specification"), context.capabilities.get("specification")
    return None if stated == expected else f"{stated!r}; capabilities say {expected!r}"


def _serves_known(seen: Seen, _: Words, __: Context) -> str | None:
    stated = _served(seen).get("serves")
    if not isinstance(stated, list):
        return f"serves is {stated!r}"
    strange = [kind for kind in stated if kind not in KINDS]
    if strange:
        return f"serves has {strange[0]!r}"
    return "serves has a kind twice" if len(set(stated)) < len(stated) else None


def _names(seen: Seen, _: Words, __: Context) -> str | None:
    stated = _served(seen).get("price_books")
    if not isinstance(stated, list):
        return f"price_books is {stated!r}"
    for name in stated:
        if not isinstance(name, str) or not _NAME.fullmatch(name):
            return f"price_books has {name!r}"
    return "price_books has a name twice" if len(set(stated)) < len(stated) else None


def _unknown(seen: Seen, _: Words, __: Context) -> str | None:
    return None if seen.status == 404 and not seen.error else seen.summary


def _book_faults(document: object) -> str | None:
    try:
        price_book_from_document(document)
    except DocumentError as error:
        fault = error.faults[0]
        return f"{len(error.faults)} faults, first {fault.pointer or '/'}: {fault.message}"
    return None


def _price_book(seen: Seen, _: Words, __: Context) -> str | None:
    return _book_faults(_served(seen).get("price_book"))


def _sound_book(context: Context) -> Mapping[str, Any]:
    if not context.book or _book_faults(context.book) is not None:
        raise UnexercisedError("there is no price book without fault to judge it beside")
    return context.book


def _replacing(members: object, permitted: tuple[str, ...], book: Mapping[str, Any]) -> str | None:
    if not isinstance(members, dict):
        raise UnexercisedError("there are no members to judge")
    strange = [name for name in members if name not in permitted]
    if strange:
        return f"{strange[0]!r} is none of {', '.join(permitted)}"
    return _book_faults({**book, **members})


def _labour_rates(seen: Seen, _: Words, context: Context) -> str | None:
    document, book = _served(seen), _sound_book(context)
    if document.get("currency") != book["currency"]:
        return f"currency {document.get('currency')!r}; that of the book is {book['currency']!r}"
    return _replacing(document.get("labour"), LABOUR_MEMBERS, book)


def _tax_rules(seen: Seen, _: Words, context: Context) -> str | None:
    return _replacing(_served(seen).get("tax_rules"), TAX_MEMBERS, _sound_book(context))


def _entries(seen: Seen, *names: str) -> Sequence[Mapping[str, Any]]:
    """Return the entries of lists of the document that are objects."""
    document = _served(seen)
    lists = [document[name] for name in names if isinstance(document.get(name), list)]
    found = [entry for each in lists for entry in each if isinstance(entry, dict)]
    if not found:
        raise UnexercisedError(f"there are no entries in {' or '.join(names)}")
    return found


def _quantities(seen: Seen, _: Words, __: Context) -> str | None:
    for entry in _entries(seen, "stock"):
        quantity = entry.get("quantity")
        if not isinstance(quantity, str) or not _DECIMAL.fullmatch(quantity):
            return f"quantity {quantity!r} of {_key(entry)!r}"
    return None


def _time(seen: Seen) -> datetime | None:
    stated = _served(seen).get("as_of")
    if not isinstance(stated, str) or not _RFC_3339.fullmatch(stated):
        return None
    try:
        return datetime.fromisoformat(stated.upper())
    except ValueError:
        return None


def _as_of(seen: Seen, _: Words, __: Context) -> str | None:
    return f"as_of is {_served(seen).get('as_of')!r}" if _time(seen) is None else None


def _not_future(seen: Seen, _: Words, __: Context) -> str | None:
    stated = _time(seen)
    if stated is None:
        raise UnexercisedError("there is no time to judge")
    now = datetime.now(UTC)
    return (
        f"as_of is {stated}, and now is {now:%Y-%m-%dT%H:%M:%SZ}" if stated > now + FUTURE else None
    )


def _key(entry: Mapping[str, Any]) -> tuple[str, Any] | None:
    """Return the kind and the key that an entry names, if it names exactly one."""
    named = [(kind, entry[kind]) for kind in ("part", "kit", "tax_category") if kind in entry]
    return named[0] if len(named) == 1 and isinstance(named[0][1], str) else None


def _known_keys(book: Mapping[str, Any]) -> set[tuple[str, Any]]:
    lists = {"part": "parts", "kit": "kits", "tax_category": "tax_categories"}
    known = {
        (kind, entry.get("key"))
        for kind, name in lists.items()
        for entry in book.get(name, ())
        if isinstance(entry, dict)
    }
    # A book without tax categories has one of which every part is by default.
    return known if book.get("tax_categories") else {*known, ("tax_category", "standard")}


def _keys_of_book(entries: Sequence[Mapping[str, Any]], known: set[tuple[str, Any]]) -> str | None:
    met: set[tuple[str, Any]] = set()
    for entry in entries:
        key = _key(entry)
        if key is None:
            return f"an entry names not exactly one thing: {dict(entry)!r}"
        if key not in known:
            return f"the price book has no {key[0]} {key[1]!r}"
        if key in met:
            return f"{key[0]} {key[1]!r} stands twice"
        met.add(key)
    return None


def _stock_keys(seen: Seen, _: Words, context: Context) -> str | None:
    known = {key for key in _known_keys(context.book) if key[0] != "tax_category"}
    return _keys_of_book(_entries(seen, "stock"), known)


def _mapping_keys(seen: Seen, _: Words, context: Context) -> str | None:
    known = _known_keys(context.book) | _categories_of_rules(context)
    return _keys_of_book(_entries(seen, *_MAPPED), known)


def _categories_of_rules(context: Context) -> set[tuple[str, Any]]:
    """Return the tax categories that separate tax rules bring, where they are served."""
    rules = context.tax_rules.get("tax_categories", ())
    return {("tax_category", entry.get("key")) for entry in rules if isinstance(entry, dict)}


def _mapping_texts(seen: Seen, _: Words, __: Context) -> str | None:
    for entry in _entries(seen, *_MAPPED):
        name = "shop_tax_code" if "tax_category" in entry else "shop_part_number"
        text = entry.get(name)
        if not isinstance(text, str) or len(text) > TEXT_LIMIT or not _TEXT.fullmatch(text):
            return f"{name} of {_key(entry)!r} is {text!r}"
    return None


def _mapping_complete(seen: Seen, _: Words, context: Context) -> str | None:
    mapped = {_key(entry) for entry in _entries(seen, *_MAPPED)}
    missing = sorted(key for kind, key in _known_keys(context.book) - mapped if kind != "kit")
    return f"{len(missing)} are not mapped, first {missing[0]!r}" if missing else None


def _strong_etag(seen: Seen, _: Words, __: Context) -> str | None:
    etag = answered(seen).headers.get("etag", "")
    return None if re.fullmatch(r'"[^"]*"', etag) else f"ETag is {etag or 'missing'}"


def _not_modified(seen: Seen, _: Words, __: Context) -> str | None:
    if answered(seen).status != 304:
        return f"{seen.summary} to the current ETag; 304 is right"
    return f"304 with a body of {len(seen.body)} bytes" if seen.body else None


def _same_tag_same_bytes(seen: Seen, _: Words, context: Context) -> str | None:
    etag = answered(seen).headers.get("etag", "")
    if not etag.startswith('"'):
        raise UnexercisedError("no strong ETag is sent")
    for earlier in context.earlier:
        if earlier.headers.get("etag") == etag and earlier.body != seen.body:
            return f"two different bodies have the ETag {etag}"
    return None


def _at_most(seen: Seen, words: Words, _: Context) -> str | None:
    size = len(answered(seen).body)
    return f"{size} bytes" if size > words["bytes"] else None


def _plain(value: Any, place: str = "") -> str | None:
    """Return where a value is not what JSON can express, by its exact type."""
    if type(value) is dict:
        for name in value:
            if type(name) is not str:
                return f"{place or '/'} has the key {name!r}"
        parts = list(value.items())
    elif type(value) is list:
        parts = list(enumerate(value))
    else:
        finite = type(value) is float and math.isfinite(value)
        plain = value is None or finite or type(value) in (str, bool, int)
        return None if plain else f"{place or '/'} is {value!r}"
    faults = (_plain(entry, f"{place}/{name}") for name, entry in parts)
    return next(filter(None, faults), None)


def _plain_values(seen: Seen, _: Words, __: Context) -> str | None:
    if answered(seen).value is None:
        raise UnexercisedError("no document came")
    return _plain(seen.value)


def _equal_at_once(seen: Seen, _: Words, context: Context) -> str | None:
    if seen.error:
        return seen.error
    alike = seen.value == context.earlier[-1].value
    return None if alike else "calls at once do not return what one call does"


def _unaffected(seen: Seen, _: Words, context: Context) -> str | None:
    """Compare with a copy of the document before; the runner emptied the document itself."""
    if seen.error:
        return seen.error
    return None if seen.value == context.kept else "a change to what was returned changed the next"


PROVIDER_CHECKS: Mapping[str, Check] = MappingProxyType(
    {
        "document": _document,
        "is_served": _is_served,
        "is_not_served": _is_not_served,
        "same_version": _same_version,
        "serves_known": _serves_known,
        "price_book_names": _names,
        "unknown_name": _unknown,
        "price_book": _price_book,
        "labour_rates": _labour_rates,
        "tax_rules": _tax_rules,
        "quantities": _quantities,
        "as_of": _as_of,
        "as_of_not_future": _not_future,
        "stock_keys": _stock_keys,
        "mapping_keys": _mapping_keys,
        "mapping_texts": _mapping_texts,
        "mapping_complete": _mapping_complete,
        "strong_etag": _strong_etag,
        "not_modified": _not_modified,
        "same_tag_same_bytes": _same_tag_same_bytes,
        "at_most": _at_most,
        "plain_values": _plain_values,
        "equal_at_once": _equal_at_once,
        "unaffected": _unaffected,
    }
)
