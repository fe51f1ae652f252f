"""Packages and vehicles of right form drawn from their rules, whatever their sense."""

from collections.abc import Callable
from typing import Any

from hypothesis import strategies as st

from loomwright.batch.pair import package_record, vehicle_record
from loomwright.pricing.members import (
    Choice,
    Choices,
    DateText,
    DecimalText,
    Member,
    Number,
    NumberChoice,
    Record,
    Records,
    Text,
    Texts,
    Truth,
    Whole,
    is_required,
)

Document = dict[str, Any]
# Texts that dotted columns, CSV, lists of texts or JSON might stumble over.
NASTY = (
    *("a", "b c", "a.b", "~", "~1", "0", "2024", "007", "1e3", "true", "[]", "{}", "null", '"'),
    *("'=1", ";", "a,b", "\u00e4\u00b2", "\U0001f600", "=1+2", "16 ft", "x  "),
)
texts = st.sampled_from(NASTY) | st.text(
    st.sampled_from(list("ab.~ \"',;=10")), min_size=1, max_size=6
).filter(lambda text: text[0] != " ")


def numbers(rule: Number) -> st.SearchStrategy[Any]:
    plain = st.floats(rule.lower, rule.upper) | st.sampled_from((rule.lower, rule.upper))
    if rule.quantity == "length":
        return plain | st.sampled_from(("16 ft", "2.5 m", "30cm"))
    return plain


def lists(rule: Records) -> st.SearchStrategy[Any]:
    unique = {"unique_by": lambda item: item[rule.unique]} if rule.unique else {}
    most = max(rule.least, 2)
    return st.lists(objects(rule.members), min_size=rule.least, max_size=most, **unique)


def choices(rule: Choices | Texts) -> st.SearchStrategy[Any]:
    items = st.sampled_from(rule.choices) if isinstance(rule, Choices) else texts
    return st.lists(items, min_size=rule.least, max_size=max(rule.least, 3), unique=True)


VALUES: dict[type[Member], Callable[[Any], st.SearchStrategy[Any]]] = {
    Record: lambda rule: objects(rule.members),
    Records: lists,
    Text: lambda _: texts,
    Choice: lambda rule: st.sampled_from(rule.choices),
    Choices: choices,
    Texts: choices,
    Number: numbers,
    NumberChoice: lambda rule: st.sampled_from([*rule.numbers, f"{rule.numbers[0]} {rule.unit}"]),
    Whole: lambda rule: st.integers(rule.lower, rule.upper),
    Truth: lambda _: st.booleans(),
    DateText: lambda _: st.dates().map(lambda day: day.isoformat()),
    DecimalText: lambda rule: st.decimals(rule.lower, rule.upper, places=2).map(
        # Zero may be drawn below itself.
        lambda amount: f"{abs(amount):f}"
    ),
}


def values(rule: Member) -> st.SearchStrategy[Any]:
    """Values of right form of a member."""
    return VALUES[type(rule)](rule)


@st.composite
def objects(draw: st.DrawFn, members: dict[str, Member]) -> Document:
    """Objects with all required members and a few others."""
    others = [name for name, rule in members.items() if not is_required(rule)]
    chosen = draw(st.lists(st.sampled_from(others), max_size=3, unique=True)) if others else []
    names = [name for name in members if name not in others or name in chosen]
    return {name: draw(values(members[name])) for name in draw(st.permutations(names))}


packages = st.deferred(lambda: objects(package_record().members))
vehicles = st.deferred(lambda: objects(vehicle_record().members))
