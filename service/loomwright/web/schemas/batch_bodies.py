"""Bodies of price-packages in other forms than JSON, with the examples of JSON in them."""

import csv
import io
from collections.abc import Iterator, Mapping
from typing import Any

import orjson

from loomwright.batch.forms.batch_document import PACKAGE, PAIR, RECORD, SETTINGS, VEHICLE
from loomwright.batch.forms.dotted import cells_of_document
from loomwright.batch.forms.pair_list import PAIR_RECORD
from loomwright.batch.pair import package_record, vehicle_record
from loomwright.pricing.members import Record
from loomwright.web.openapi_bodies import BodyForm
from loomwright.web.schemas.batch import BATCH_SETTINGS, batch_examples

_LISTS = {PACKAGE: "packages", VEHICLE: "vehicles", PAIR: "pairs"}


def records_of(batch: Mapping[str, Any]) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """Yield the records of a batch in one object, each with the word for what it is."""
    settings = {name: value for name, value in batch.items() if name not in _LISTS.values()}
    if settings:
        yield SETTINGS, settings
    for kind, name in _LISTS.items():
        for document in batch.get(name, ()):
            yield kind, document


def ndjson_of(batch: Mapping[str, Any]) -> str:
    """Return a batch in one object as NDJSON."""
    return "".join(
        orjson.dumps({kind: document}).decode() + "\n" for kind, document in records_of(batch)
    )


def csv_of(batch: Mapping[str, Any]) -> str:
    """Return a batch in one object as CSV."""
    rules: dict[str, Record] = {
        SETTINGS: BATCH_SETTINGS,
        PACKAGE: package_record(),
        VEHICLE: vehicle_record(),
        PAIR: PAIR_RECORD,
    }
    rows = [
        {RECORD: kind, **cells_of_document(document, rules[kind])}
        for kind, document in records_of(batch)
    ]
    text = io.StringIO(newline="")
    # RFC 4180 has lines end in CR and LF, which is the default here.
    writer = csv.DictWriter(text, list({name: None for row in rows for name in row}))
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def _ndjson_examples() -> dict[str, str]:
    return {name: ndjson_of(batch) for name, batch in batch_examples().items()}


def _csv_examples() -> dict[str, str]:
    return {name: csv_of(batch) for name, batch in batch_examples().items()}


_WORDS = "`batch` (price book and `pricing`, first or not at all), `package`, `vehicle` or `pair`"
BATCH_BODIES = (
    BodyForm(
        "application/x-ndjson",
        f"A line for each record, an object with one member: {_WORDS}.",
        _ndjson_examples,
    ),
    BodyForm(
        "text/csv",
        f"A header and a row for each record, which the column `record` calls {_WORDS}. Other "
        "columns are named by the way to a member, with dots between names, numbers from 0 and "
        "keys of circuits; an empty cell is absent.",
        _csv_examples,
    ),
    BodyForm(
        "application/vnd.apache.arrow.stream",
        "An Arrow IPC stream with the columns of the CSV form, typed or as text; or with columns "
        f"of nested types that are named {_WORDS}.",
        dict,
        is_binary=True,
    ),
)
