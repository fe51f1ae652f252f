"""JSON texts in which each member name stands once in its object.

The parser keeps the last of several members of one name and says nothing of it, so that a text with
two prices would be read as if it had one. RFC 8259, section 4, leaves open what a receiver makes of
that; RFC 7493 (I-JSON), section 2.3, forbids it.
"""

import re
from typing import Any

import orjson

MOST_NAMED = 20
# What the library writes, and far more than any document of ours has. It reads four times as much,
# at which functions that call themselves for what is within would come to the interpreter's limit.
DEEPEST = 254
_TOO_DEEP = f"objects and arrays are nested deeper than {DEEPEST} levels"
# Tokens of a text that is known to be JSON; between them are numbers, literals and white space.
_TOKEN = re.compile(r'"[^"\\]*(?:\\.[^"\\]*)*"|[{}\[\],]', re.DOTALL)


class DuplicateMemberError(orjson.JSONDecodeError):
    """JSON in which a member name stands twice in one object.

    Parameters
    ----------
    pointers
        JSON pointers (RFC 6901) of members whose name stood in their object before, each once, in
        their order in the text; ``MOST_NAMED`` at most.
    text
        The text.
    position
        Where the name of the first of them begins, in characters.
    """

    def __init__(self, pointers: tuple[str, ...], text: str, position: int) -> None:
        super().__init__(f"stated twice in one object: {', '.join(pointers)}", text, position)
        self.pointers = pointers


def json_of_unique_members(text: bytes | str) -> Any:
    """Return the value of a JSON text.

    Whether a name stands twice is found by counting colons. One follows each name in the text, and
    all others stand in strings; both come again as the value is written out, but for members that
    the parser has dropped. Names are compared as they are meant, not as they are written.

    Parameters
    ----------
    text
        JSON in UTF-8 (RFC 8259), without a byte order mark.

    Returns
    -------
    object
        Plain values.

    Raises
    ------
    orjson.JSONDecodeError
        It is no JSON, or objects and arrays are nested deeper than ``DEEPEST``.
    DuplicateMemberError
        A member name stands twice in one object. It is an error of the kind above.
    """
    value = orjson.loads(text)
    if isinstance(value, (dict, list)):
        stated = text if isinstance(text, bytes) else text.encode()
        try:
            written = orjson.dumps(value)
        except orjson.JSONEncodeError:
            raise orjson.JSONDecodeError(_TOO_DEEP, stated.decode(), 0) from None
        if _colons(stated) != written.count(b":"):
            raise _duplicates(stated.decode())
    return value


def _colons(text: bytes) -> int:
    """Return how many colons a text has, those that are escaped by their number among them."""
    count = text.count(b":")
    if b"\\" in text and b"\\u003" in text:
        # Without escaped backslashes, behind which the same letters are no escape.
        bare = text.replace(b"\\\\", b"")
        count += bare.count(b"\\u003a") + bare.count(b"\\u003A")
    return count


class _Level:
    """An object or an array while it is read."""

    def __init__(self, is_object: bool) -> None:
        self.names: set[str] | None = set() if is_object else None
        self.awaits_name = is_object
        self.place: str | int = 0

    def next(self) -> None:
        """Go on to the next member or item."""
        if self.names is not None:
            self.awaits_name = True
        elif isinstance(self.place, int):
            self.place += 1


def _duplicates(text: str) -> DuplicateMemberError:
    """Return where names stand twice in a text of which that is known."""
    levels: list[_Level] = []
    found: dict[str, int] = {}
    for match in _TOKEN.finditer(text):
        token = match[0]
        if token == ",":
            levels[-1].next()
        elif token in "{[":
            levels.append(_Level(token == "{"))
        elif token in "}]":
            levels.pop()
        elif levels and levels[-1].awaits_name:
            level = levels[-1]
            name: str = orjson.loads(token)
            level.awaits_name, level.place = False, name
            assert level.names is not None
            if name in level.names:
                found.setdefault(_pointer(levels), match.start())
                if len(found) == MOST_NAMED:
                    break
            level.names.add(name)
    return DuplicateMemberError(tuple(found), text, next(iter(found.values())))


def _pointer(levels: list[_Level]) -> str:
    return "".join(f"/{str(level.place).replace('~', '~0').replace('/', '~1')}" for level in levels)
