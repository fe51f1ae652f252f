"""Price books drawn from the rules of their members, for laws that hold for any book."""

from decimal import Decimal
from typing import Any

from hypothesis import strategies as st

from loomwright.pricing.book_members import ATTRIBUTES, BOOK
from loomwright.pricing.kinds import KINDS
from loomwright.pricing.members import (
    Choice,
    DateText,
    DecimalText,
    Member,
    Number,
    Record,
    Records,
    Text,
    Texts,
    Truth,
    Whole,
    is_required,
)

Document = dict[str, Any]
# What CSV and the lists within its cells could stumble over, beside letters and figures.
ALPHABET = "aZ09 ,;\"'|.-/~äß€漢\u00a0"
TEXTS = st.text(ALPHABET, min_size=1, max_size=8).filter(lambda text: text[0] != " ")
MOST = 3


def decimals(lower: Decimal, upper: Decimal) -> st.SearchStrategy[str]:
    """Decimal texts within bounds, some with needless zeros."""
    most = min(upper, Decimal(999_999_999))
    # Narrow bounds have no room for a number with few decimals.
    places = st.integers(0 if most - lower >= 1 else 3, 6)
    return places.flatmap(
        lambda count: st.decimals(
            lower.quantize(Decimal(1).scaleb(-count), "ROUND_CEILING"), most, places=count
        )
    ).map(lambda value: format(value, "f"))


def values(member: Member) -> st.SearchStrategy[Any]:  # noqa: PLR0911  one for each form
    """JSON values of a member; references between members are set right later."""
    match member:
        case Text():
            return TEXTS
        case Choice():
            return st.sampled_from(member.choices)
        case Texts():
            return st.lists(TEXTS, min_size=member.least, max_size=MOST, unique=True)
        case DateText():
            return st.dates().map(str)
        case DecimalText():
            return decimals(member.lower, member.upper)
        case Number():
            whole = st.integers(int(member.lower), int(member.upper))
            return whole | whole.map(float) | st.floats(member.lower, member.upper)
        case Whole():
            return st.integers(member.lower, member.upper)
        case Truth():
            return st.booleans()
        case Record():
            return objects(member.members)
        case Records():
            least = min(member.least, 1)
            return st.lists(objects(member.members), min_size=least, max_size=MOST)
    raise TypeError(f"no values for {type(member).__name__}")


@st.composite
def objects(draw: st.DrawFn, members: dict[str, Member]) -> Document:
    """An object with what it must have and some of the rest."""
    return {
        name: draw(values(member))
        for name, member in members.items()
        if is_required(member) or draw(st.booleans())
    }


@st.composite
def books(draw: st.DrawFn) -> Document:
    """A price book without faults: drawn by the rules, then its references set right."""
    book: Document = draw(objects(dict(BOOK)))
    taxes = _with_keys(draw, book.get("taxes", []))
    categories = _with_keys(draw, book.get("tax_categories", []))
    for item in book.get("tax_categories", []):
        item["taxes"] = draw(st.lists(st.sampled_from(taxes), unique=True)) if taxes else []
    _with_keys(draw, book.get("difficulty", []))
    parts, kits = book.get("parts", []), book.get("kits", [])
    keys = _with_keys(draw, [*parts, *kits])[: len(parts)]
    if not parts:
        kits = book.pop("kits", [])
    for part in parts:
        kind = KINDS[part["kind"]]
        part["attributes"] = draw(objects(dict(ATTRIBUTES[kind.name])))
        part["unit"] = draw(st.sampled_from(kind.units))
        _rise(part, "price_breaks", "from_quantity")
        _rise(part, "packs", "quantity")
    for kit in kits:
        held = draw(st.lists(st.sampled_from(keys), min_size=1, unique=True)) if keys else []
        kit["contents"] = [
            {"part": key, "quantity": draw(decimals(Decimal(1), Decimal(9)))} for key in held
        ]
    labour = book.get("labour", [])
    _with_keys(draw, labour)
    for item in (*parts, *kits, *labour):
        item.pop("tax_category", None)
        if categories:
            item["tax_category"] = draw(st.sampled_from(categories))
    for item in (book, *parts, *kits):
        if item.get("valid_until", "9999") < item.get("valid_from", "0000"):
            del item["valid_until"]
    return book


def _with_keys(draw: st.DrawFn, items: list[Document]) -> list[str]:
    keys = draw(st.lists(TEXTS, min_size=len(items), max_size=len(items), unique=True))
    for item, key in zip(items, keys, strict=True):
        item["key"] = key
    return keys


def _rise(part: Document, name: str, by: str) -> None:
    if name in part:
        rising = {Decimal(item[by]): item for item in part[name]}
        part[name] = [rising[quantity] for quantity in sorted(rising)]
