"""What a shop would want to know about its price book before it quotes from it.

Each check looks at the book alone and returns findings; those on its prices are in ``price_check``.
What given jobs need and the book lacks is found by pricing them, in ``jobs.checked_book``.
"""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TypeVar

from loomwright.pricing.kinds import KINDS
from loomwright.pricing.lines import KIT, LABOUR
from loomwright.pricing.lines import plain_number as plain
from loomwright.pricing.price_book import Kit, Part, PriceBook, Validity

# The book itself, where a finding is of a kind of its own.
BOOK = "book"
WARNED_DAYS = 30
# Conductors of these sizes end in a part of this kind, unless the equipment takes them bare.
_CONDUCTOR, _TERMINAL = "conductor", "ring_terminal"
_FUSE, _HOLDER, _BLOCK = "fuse", "fuse_holder", "distribution_block"
_SHOWN = 12

FINDINGS = (
    "not_yet_valid",
    "expired",
    "ends_soon",
    "holds_stale_part",
    "same_attributes",
    "same_description",
    "unit_price_below_cost",
    "price_break_below_cost",
    "pack_below_cost",
    "kit_below_cost",
    "labour_below_cost",
    "price_break_dearer",
    "pack_dearer",
    "kit_dearer",
    "kind_without_parts",
    "conductor_without_terminal",
    "fuse_without_holder",
    "holder_without_fuse",
    "unused",
)


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing worth a look: what was found, of which kind, which keys it is about, in words."""

    finding: str
    kind: str
    keys: tuple[str, ...]
    message: str


Sold = Part | Kit
_Sold = TypeVar("_Sold", bound=Sold)


def all_parts(book: PriceBook) -> list[Part]:
    """Return all parts of a book, by kind."""
    return [part for of_kind in book.parts.values() for part in of_kind]


def kind_of(sold: Sold) -> str:
    """Return the kind of line that something is sold on."""
    return sold.kind if isinstance(sold, Part) else KIT


def stale_findings(book: PriceBook, day: date) -> list[Finding]:
    """Return what does not hold on a day or ends within ``WARNED_DAYS`` days of it.

    Parameters
    ----------
    book
        Price book.
    day
        The day.

    Returns
    -------
    list of Finding
        The book first, then parts and kits; a kit also where a part that it holds does not hold.
    """
    found = list(_staleness(book.validity, day, BOOK, book.name))
    sold: list[Sold] = [*all_parts(book), *book.kits]
    for each in sold:
        found += _staleness(each.validity, day, kind_of(each), each.key)
    holding = {part.key for part in all_parts(book.on_day(day))}
    for kit in book.kits:
        lacking = tuple(key for key in kit.contents if key not in holding)
        if lacking:
            message = f"The kit {kit.key} holds what is not sold on that day: {_and(lacking)}."
            found.append(Finding("holds_stale_part", KIT, (kit.key, *lacking), message))
    return found


def _staleness(validity: Validity, day: date, kind: str, key: str) -> Iterator[Finding]:
    first, last = validity.first, validity.last
    if first is not None and day < first:
        yield Finding("not_yet_valid", kind, (key,), f"{key} holds from {first} only.")
    elif last is not None and last < day:
        yield Finding("expired", kind, (key,), f"{key} held until {last}.")
    elif last is not None and last <= day + timedelta(days=WARNED_DAYS):
        yield Finding("ends_soon", kind, (key,), f"{key} holds until {last} only.")


def duplicated_findings(book: PriceBook) -> list[Finding]:
    """Return parts that stand in each other's place, and articles that read alike.

    Prices that follow one another, of which no two hold on one day, are no duplicates.

    Parameters
    ----------
    book
        Price book.

    Returns
    -------
    list of Finding
        Keys in the order in which the parts are taken.
    """
    found: list[Finding] = []
    parts = all_parts(book)
    told: dict[str, int] = {}
    for same in _groups((part.kind, part.unit, *sorted(part.attributes.items())) for part in parts):
        alike = _overlapping([parts[place] for place in same])
        together = sorted(alike, key=lambda part: (part.unit_price, part.key))
        if together:
            told |= dict.fromkeys((part.key for part in together), len(found))
            found.append(_same_attributes(together))
    sold: list[Sold] = [*parts, *book.kits]
    for same in _groups(" ".join(each.description.casefold().split()) for each in sold):
        reading_alike = _overlapping([sold[place] for place in same])
        keys = tuple(each.key for each in reading_alike)
        # What one finding names as duplicates need not be named again for its words.
        groups = {told.get(key, -1) for key in keys}
        if keys and (len(groups) > 1 or -1 in groups):
            first = reading_alike[0]
            message = f"{_and(keys)} read alike: {first.description!r}."
            found.append(Finding("same_description", kind_of(first), keys, message))
    return found


def _groups(identities: Iterable[object]) -> list[list[int]]:
    """Return the places of equal values, for each value that stands more than once."""
    places: dict[object, list[int]] = {}
    for place, identity in enumerate(identities):
        places.setdefault(identity, []).append(place)
    return [group for group in places.values() if len(group) > 1]


def _overlapping(sold: Sequence[_Sold]) -> list[_Sold]:
    """Return those that hold on some day together with another, in the order given."""
    order = sorted(range(len(sold)), key=lambda place: _first(sold[place].validity))
    meeting: set[int] = set()
    latest: int | None = None
    # In order of their first day, each can only meet what came before and lasts longest.
    for place in order:
        if latest is not None and _first(sold[place].validity) <= _last(sold[latest].validity):
            meeting |= {place, latest}
        if latest is None or _last(sold[place].validity) > _last(sold[latest].validity):
            latest = place
    return [each for place, each in enumerate(sold) if place in meeting]


def _first(validity: Validity) -> date:
    return validity.first or date.min


def _last(validity: Validity) -> date:
    return validity.last or date.max


def _same_attributes(parts: Sequence[Part]) -> Finding:
    """Return the finding of parts that serve the same needs, the one taken first in front."""
    taken, other = parts[0], parts[1]
    keys = tuple(part.key for part in parts)
    if taken.unit_price == other.unit_price:
        why = f"at the same price of {plain(taken.unit_price)} its key comes first"
    else:
        why = f"{plain(taken.unit_price)} against {plain(other.unit_price)} a unit"
    message = f"{_and(keys)} serve the same needs; {taken.key} is taken: {why}."
    if any(part.packs or part.price_breaks for part in parts):
        message += " Packs and price breaks may make another cheaper."
    return Finding("same_attributes", taken.kind, keys, message)


def incomplete_range_findings(book: PriceBook) -> list[Finding]:
    """Return what the range of parts lacks whatever the job.

    Parameters
    ----------
    book
        Price book.

    Returns
    -------
    list of Finding
        Kinds without a part, conductors without terminals, fuses without holders and holders
        without fuses; what lacks a whole kind is told once.
    """
    found: list[Finding] = []
    empty = tuple(kind for kind in KINDS if not book.parts[kind])
    if empty:
        message = f"The book has no part of these kinds: {_and(empty)}."
        found.append(Finding("kind_without_parts", BOOK, empty, message))
    if _TERMINAL not in empty:
        found += _unmatched(
            book, (_CONDUCTOR, ("series", "size")), (_TERMINAL,), "conductor_without_terminal"
        )
    if _HOLDER not in empty:
        found += _unmatched(book, (_FUSE, ("fuse_type",)), (_HOLDER, _BLOCK), "fuse_without_holder")
    if _FUSE not in empty:
        found += _unmatched(book, (_HOLDER, ("fuse_type",)), (_FUSE,), "holder_without_fuse")
    return found


def _unmatched(
    book: PriceBook, offered: tuple[str, tuple[str, ...]], kinds: Sequence[str], finding: str
) -> list[Finding]:
    """Return parts of a kind with which no part of the other kinds shares the attributes."""
    kind, names = offered
    matched = {
        tuple(part.attributes[name] for name in names)
        for other in kinds
        for part in book.parts[other]
    }
    lacking: dict[tuple[object, ...], list[str]] = {}
    for part in book.parts[kind]:
        identity = tuple(part.attributes[name] for name in names)
        if identity not in matched:
            lacking.setdefault(identity, []).append(part.key)
    words = KINDS[kinds[0]].words
    return [
        Finding(
            finding,
            kind,
            tuple(keys),
            f"No {words} fits {' '.join(map(str, identity))}: {_and(keys)}.",
        )
        for identity, keys in lacking.items()
    ]


def unused_findings(book: PriceBook, used: Collection[str]) -> list[Finding]:
    """Return what given jobs do not use, by kind.

    Parameters
    ----------
    book
        Price book.
    used
        Keys on the lines of their bills.

    Returns
    -------
    list of Finding
        One for each kind that has any.
    """
    keys: dict[str, list[str]] = {}
    sold: list[Sold] = [*all_parts(book), *book.kits]
    for kind, key in [
        *((kind_of(each), each.key) for each in sold),
        *((LABOUR, key) for key in book.labour),
    ]:
        if key not in used:
            keys.setdefault(kind, []).append(key)
    return [
        Finding("unused", kind, tuple(unused), f"No job uses these: {_and(unused)}.")
        for kind, unused in keys.items()
    ]


def _and(keys: Sequence[str]) -> str:
    """Return keys as they are read, the first few where there are many."""
    shown = ", ".join(keys[:_SHOWN])
    return shown if len(keys) <= _SHOWN else f"{shown} and {len(keys) - _SHOWN} more"
