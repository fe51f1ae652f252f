"""Finished partitions read again: what they come to together, and joined into one file."""

from collections.abc import Collection, Iterable, Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
import orjson
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from loomwright.batch.forms.writing import SUMMARY, csv_rows, summary_metadata
from loomwright.batch.quote import QuotedCircuit
from loomwright.batch.rows import CIRCUIT, CIRCUITS, Rows, flat_schema, row_schema
from loomwright.batch.runs.partition import COMPRESSION
from loomwright.batch.summary import Summary, summary_from_document

# Rows of a row group of a joined file, unless a partition alone has more.
_GROUP_ROWS = 100_000


def summary_of_parts(parts: Iterable[Path], currency: str) -> Summary:
    """Return what the rows of finished partitions come to, from their metadata.

    Parameters
    ----------
    parts
        Files of partitions, in order.
    currency
        ISO 4217 code of all amounts.

    Returns
    -------
    Summary
        Of all rows.
    """
    summary = Summary(currency)
    for part in parts:
        document = pq.read_metadata(part).metadata[SUMMARY.encode()]
        summary.merge(summary_from_document(orjson.loads(document)))
    return summary


class Example(NamedTuple):
    """A pair without a quote: its keys and why there is none.

    Parameters
    ----------
    package, vehicle
        Keys.
    detail
        In words.
    """

    package: str
    vehicle: str
    detail: str


def refusal_examples(parts: Iterable[Path], codes: Collection[str]) -> dict[str, Example]:
    """Return the first refusal of each code.

    Parameters
    ----------
    parts
        Files of partitions, in order; no more of them are read than it takes.
    codes
        Codes that rows have.

    Returns
    -------
    dict
        Refusals by their code.
    """
    found: dict[str, Example] = {}
    for part in parts:
        if len(found) == len(codes):
            break
        table = pq.ParquetFile(part).read(columns=["package", "vehicle", "code", "detail"])
        refused = table.filter(pc.is_valid(table.column("code")))
        numbered = refused.append_column("row", pa.array(np.arange(refused.num_rows)))
        firsts = numbered.group_by("code").aggregate([("row", "min")]).column("row_min")
        for each in refused.take(firsts).to_pylist():
            found.setdefault(each.pop("code"), Example(**each))
    return found


def join_as_parquet(parts: Sequence[Path], summary: Summary, target: Path) -> None:
    """Write the rows of partitions into one Parquet file, one or more partitions a row group.

    Parameters
    ----------
    parts
        Files of partitions with the columns of ``row_schema``, in order.
    summary
        Goes into the metadata, as of any Parquet file of quotes.
    target
        The file.

    Raises
    ------
    OSError
        It cannot be written.
    """
    schema = row_schema(summary.currency)
    with pq.ParquetWriter(target, schema, compression=COMPRESSION) as writer:
        waiting: list[pa.Table] = []
        for part in parts:
            waiting.append(pq.ParquetFile(part).read())
            if sum(table.num_rows for table in waiting) >= _GROUP_ROWS:
                writer.write_table(pa.concat_tables(waiting))
                waiting = []
        if waiting:
            writer.write_table(pa.concat_tables(waiting))
        writer.add_key_value_metadata(summary_metadata(summary))


def join_as_csv(parts: Sequence[Path], summary: Summary, target: Path) -> None:
    """Write the rows of partitions into one CSV file.

    Parameters
    ----------
    parts
        Files of partitions whose circuits are text, in order.
    summary
        Of the rows.
    target
        The file.

    Raises
    ------
    OSError
        It cannot be written.
    """
    with target.open("wb") as file:
        file.writelines(csv_rows(_rows_of_parts(parts, summary.currency), summary.currency))


def _rows_of_parts(parts: Iterable[Path], currency: str) -> Iterator[Rows]:
    names = flat_schema(currency).names
    for part in parts:
        for batch in pq.ParquetFile(part).iter_batches():
            texts = batch.column(CIRCUITS).dictionary_encode()
            circuits = tuple(
                tuple(QuotedCircuit(**each) for each in orjson.loads(text))
                for text in texts.dictionary.to_pylist()
            )
            which = texts.indices.fill_null(-1).to_numpy(zero_copy_only=False)
            yield Rows(batch.select(names), circuits, which.astype(np.int32))


def nested_circuits(column: pa.Array) -> pa.Array:
    """Return circuits as lists, whether they are lists or text.

    Parameters
    ----------
    column
        The column ``circuits`` of any file of quotes.

    Returns
    -------
    pyarrow.ListArray
        Of the same length.
    """
    if not pa.types.is_string(column.type):
        return column
    texts = column.dictionary_encode()
    lists = [orjson.loads(text) for text in texts.dictionary.to_pylist()]
    return pa.array(lists, pa.list_(CIRCUIT)).take(texts.indices)
