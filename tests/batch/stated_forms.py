"""Documents written in the forms in which they may come in."""

import csv
import io
import json
from collections.abc import Callable, Sequence
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from loomwright.batch.forms.batch_document import SETTINGS_RECORD
from loomwright.batch.forms.dotted import cells_of_document, table_of_documents
from loomwright.batch.forms.pair_list import PAIR_RECORD
from loomwright.batch.pair import package_record, vehicle_record
from loomwright.pricing.members import Record

Document = dict[str, Any]
RULES = {
    "batch": SETTINGS_RECORD,
    "package": package_record(),
    "vehicle": vehicle_record(),
    "pair": PAIR_RECORD,
}


def csv_bytes(rows: Sequence[Sequence[str]]) -> bytes:
    text = io.StringIO(newline="")
    csv.writer(text).writerows(rows)
    return text.getvalue().encode()


def arrow_bytes(table: pa.Table, rows_at_once: int = 2) -> bytes:
    sink = io.BytesIO()
    with pa.ipc.new_stream(sink, table.schema) as writer:
        writer.write_table(table, rows_at_once)
    return sink.getvalue()


def parquet_bytes(table: pa.Table) -> bytes:
    sink = io.BytesIO()
    pq.write_table(table, sink)
    return sink.getvalue()


def text_table(documents: Sequence[Document], record: Record) -> pa.Table:
    header, rows = table_of_documents(documents, record)
    return pa.Table.from_pylist(
        [{name: cell or None for name, cell in zip(header, row, strict=True)} for row in rows],
        pa.schema([(name, pa.utf8()) for name in header]),
    )


def csv_of_documents(documents: Sequence[Document], record: Record) -> bytes:
    header, rows = table_of_documents(documents, record)
    return csv_bytes([header, *rows])


def ndjson(values: Sequence[Any]) -> bytes:
    return b"".join(json.dumps(value).encode() + b"\n" for value in values)


OF_ONE_KIND: dict[str, Callable[[Sequence[Document], Record], bytes]] = {
    "json": lambda documents, _: json.dumps(documents).encode(),
    "ndjson": lambda documents, _: ndjson(documents),
    "csv": csv_of_documents,
    "arrow": lambda documents, record: arrow_bytes(text_table(documents, record)),
    "parquet": lambda documents, record: parquet_bytes(text_table(documents, record)),
}


def records(batch: Document) -> list[Document]:
    """A batch as its records, each an object of one member."""
    settings = {
        name: batch[name] for name in batch if name not in ("packages", "vehicles", "pairs")
    }
    return [
        *([{"batch": settings}] if settings else []),
        *({"vehicle": each} for each in batch["vehicles"]),
        *({"package": each} for each in batch["packages"]),
        *({"pair": each} for each in batch.get("pairs", ())),
    ]


def cells(batch: Document) -> tuple[list[str], list[list[str]]]:
    """A batch as header and rows, every list of keyed items in one cell."""
    rows = []
    for each in records(batch):
        ((kind, document),) = each.items()
        in_cells = cells_of_document(document, RULES[kind], keys_in_columns=False)
        rows.append({"record": kind, **in_cells})
    header = list({name: None for row in rows for name in row})
    return header, [[row.get(name, "") for name in header] for row in rows]


def csv_of_batch(batch: Document) -> bytes:
    header, rows = cells(batch)
    return csv_bytes([header, *rows])


def arrow_of_batch(batch: Document) -> bytes:
    header, rows = cells(batch)
    schema = pa.schema([(name, pa.utf8()) for name in header])
    named = [dict(zip(header, (cell or None for cell in row), strict=True)) for row in rows]
    return arrow_bytes(pa.Table.from_pylist(named, schema))


OF_BATCHES: dict[str, Callable[[Document], bytes]] = {
    "json": lambda batch: json.dumps(batch).encode(),
    "ndjson": lambda batch: ndjson(records(batch)),
    "csv": csv_of_batch,
    "arrow": arrow_of_batch,
}
