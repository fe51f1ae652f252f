"""Reading of single members: what each rule takes, what it refuses, and what stands in."""

import math
import re
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from loomwright.pricing.faults import DocumentError, Fault
from loomwright.pricing.members import (
    TEXT_LIMIT,
    TEXT_PATTERN,
    Choice,
    Choices,
    DateText,
    DecimalText,
    InstantText,
    Member,
    Number,
    NumberChoice,
    Record,
    Records,
    Text,
    Texts,
    Truth,
    Whole,
)
from loomwright.pricing.reading import ObjectReader, is_text

BERLIN = timezone(timedelta(hours=2))
ITEM: dict[str, Member] = {"key": Text(), "size": Whole(1, 9, required=False)}
RULES: dict[str, Member] = {
    "text": Text(required=False),
    "needed_text": Text(),
    "named_text": Text(default="as ever"),
    "choice": Choice(("red", "blue")),
    "worded_choice": Choice(("red", "blue"), words="Say a colour."),
    "named_choice": Choice(("red", "blue"), default="blue"),
    "choices": Choices(("a", "b", "c"), 1, 2, required=False),
    "needed_choices": Choices(("a", "b", "c"), 1, 2),
    "texts": Texts(1, 2, required=False),
    "needed_texts": Texts(1, 2),
    "day": DateText(required=False),
    "needed_day": DateText(),
    "moment": InstantText(required=False),
    "needed_moment": InstantText(),
    "voltage": NumberChoice((12, 24), "V", required=False),
    "needed_voltage": NumberChoice((12, 24), "V"),
    "price": DecimalText(Decimal(2), Decimal(5), required=False),
    "needed_price": DecimalText(Decimal(2), Decimal(5)),
    "named_price": DecimalText(Decimal(2), Decimal(5), Decimal(3)),
    "plain": Number(2.0, 100.0, required=False),
    "needed_number": Number(2.0, 100.0),
    "named_number": Number(2.0, 100.0, default=3.0),
    "length": Number(2.0, 100.0, "m", "length", required=False),
    "whole": Whole(2, 5, required=False),
    "needed_whole": Whole(2, 5),
    "named_whole": Whole(2, 5, 3),
    "truth": Truth(default=True),
    "object": Record("Item", ITEM, required=False),
    "needed_object": Record("Item", ITEM),
    "objects": Records("Item", ITEM, 0, 2, "key"),
    "needed_objects": Records("Item", ITEM, 1, 2),
}


def reader_of(
    values: object, quantity_text: Callable[[str, str], float | None] | None = None
) -> tuple[ObjectReader, list[Fault]]:
    faults: list[Fault] = []
    return ObjectReader(values, "/at", faults, RULES, quantity_text), faults


def read(method: str, member: str, value: Any) -> tuple[Any, list[str]]:
    """What a method reads of a member, and the pointers of the faults that it notes."""
    reader, faults = reader_of({member: value})
    found = getattr(reader, method)(member)
    return found, [fault.pointer for fault in faults]


TAKEN: list[tuple[str, str, Any, Any]] = [
    ("text", "text", "x", "x"),
    ("text", "text", "x" * TEXT_LIMIT, "x" * TEXT_LIMIT),
    ("text", "named_text", "other", "other"),
    ("optional_text", "text", "x", "x"),
    ("choice", "choice", "red", "red"),
    ("choice", "named_choice", "red", "red"),
    ("choices", "choices", ["c"], ("c",)),
    ("choices", "choices", ("c", "a"), ("c", "a")),
    ("texts", "texts", ["x"], ("x",)),
    ("texts", "texts", ("x", "y"), ("x", "y")),
    ("date", "day", "2028-02-29", date(2028, 2, 29)),
    ("instant", "moment", "2031-04-30T08:00:00+02:00", datetime(2031, 4, 30, 8, tzinfo=BERLIN)),
    (
        "instant",
        "moment",
        "2028-02-29T23:59:59.5Z",
        datetime(2028, 2, 29, 23, 59, 59, 500_000, tzinfo=UTC),
    ),
    ("instant", "moment", "2028-02-29T23:59:59Z", datetime(2028, 2, 29, 23, 59, 59, tzinfo=UTC)),
    ("number_choice", "voltage", 12, 12.0),
    ("number_choice", "voltage", 24.0, 24.0),
    ("number_choice", "voltage", "24 V", 24.0),
    ("decimal", "price", "2", Decimal(2)),
    ("decimal", "price", "5.000000", Decimal(5)),
    ("decimal", "named_price", "4.5", Decimal("4.5")),
    ("optional_decimal", "price", "2.25", Decimal("2.25")),
    ("number", "plain", 2, 2.0),
    ("number", "plain", 100.0, 100.0),
    ("number", "named_number", 50, 50.0),
    ("optional_number", "plain", 7, 7.0),
    ("whole", "whole", 2, 2),
    ("whole", "whole", 5.0, 5),
    ("whole", "named_whole", 4, 4),
    ("optional_whole", "whole", 4, 4),
    ("truth", "truth", False, False),
]


@pytest.mark.parametrize(("method", "member", "value", "expected"), TAKEN)
def test_what_a_rule_allows_is_taken(method: str, member: str, value: Any, expected: Any) -> None:
    found, pointers = read(method, member, value)
    assert pointers == []
    assert found == expected
    assert type(found) is type(expected)


REFUSED: list[tuple[str, str, Any, list[str]]] = [
    ("text", "text", "", ["/at/text"]),
    ("text", "text", " x", ["/at/text"]),
    ("text", "text", "x" * (TEXT_LIMIT + 1), ["/at/text"]),
    ("text", "text", 5, ["/at/text"]),
    ("text", "named_text", None, ["/at/named_text"]),
    ("choice", "choice", "green", ["/at/choice"]),
    ("choice", "choice", ["red"], ["/at/choice"]),
    ("choice", "named_choice", "green", ["/at/named_choice"]),
    ("choices", "choices", [], ["/at/choices"]),
    ("choices", "choices", ["a", "b", "c"], ["/at/choices"]),
    ("choices", "choices", "ab", ["/at/choices"]),
    ("choices", "choices", ["d", 5], ["/at/choices/0", "/at/choices/1"]),
    ("choices", "choices", ["b", "b"], ["/at/choices/1"]),
    ("texts", "texts", [], ["/at/texts"]),
    ("texts", "texts", ["x", "y", "z"], ["/at/texts"]),
    ("texts", "texts", "xy", ["/at/texts"]),
    ("texts", "texts", [" ", 5], ["/at/texts/0", "/at/texts/1"]),
    ("texts", "texts", ["x", "x"], ["/at/texts/1"]),
    ("date", "day", "2027-02-29", ["/at/day"]),
    # RFC 3339 has no date without hyphens, though the library reads one.
    ("date", "day", "20270228", ["/at/day"]),
    ("date", "day", 20270228, ["/at/day"]),
    ("instant", "moment", "2031-04-30T08:00:00", ["/at/moment"]),
    ("instant", "moment", "2031-04-30 08:00:00Z", ["/at/moment"]),
    ("instant", "moment", "2031-04-30T08:00:00.Z", ["/at/moment"]),
    ("instant", "moment", "2031-04-30T08:00:00.1234567Z", ["/at/moment"]),
    ("instant", "moment", "2031-04-30T24:01:00Z", ["/at/moment"]),
    ("instant", "moment", "2031-04-30T08:00:00+24:00", ["/at/moment"]),
    ("number_choice", "voltage", 13, ["/at/voltage"]),
    ("number_choice", "voltage", "12", ["/at/voltage"]),
    ("number_choice", "voltage", "12 A", ["/at/voltage"]),
    ("decimal", "price", "1.999999", ["/at/price"]),
    ("decimal", "price", "5.000001", ["/at/price"]),
    ("decimal", "price", 3, ["/at/price"]),
    ("decimal", "price", "three", ["/at/price"]),
    ("decimal", "named_price", "x", ["/at/named_price"]),
    ("number", "plain", 1.5, ["/at/plain"]),
    ("number", "plain", 100.5, ["/at/plain"]),
    ("number", "plain", math.nan, ["/at/plain"]),
    ("number", "plain", math.inf, ["/at/plain"]),
    ("number", "plain", True, ["/at/plain"]),
    ("number", "plain", "3", ["/at/plain"]),
    ("number", "named_number", None, ["/at/named_number"]),
    ("whole", "whole", 1, ["/at/whole"]),
    ("whole", "whole", 6, ["/at/whole"]),
    ("whole", "whole", 2.5, ["/at/whole"]),
    ("whole", "whole", "3", ["/at/whole"]),
    ("whole", "whole", True, ["/at/whole"]),
    ("whole", "named_whole", None, ["/at/named_whole"]),
    ("truth", "truth", 0, ["/at/truth"]),
    ("objects", "objects", [{}, {}, {}], ["/at/objects"]),
    ("objects", "objects", "ab", ["/at/objects"]),
    ("objects", "needed_objects", [], ["/at/needed_objects"]),
    ("objects", "objects", [{"key": "a"}, {"key": "a"}], ["/at/objects/1/key"]),
    ("objects", "objects", [{"colour": 1}], ["/at/objects/0/colour"]),
]


@pytest.mark.parametrize(("method", "member", "value", "pointers"), REFUSED)
def test_what_a_rule_refuses_is_named(
    method: str, member: str, value: Any, pointers: list[str]
) -> None:
    assert read(method, member, value)[1] == pointers


ABSENT: list[tuple[str, str, Any]] = [
    ("text", "text", ""),
    ("text", "named_text", "as ever"),
    ("choice", "named_choice", "blue"),
    ("choices", "choices", ()),
    ("texts", "texts", ()),
    ("date", "day", None),
    ("instant", "moment", None),
    ("decimal", "named_price", Decimal(3)),
    ("number", "named_number", 3.0),
    ("whole", "named_whole", 3),
    ("truth", "truth", True),
    ("objects", "objects", []),
    ("optional_text", "text", None),
    ("optional_decimal", "price", None),
    ("optional_number", "plain", None),
    ("optional_whole", "whole", None),
]


@pytest.mark.parametrize(("method", "member", "expected"), ABSENT)
def test_what_may_be_absent_has_its_default(method: str, member: str, expected: Any) -> None:
    reader, faults = reader_of({})
    assert getattr(reader, method)(member) == expected
    assert faults == []


@pytest.mark.parametrize(
    ("method", "member"),
    [
        ("text", "needed_text"),
        ("choice", "choice"),
        ("choices", "needed_choices"),
        ("texts", "needed_texts"),
        ("date", "needed_day"),
        ("instant", "needed_moment"),
        ("number_choice", "needed_voltage"),
        ("decimal", "needed_price"),
        ("number", "needed_number"),
        ("whole", "needed_whole"),
        ("object", "needed_object"),
        ("objects", "needed_objects"),
    ],
)
def test_what_is_required_is_missed_once(method: str, member: str) -> None:
    reader, faults = reader_of({})
    getattr(reader, method)(member)
    assert [fault.pointer for fault in faults] == [f"/at/{member}"]
    assert faults[0].message == "Missing; it is required."


@pytest.mark.parametrize(
    ("method", "member", "value", "within"),
    [
        ("decimal", "price", "9", None),
        ("decimal", "price", 9, Decimal(2)),
        ("number", "plain", 900, 2.0),
        ("number", "plain", "x", 2.0),
        ("whole", "whole", 9, 2),
        ("truth", "truth", 5, True),
        ("choices", "choices", [], ()),
        ("texts", "texts", [], ()),
        ("objects", "objects", "x", []),
    ],
)
def test_reading_goes_on_with_a_stand_in_that_the_rule_allows(
    method: str, member: str, value: Any, within: Any
) -> None:
    found, pointers = read(method, member, value)
    assert len(pointers) == 1
    # A decimal of the right form stays as it is, so that no other fault follows from it.
    assert found == (Decimal(9) if within is None else within)


def test_a_default_of_the_caller_outweighs_that_of_the_rule() -> None:
    reader, faults = reader_of({})
    assert reader.text("named_text", "now") == "now"
    assert reader.text("needed_text", "now") == "now"
    assert reader.choice("named_choice", "red") == "red"
    assert reader.choice("choice", "red") == "red"
    assert faults == []


def test_a_choice_may_be_narrowed_by_what_stands_beside_it() -> None:
    reader, faults = reader_of({"choice": "red"})
    assert reader.choice("choice", among=("red",)) == "red"
    assert faults == []
    assert reader.choice("choice", among=("blue",)) == ""
    (fault,) = faults
    assert fault.message == "Not of what stands beside it. One of these is needed: blue."


def test_a_message_says_what_is_needed() -> None:
    reader, faults = reader_of(
        {"choice": "x", "worded_choice": "x", "plain": "x", "length": "x", "whole": 9}
    )
    reader.choice("choice")
    reader.choice("choice", among=("blue",))
    reader.choice("worded_choice")
    reader.number("plain")
    reader.number("length")
    reader.whole("whole")
    assert [fault.message for fault in faults] == [
        "One of these is needed: red, blue.",
        "One of these is needed: blue.",
        "Say a colour.",
        "A number is needed.",
        "A number in m is needed.",
        "A whole number from 2 to 5 is needed.",
    ]


def test_a_number_with_a_comma_is_told_what_to_write() -> None:
    reader, faults = reader_of({"plain": "2,5", "length": "41,25 m"})
    reader.number("plain")
    reader.number("length")
    assert [fault.message for fault in faults] == [
        "A number is needed; a comma is not read, write 2.5.",
        "A number in m is needed; a comma is not read, write 41.25 m.",
    ]


def metres(quantity: str, text: str) -> float | None:
    """A reader of lengths as a request has one: number and unit, or none."""
    assert quantity == "length"
    match = re.fullmatch(r"(\S+) m", text)
    return float(match.group(1)) if match else None


@pytest.mark.parametrize(
    ("value", "is_taken"),
    [
        (50, True),
        ("50 m", True),
        # 1e-12 of 100 m is 1e-10 m: half of it beyond a bound is a hair, twice of it is too much.
        ("100.00000000005 m", True),
        ("100.0000000002 m", False),
        ("1.99999999995 m", True),
        ("1.9999999998 m", False),
        # A number has no unit and so no hair.
        (100.00000000005, False),
        (1.99999999995, False),
        ("50", False),
        ("50 ft", False),
    ],
)
def test_text_with_a_unit_meets_the_bounds_but_for_a_hair(value: Any, is_taken: bool) -> None:
    reader, faults = reader_of({"length": value}, metres)
    reader.number("length")
    assert (faults == []) == is_taken


def test_text_is_a_quantity_only_where_the_rule_and_the_reader_know_one() -> None:
    reader, faults = reader_of({"plain": "50 m"}, metres)
    reader.number("plain")
    assert len(faults) == 1
    reader, faults = reader_of({"length": "50 m"})
    reader.number("length")
    assert len(faults) == 1


def test_objects_within_read_quantities_too() -> None:
    inner: dict[str, Member] = {"length": Number(0.0, 100.0, "m", "length")}
    rules: dict[str, Member] = {"one": Record("R", inner), "many": Records("R", inner, 1, 2)}
    faults: list[Fault] = []
    values = {"one": {"length": "5 m"}, "many": [{"length": "6 m"}]}
    reader = ObjectReader(values, "", faults, rules, metres)
    assert reader.object("one").number("length") == 5.0
    assert [item.number("length") for item in reader.objects("many")] == [6.0]
    assert faults == []


def test_an_object_reads_by_its_rule_or_by_the_rules_given() -> None:
    other: dict[str, Member] = {"colour": Text()}
    reader, faults = reader_of({"object": {"colour": "red"}})
    assert reader.object("object", other).text("colour") == "red"
    assert faults == []
    reader.object("object")
    assert [fault.pointer for fault in faults] == ["/at/object/colour"]


def test_members_of_a_missing_or_wrong_object_are_not_missed_one_by_one() -> None:
    reader, faults = reader_of({"object": 5})
    for name in ("needed_object", "object"):
        reader.object(name).text("key")
    assert [fault.pointer for fault in faults] == ["/at/needed_object", "/at/object"]


@pytest.mark.parametrize("value", [None, 5, "x", []])
def test_what_is_no_object_has_one_fault_at_itself(value: object) -> None:
    reader, faults = reader_of(value)
    reader.text("needed_text")
    assert [fault.pointer for fault in faults] == ["/at"]


def test_presence_and_plain_values_are_told() -> None:
    reader, _ = reader_of({"text": None})
    assert reader.has("text")
    assert not reader.has("day")
    assert (reader.stated("text"), reader.stated("day")) == (None, None)
    reader.fault_at("texts", 3, "odd")
    assert reader.faults == [Fault("/at/texts/3", "odd")]


def test_empty_keys_do_not_repeat_each_other() -> None:
    faults: list[Fault] = []
    reader = ObjectReader({"objects": [{"key": ""}, {"key": ""}]}, "", faults, RULES)
    readers = reader.objects("objects")
    assert faults == []
    assert [item.pointer for item in readers] == ["/objects/0", "/objects/1"]


def test_without_a_unique_member_nothing_repeats() -> None:
    assert read("objects", "needed_objects", [{"key": "a"}, {"key": "a"}])[1] == []


@pytest.mark.parametrize("count", [1, 20, 21, 30])
def test_an_error_counts_its_faults_and_lists_twenty_at_most(count: int) -> None:
    faults = [Fault(f"/{index}", "odd") for index in range(count - 1)]
    error = DocumentError("job", [Fault("", "no object"), *faults])
    listed = ["/: no object", *(f"/{index}: odd" for index in range(count - 1))][:20]
    assert str(error) == f"The job has {count} fault(s). {'; '.join(listed)}"
    assert len(error.faults) == count


def test_a_text_has_two_hundred_characters_at_most() -> None:
    assert read("text", "text", "x" * 200)[1] == []
    assert read("text", "text", "x" * 201)[1] == ["/at/text"]


@pytest.mark.parametrize(
    ("member", "value", "message"),
    [
        ("plain", 1.0, "A number from 2 to 100 is needed."),
        ("plain", True, "A number is needed."),
        ("length", 101, "A number in m from 2 to 100 is needed."),
        ("length", "1 ft", "A number in m from 2 to 100 is needed."),
        ("length", "no length", "A number in m is needed."),
    ],
)
def test_a_fault_of_a_number_names_its_bounds_where_it_is_one(member, value, message):
    reader, faults = reader_of({member: value}, lambda _, text: {"1 ft": 0.3048}.get(text))
    reader.number(member)
    assert [fault.message for fault in faults] == [message]


@given(st.text(max_size=8))
@example("10\u00a0A")
@example(" A")
@example("A\n")
def test_a_text_is_what_the_pattern_of_the_schema_says(text: str) -> None:
    assert is_text(text) is (re.fullmatch(TEXT_PATTERN, text) is not None)
