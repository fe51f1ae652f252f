"""What the fuzzer begins with where nothing is kept yet: the examples of the documents."""

import io
import json
from pathlib import Path

import orjson
import pyarrow as pa
import pyarrow.csv
import pyarrow.ipc
from fuzz_targets import BATCH_TYPES, BOOK_FORMS, OPERATIONS

from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from loomwright.pricing.book_csv import csv_of_document
from loomwright.web.schemas.batch import batch_examples
from loomwright.web.schemas.batch_bodies import csv_of, ndjson_of

_ROOT = Path(__file__).parents[2]
_EXAMPLES = _ROOT / "openapi" / "examples"
_BOOK = _ROOT / "service" / "loomwright" / "jobs" / "demo" / "price_book.json"
_TEXTS = (
    "5", "-1.5e3", "12 V", "20A", "3.3 ft", "1,5", "1.234,5", "1 234", ".5 mm", "5 mV", "1e999 m",
    "100 degF", "-40degC", "300 K", "1 ms", "10 kHz", '"5 A"', "[1, 2, 3]", '["1 m", 2]', "true",
    '"awg"', "\u0661 A", "5 \u00b5A", "1e-400", "00012 W",
)  # fmt: skip


def _stream(batch: dict[str, object]) -> bytes:
    text = csv_of(batch).encode()
    names = text.split(b"\r\n")[0].decode().split(",")
    options = pyarrow.csv.ConvertOptions(strings_can_be_null=True)
    options.column_types = dict.fromkeys(names, pa.utf8())
    table = pyarrow.csv.read_csv(io.BytesIO(text), convert_options=options)
    sink = io.BytesIO()
    with pyarrow.ipc.new_stream(sink, table.schema) as writer:
        writer.write_table(table)
    return sink.getvalue()


def _bodies() -> list[bytes]:
    found = []
    for place, operation in enumerate(OPERATIONS):
        example = orjson.loads((_EXAMPLES / f"{operation}.json").read_bytes())
        found.append(bytes([place]) + orjson.dumps(example))
    for name in DEMO_JOBS:
        for operation in ("build-bill-of-materials", "build-work-order", "draw-installation"):
            job = {"job": demo_job(name)}
            found.append(bytes([OPERATIONS.index(operation)]) + orjson.dumps(job))
    return found


def _batches() -> list[bytes]:
    found = []
    for batch in batch_examples().values():
        forms = (json.dumps(batch), ndjson_of(batch), csv_of(batch))
        made = [*(each.encode() for each in forms), _stream(batch)]
        found += [bytes([place]) + each for place, each in enumerate(made)]
    assert len(BATCH_TYPES) == len(made)
    return found


def _price_books() -> list[bytes]:
    book = orjson.loads(_BOOK.read_bytes())
    few = {name: value for name, value in book.items() if name != "kits"}
    few["parts"] = book["parts"][:6]
    forms = []
    for each in (book, few):
        forms += [orjson.dumps(each), orjson.dumps(csv_of_document(each))]
    return [bytes([place % len(BOOK_FORMS)]) + each for place, each in enumerate(forms)]


def seeds_of(target: str) -> list[bytes]:
    """Return what a target begins with."""
    made = {
        "quantities": lambda: [text.encode() for text in _TEXTS],
        "bodies": _bodies,
        "batches": _batches,
        "price_books": _price_books,
    }
    return made[target]()
