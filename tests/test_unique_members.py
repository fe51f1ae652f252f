"""Member names that stand twice, against the standard library, which hands over every pair."""

import json
from typing import Any

import orjson
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from loomwright.unique_members import (
    DEEPEST,
    MOST_NAMED,
    DuplicateMemberError,
    json_of_unique_members,
)

# What is counted, what hides it, and what a pointer writes otherwise.
NAME_CHARACTERS = st.sampled_from('a:"\\/~,{}[]u03A\n\u00e9\U0001f600 ')
TEXTS = st.text(NAME_CHARACTERS, max_size=4)
SPACES = st.text(st.sampled_from(" \t\n\r"), max_size=2)


@st.composite
def written_text(draw: st.DrawFn, text: str) -> str:
    """Write a text with some of its characters escaped, which changes nothing of its meaning."""
    pieces = []
    for character in text:
        code = ord(character)
        must = code < 0x20 or character in '"\\'
        if code > 0xFFFF or not (must or draw(st.booleans())):
            pieces.append(character)
        else:
            digits = f"{code:04x}"
            pieces.append(f"\\u{digits.upper() if draw(st.booleans()) else digits}")
            if character in '"\\/' and draw(st.booleans()):
                pieces[-1] = f"\\{character}"
    return f'"{"".join(pieces)}"'


@st.composite
def json_texts(draw: st.DrawFn, depth: int = 3) -> str:
    """Return JSON as text, names of an object drawn from so few that many stand twice."""
    kinds = ["text", "number"] + (["object", "object", "array"] if depth else [])
    kind = draw(st.sampled_from(kinds))
    before, after = draw(SPACES), draw(SPACES)
    if kind == "text":
        return before + draw(written_text(draw(TEXTS))) + after
    if kind == "number":
        return before + draw(st.sampled_from(["0", "-1.5e3", "true", "null"])) + after
    if kind == "array":
        items = draw(st.lists(json_texts(depth - 1), max_size=3))
        return f"{before}[{','.join(items)}]{after}" if items else "[ ]"
    members = []
    for name in draw(st.lists(TEXTS, max_size=4)):
        value = draw(json_texts(depth - 1))
        members.append(f"{draw(SPACES)}{draw(written_text(name))}{draw(SPACES)}:{value}")
    return f"{before}{{{','.join(members)}}}{after}" if members else "{}"


class Pairs(list[tuple[str, Any]]):
    """All members of an object, in their order."""


def repeated_members(value: Any, pointer: str = "") -> list[str]:
    """Return pointers of members whose name stood before, in the order of the text."""
    found: list[str] = []
    if isinstance(value, Pairs):
        known: set[str] = set()
        for name, inner in value:
            place = f"{pointer}/{name.replace('~', '~0').replace('/', '~1')}"
            found += [place] if name in known else []
            known.add(name)
            found += repeated_members(inner, place)
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            found += repeated_members(inner, f"{pointer}/{number}")
    return found


@given(json_texts())
@example('{"a":1,"\\u0061":2}')
@example('{"a\\u003a":1,"a:":2}')
@example('{"a\\\\u003a":1,"\\u003A":":"}')
@example('{"a":{"a":":"},"a":{"a":1}}')
@example('{"":1,"":{"":2,"":3}}')
@example('[{"a":1},{"a":1}]')
@example('{"a": "\\\\\\u003a", "b": "\\\\"}')
def test_a_name_that_stands_twice_is_found_wherever_the_standard_library_sees_it(
    text: str,
) -> None:
    expected = list(dict.fromkeys(repeated_members(json.loads(text, object_pairs_hook=Pairs))))
    for written in (text, text.encode()):
        if not expected:
            assert json_of_unique_members(written) == orjson.loads(text) == json.loads(text)
            continue
        with pytest.raises(DuplicateMemberError) as caught:
            json_of_unique_members(written)
        assert list(caught.value.pointers) == expected[:MOST_NAMED]
        assert text[caught.value.pos] == '"'


@pytest.mark.parametrize("depth", [1, 100, DEEPEST - 1])
@pytest.mark.parametrize("opened", ['{":":', "["])
def test_names_are_compared_down_to_the_greatest_depth(depth: int, opened: str) -> None:
    before, after = opened * depth, ("}" if ":" in opened else "]") * depth
    json_of_unique_members(f'{before}{{"b":"\\u003a","c":2}}{after}')
    with pytest.raises(DuplicateMemberError) as caught:
        json_of_unique_members(f'{before}{{"b":":","b":2}}{after}')
    assert caught.value.pointers == (("/:" if ":" in opened else "/0") * depth + "/b",)
    assert caught.value.pos == len(before) + len('{"b":":",')


@pytest.mark.parametrize("depth", [DEEPEST + 1, 1024, 1025, 100_000])
@pytest.mark.parametrize(("opened", "closed"), [('{"":', "}"), ("[", "]"), ('[{"a":', "}]")])
def test_what_is_nested_deeper_is_refused(depth: int, opened: str, closed: str) -> None:
    count = depth // len(closed) + depth % len(closed)
    with pytest.raises(orjson.JSONDecodeError, match=r"nested deeper than 254|depth limit"):
        json_of_unique_members(opened * count + "0" + closed * count)


def test_no_more_are_named_than_anybody_reads() -> None:
    members = ",".join(f'"{number % 100}":0' for number in range(200))
    with pytest.raises(DuplicateMemberError) as caught:
        json_of_unique_members(f"{{{members}}}")
    assert caught.value.pointers == tuple(f"/{number}" for number in range(MOST_NAMED))


@pytest.mark.parametrize("text", [b"", b"{", b"\xff", b'"\\ud800"', b"[NaN]", b"\xef\xbb\xbf{}"])
def test_what_is_no_json_is_told_as_by_the_parser(text: bytes) -> None:
    with pytest.raises(orjson.JSONDecodeError) as caught:
        json_of_unique_members(text)
    assert not isinstance(caught.value, DuplicateMemberError)
