"""Bodies that no honest caller sends: of every operation and of every form that it takes."""

import copy
import gzip
import io
import json
import random
from collections.abc import Iterator
from typing import Any, NamedTuple

import pyarrow as pa
import pyarrow.ipc

from drawn_requests import document
from loomwright.web.operations import OPERATIONS
from loomwright.web.schemas.batch import batch_examples
from loomwright.web.schemas.batch_bodies import csv_of, ndjson_of, records_of

JSON, NDJSON, CSV = "application/json", "application/x-ndjson", "text/csv"
ARROW = "application/vnd.apache.arrow.stream"
BATCH = "price-packages"
POSTED = {each.name: each for each in OPERATIONS if each.request is not None}
MIB = 1024 * 1024
# Levels below the place of a value that are let through, and more than that.
DEEP, TOO_DEEP = 230, 1000
# Of a text that is put in place of a value.
MARK = "\x00here\x00"


class Hostile(NamedTuple):
    """A body, and what is said of it."""

    operation: str
    what: str
    body: bytes
    media_type: str = JSON
    coding: str | None = None


def example(operation: str) -> dict[str, Any]:
    """Return the first example of a request."""
    posted = document()["paths"][POSTED[operation].url]["post"]
    examples = posted["requestBody"]["content"][JSON]["examples"]
    first: dict[str, Any] = next(iter(examples.values()))["value"]
    return first


# What stands in place of a value, as JSON text.
VALUES = {
    "arrays": "[" * DEEP + "]" * DEEP,
    "objects": '{"key":' * DEEP + "1" + "}" * DEEP,
    "arrays and objects": '[{"key":' * (DEEP // 2) + "0" + "}]" * (DEEP // 2),
    "too many arrays": "[" * TOO_DEEP + "]" * TOO_DEEP,
    "too many objects": '{"key":' * TOO_DEEP + "1" + "}" * TOO_DEEP,
    "greatest double": "1.7976931348623157e308",
    "least double": "5e-324",
    "negative zero": "-0",
    "integer of 300 digits": "1" + "0" * 299,
    "64 bits": str(2**64 - 1),
    "above 64 bits": str(2**64),
    "text of 5000 digits": f'"{"9" * 5000}"',
    "text of 5000 digits with unit": f'"{"9" * 5000} mm"',
    "exponent beyond a double": '"1e999999"',
    "exponent with unit": '"1e999999 mm"',
    "infinity with unit": '"Infinity V"',
    "no number": '"NaN"',
    "long text": f'"{"x" * 100_000}"',
    "zero byte": '"\\u0000"',
    "byte order mark": '"\\ufeff"',
    "no character": '"\\uffff"',
    "right to left": '"\\u202e\\u2066"',
    "beyond the first plane": '"\\ud83d\\ude00"',
    "empty text": '""',
    "null": "null",
    "empty array": "[]",
    "empty object": "{}",
    "false": "false",
    "array of nulls": "[null, null]",
    "day that is none": '"9999-99-99"',
    "last instant": '"9999-12-31T23:59:59-23:59"',
}
BODIES = {
    "100,000 arrays": b"[" * 100_000 + b"]" * 100_000,
    "100,000 arrays in a member": b'{"a":' + b"[" * 100_000 + b"]" * 100_000 + b"}",
    "100,000 objects": b'{"a":' * 100_000 + b"1" + b"}" * 100_000,
    "100,000 open arrays": b"[" * 100_000,
    "1e999999": b'{"length":1e999999}',
    "10**5000": b'{"length":1' + b"0" * 5000 + b"}",
    "NaN": b'{"length":NaN}',
    "-Infinity": b'{"length":-Infinity}',
    "high surrogate": b'{"title":"\\ud800"}',
    "low surrogate": b'{"title":"\\udfff"}',
    "surrogate in UTF-8": b'{"title":"\xed\xa0\x80"}',
    "zero byte": b'{"title":"\x00"}',
    "only zero bytes": bytes(1000),
    "byte order mark": b"\xef\xbb\xbf{}",
    "UTF-16": '{"length":5}'.encode("utf-16"),
    "UTF-32": '{"length":5}'.encode("utf-32"),
    "member twice": b'{"length":5,"length":5}',
    "many members": json.dumps({str(number): number for number in range(50_000)}).encode(),
}


def places(value: Any, so_far: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Yield the ways to each value within a document."""
    items = value.items() if isinstance(value, dict) else enumerate(value)
    for name, inner in items:
        yield (*so_far, name)
        if isinstance(inner, dict | list):
            yield from places(inner, (*so_far, name))


def with_value(stated: Any, place: tuple[Any, ...], text: str) -> bytes:
    """Return a document as JSON, with a JSON text in one place."""
    changed = copy.deepcopy(stated)
    holder = changed
    for each in place[:-1]:
        holder = holder[each]
    holder[place[-1]] = MARK
    return json.dumps(changed).replace(json.dumps(MARK), text).encode()


def values_in_places(every: bool) -> Iterator[Hostile]:
    """Yield documents with one value exchanged.

    Parameters
    ----------
    every
        Each value in each place; else each place gets one of the values, in turn.
    """
    for operation in POSTED:
        stated = example(operation)
        for number, place in enumerate(places(stated)):
            names = list(VALUES) if every else [list(VALUES)[number % len(VALUES)]]
            for name in names:
                what = f"{name} at /{'/'.join(map(str, place))}"
                yield Hostile(operation, what, with_value(stated, place, VALUES[name]))


def broken_bodies() -> Iterator[Hostile]:
    """Yield bodies that are no JSON object that could be read, for each operation."""
    for operation in POSTED:
        for what, body in BODIES.items():
            yield Hostile(operation, what, body)


def arrow_of(batch: dict[str, Any]) -> bytes:
    """Return a batch as an Arrow stream of nested columns."""
    rows = [{kind: stated} for kind, stated in records_of(batch)]
    kinds = list(dict.fromkeys(kind for row in rows for kind in row))
    return stream_of(pa.table({kind: [row.get(kind) for row in rows] for kind in kinds}))


def stream_of(table: pa.Table) -> bytes:
    """Return a table as an Arrow stream."""
    sink = io.BytesIO()
    with pyarrow.ipc.new_stream(sink, table.schema) as writer:
        writer.write_table(table)
    return sink.getvalue()


def compressed_bodies() -> Iterator[Hostile]:
    """Yield gzip that is none, does not end, goes on, or stands for far more than itself."""
    stated = json.dumps(batch_examples()["every_package_for_every_vehicle"]).encode()
    packed = gzip.compress(stated)
    bomb = gzip.compress(bytes(64 * MIB))
    forms = {JSON: b" ", NDJSON: b"\n", CSV: b"x" * 99 + b"\n", ARROW: b"\0"}
    coded = {
        "half": packed[: len(packed) // 2],
        "without its sum": packed[:-8],
        "junk behind it": packed + b"junk",
        "half a second member": packed + packed[:30],
        "no gzip": stated,
        "nothing": b"",
        "64 MiB": bomb,
        "64 MiB in members": gzip.compress(bytes(MIB)) * 64,
        "100,000 empty members": gzip.compress(b"") * 100_000,
        "packed twice": gzip.compress(packed),
    }
    for media_type in forms:
        for what, body in coded.items():
            yield Hostile(BATCH, f"gzip: {what}", body, media_type, "gzip")
    for media_type, filler in forms.items():
        body = gzip.compress(filler * (16 * MIB // len(filler)))
        yield Hostile(BATCH, "gzip: 16 MiB of nothing", body, media_type, "gzip")
    for operation in POSTED:
        yield Hostile(operation, "gzip: 64 MiB, any operation", bomb, JSON, "gzip")


def large_bodies() -> Iterator[Hostile]:
    """Yield bodies above the limit."""
    for name, operation in POSTED.items():
        yield Hostile(name, "too large", b" " * (operation.greatest_body_bytes + 1))
    for media_type in (NDJSON, CSV, ARROW):
        yield Hostile(BATCH, "too large", b" " * (16 * MIB + 1), media_type)


def lines() -> Iterator[Hostile]:
    """Yield lines of JSON and tables of which something is hostile."""
    deep = b"[" * 100_000 + b"]" * 100_000
    for what, line in {
        "100,000 arrays": b'{"package":' + deep + b"}",
        "1000 arrays": b'{"package":' + deep[99_000:101_000] + b"}",
        "1e999999": b'{"package":{"key":1e999999}}',
        "NaN": b'{"vehicle":{"key":NaN}}',
        "surrogate": b'{"vehicle":{"key":"\\ud800"}}',
        "zero byte": b'{"vehicle":{"key":"\\u0000"}}',
        "twice": b'{"vehicle":{"key":"a","key":"b"}}',
        "carriage returns": b"\r" * 1000,
        "a million empty lines": b"\n" * 1_000_000,
    }.items():
        yield Hostile(BATCH, f"lines: {what}", line, NDJSON)
    rows = ndjson_of(batch_examples()["every_package_for_every_vehicle"]).encode()
    yield Hostile(BATCH, "lines: byte order mark", b"\xef\xbb\xbf" + rows, NDJSON)
    yield Hostile(
        BATCH,
        "lines: deep value in a record",
        rows + b'{"package":' + b'{"a":' * 900 + b"1" + b"}" * 901,
        NDJSON,
    )
    table = csv_of(batch_examples()["every_package_for_every_vehicle"]).encode()
    header, _, rest = table.partition(b"\r\n")
    deep_cell = b"[" * 5000 + b"]" * 5000
    for what, body in {
        "half": table[: len(table) // 2],
        "zero bytes": table.replace(b",", b",\0"),
        "wide header": b"record," + b",".join(b"c%d" % each for each in range(200_000)),
        "long cell": b"record,key\r\npackage," + b"x" * 1_000_000,
        "deep cell": b"record,key,job\r\npackage,p," + deep_cell + b"\r\n",
        "cell of 1000 levels": b"record,key,job\r\npackage,p," + b"[" * 1000 + b"]" * 1000,
        "digits": b"record,key\r\npackage," + b"9" * 5000,
        "deep column": b"record,key," + b".".join([b"job"] * 10_000) + b"\r\npackage,p,1\r\n",
        "many items": b"record,key,job.circuits.9999.key\r\npackage,p,x\r\n",
        "header twice": header + b"\r\n" + header + b"\r\n" + rest,
        "quotes": b'"' * 100_001,
    }.items():
        yield Hostile(BATCH, f"table: {what}", body, CSV)


def arrow_bodies(count: int) -> Iterator[Hostile]:
    """Yield Arrow streams cut off, with wrong lengths, or of types within types.

    Parameters
    ----------
    count
        How many places get a wrong length, spread over the stream.
    """
    whole = arrow_of(batch_examples()["every_package_for_every_vehicle"])
    chosen = random.Random(20)
    for end in chosen.sample(range(len(whole) - 8), count // 4):
        yield Hostile(BATCH, f"arrow: first {end} bytes", whole[:end], ARROW)
    wrong = [b"\xff\xff\xff\xff", b"\xff\xff\xff\x7f", b"\0\0\0\x80", b"\0\0\0\x40", bytes(4)]
    for place in sorted(chosen.sample(range(0, len(whole) - 4, 4), count)):
        put = chosen.choice(wrong)
        body = whole[:place] + put + whole[place + 4 :]
        yield Hostile(BATCH, f"arrow: {put.hex()} at {place}", body, ARROW)
    for depth in (10, 60, 200):
        kind: pa.DataType = pa.utf8()
        listed: pa.DataType = pa.utf8()
        for _ in range(depth):
            kind = pa.struct([("a", kind)])
            listed = pa.list_(listed)
        for name, each in (("structures", kind), ("lists", listed)):
            # The writer gives no rows for more than 64 levels; the schema is what is looked at.
            body = stream_of(pa.schema([("package", each)]).empty_table())
            yield Hostile(BATCH, f"arrow: {depth} {name}", body, ARROW)
    texts = pa.table({"package": ["[" * 1000 + "]" * 1000, "\0"]})
    yield Hostile(BATCH, "arrow: texts", stream_of(texts), ARROW)
    columns = {f"c{number}": [None] for number in range(20_000)}
    yield Hostile(BATCH, "arrow: 20,000 columns", stream_of(pa.table(columns)), ARROW)
