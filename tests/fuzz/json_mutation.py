"""Changes of JSON bodies that leave them JSON, as changes of bytes seldom do."""

import copy
import random
from typing import Any

import orjson

# Values at which readers of JSON and of numbers have failed elsewhere.
_VALUES: tuple[Any, ...] = (
    None,
    True,
    False,
    0,
    -0.0,
    1,
    -1,
    0.1,
    1e-308,
    5e-324,
    1.7976931348623157e308,
    2**53 + 1,
    2**63,
    2**64 - 1,
    -(2**63),
    "",
    " ",
    "0",
    "1e999",
    "-1",
    "1,5",
    "5 A",
    "12 V",
    "3 ft",
    "10 mm2",
    "NaN",
    "\u0000",
    "\ud7ff",
    "\uffff",
    "\u202e",
    "\u0661",
    "=1+1",
    "2025-02-30",
    "0000-01-01",
    "9999-12-31",
    "../../etc/passwd",
    "x" * 300,
    [],
    {},
    [[]],
    [None],
    {"": None},
)


def changed(body: bytes, seed: int) -> bytes:
    """Return a JSON body with some of its values changed, or the body where it is not JSON."""
    try:
        document = orjson.loads(body)
    except orjson.JSONDecodeError:
        return body
    chance = random.Random(seed)
    for _ in range(chance.choice((1, 1, 1, 2, 4))):
        holders = list(_holders(document))
        if not holders:
            return orjson.dumps(chance.choice(_VALUES))
        _change(chance.choice(holders), holders, chance)
    try:
        return orjson.dumps(document)
    except orjson.JSONEncodeError:
        return body


def _holders(value: Any) -> Any:
    if isinstance(value, (dict, list)) and value:
        yield value
        for each in value.values() if isinstance(value, dict) else value:
            yield from _holders(each)


def _change(holder: Any, holders: list[Any], chance: random.Random) -> None:
    place = chance.choice(list(holder) if isinstance(holder, dict) else range(len(holder)))
    way = chance.randrange(6)
    if way == 0:
        del holder[place]
    elif way == 1:
        holder[place] = copy.deepcopy(chance.choice(holders))
    elif way == 2 and isinstance(holder, list):
        holder.insert(place, copy.deepcopy(holder[place]))
    elif way == 2:
        holder[chance.choice(("", "x", f"{place}~/"))] = holder[place]
    elif way == 3 and isinstance(holder[place], (int, float)):
        holder[place] = holder[place] * chance.choice((-1, 0.5, 1e6, 1e-6, 1e300))
    elif way == 4 and isinstance(holder[place], str):
        at = chance.randrange(len(holder[place]) + 1)
        holder[place] = holder[place][:at] + str(chance.choice(_VALUES)) + holder[place][at:]
    else:
        holder[place] = copy.deepcopy(chance.choice(_VALUES))
