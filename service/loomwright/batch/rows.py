"""Rows of quotes as Arrow columns, the one form that all ways out are made from."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import numpy as np
import numpy.typing as npt
import orjson
import pyarrow as pa

from loomwright.batch.quote import INVALID_PAIR, Amounts, Quote, QuotedCircuit, Refusal
from loomwright.engineering.record import record
from loomwright.pricing.money import minor_unit_digits

Indices = npt.NDArray[np.int32]

CIRCUITS = "circuits"
# Digits that hold any sum of a book's prices; 18 and fewer fit into 64 bits.
MONEY_DIGITS = 18
HOURS = pa.decimal128(21, 6)
CIRCUIT = pa.struct(
    [
        ("key", pa.utf8()),
        ("verdict", pa.utf8()),
        ("conductor", pa.utf8()),
        ("fuse_type", pa.utf8()),
        ("rated_current_a", pa.float64()),
    ]
)


@dataclass(frozen=True, slots=True)
class Column:
    """A column of the rows, in words; ``sometimes`` where a row with a quote may lack it."""

    about: str
    sometimes: bool = False


COLUMNS: Mapping[str, Column] = {
    "package": Column("Key of the package."),
    "vehicle": Column("Key of the vehicle."),
    "verdict": Column("`complete`, `incomplete` or `source_overloaded`, as the bill says it."),
    "currency": Column("ISO 4217 code of all amounts."),
    **{name: Column(f"`{name}` of the bill.") for name in Amounts._fields if name != "tax_total"},
    "tax_total": Column("All taxes together."),
    "deposit": Column("`deposit` of the bill.", sometimes=True),
    "labour_hours": Column("Working hours."),
    "load_current_a": Column("Taken from all power sources together."),
    "voltage_drop_percent": Column("Greatest of the circuits.", sometimes=True),
    "conductor_temperature_c": Column("Of the hottest conductor.", sometimes=True),
    "unpriced": Column("Needs that no part of the price book serves."),
    "valid_until": Column("Last day on which every price holds.", sometimes=True),
    CIRCUITS: Column("Verdict, conductor and fuse of each circuit."),
    "code": Column("Why there is no quote, as a code.", sometimes=True),
    "detail": Column("Why there is no quote, in words.", sometimes=True),
}
# Columns that say which pair a row is of; the others are null in a row without a quote.
OF_PAIR = ("package", "vehicle")
OF_REFUSAL = ("code", "detail")


def flat_schema(currency: str) -> pa.Schema:
    """Return the columns of rows without the circuits.

    Parameters
    ----------
    currency
        ISO 4217 code of the price book.

    Returns
    -------
    pyarrow.Schema
        In the order of ``COLUMNS``.
    """
    money = pa.decimal128(MONEY_DIGITS, minor_unit_digits(currency))
    types = {
        **dict.fromkeys(Amounts._fields, money),
        "labour_hours": HOURS,
        "load_current_a": pa.float64(),
        "voltage_drop_percent": pa.float64(),
        "conductor_temperature_c": pa.float64(),
        "unpriced": pa.int32(),
        "valid_until": pa.date32(),
    }
    return pa.schema(
        [pa.field(name, types.get(name, pa.utf8())) for name in COLUMNS if name != CIRCUITS]
    )


def row_schema(currency: str) -> pa.Schema:
    """Return the columns of rows, circuits as a list in each, in the order of ``COLUMNS``."""
    fields = {field.name: field for field in flat_schema(currency)}
    fields[CIRCUITS] = pa.field(CIRCUITS, pa.list_(CIRCUIT))
    return pa.schema([fields[name] for name in COLUMNS])


@record
class Rows:
    """Rows of quotes and refusals, circuits kept once for all rows that have them alike.

    Parameters
    ----------
    flat
        Columns of ``flat_schema``.
    circuits
        Circuits of quotes, each list once.
    which
        Index into ``circuits`` of each row, -1 in a row without a quote.
    """

    flat: pa.RecordBatch
    circuits: tuple[tuple[QuotedCircuit, ...], ...]
    which: Indices

    def nested(self) -> pa.RecordBatch:
        """Return the rows with the columns of ``row_schema``."""
        lists = [[circuit._asdict() for circuit in each] for each in self.circuits]
        known = pa.array(lists, pa.list_(CIRCUIT))
        return self._with_circuits(known, pa.list_(CIRCUIT))

    def tabular(self) -> pa.RecordBatch:
        """Return the rows with the circuits as JSON text, for forms that hold no lists."""
        texts = [
            orjson.dumps([circuit._asdict() for circuit in each]).decode() for each in self.circuits
        ]
        return self._with_circuits(pa.array(texts, pa.utf8()), pa.utf8())

    def _with_circuits(self, known: pa.Array, kind: pa.DataType) -> pa.RecordBatch:
        if len(known):
            column = known.take(pa.array(self.which, mask=self.which < 0))
        else:
            column = pa.nulls(self.flat.num_rows, kind)
        columns = {CIRCUITS: column}
        names = list(COLUMNS)
        for name in self.flat.schema.names:
            columns[name] = self.flat.column(name)
        return pa.RecordBatch.from_arrays([columns[name] for name in names], names=names)


def rows_of_quotes(
    packages: Sequence[str],
    vehicles: Sequence[str],
    quotes: Sequence[Quote | Refusal],
    currency: str,
) -> Rows:
    """Return quotes and refusals as rows.

    Parameters
    ----------
    packages
        Key of the package of each.
    vehicles
        Key of the vehicle of each.
    quotes
        Of each pair.
    currency
        ISO 4217 code of all amounts.

    Returns
    -------
    Rows
        In the same order.
    """
    known: dict[tuple[QuotedCircuit, ...], int] = {}
    which = [
        -1 if isinstance(quote, Refusal) else known.setdefault(quote.circuits, len(known))
        for quote in quotes
    ]
    records = [
        {"package": package, "vehicle": vehicle, **_members(quote, currency)}
        for package, vehicle, quote in zip(packages, vehicles, quotes, strict=True)
    ]
    schema = flat_schema(currency)
    columns = [pa.array([each.get(field.name) for each in records], field.type) for field in schema]
    flat = pa.RecordBatch.from_arrays(columns, schema=schema)
    return Rows(flat, tuple(known), np.array(which, np.int32))


def refused_rows(
    packages: Sequence[str], vehicles: Sequence[str], details: Sequence[str], currency: str
) -> Rows:
    """Return rows of pairs whose package or vehicle is at fault.

    Parameters
    ----------
    packages
        Key of the package of each.
    vehicles
        Key of the vehicle of each.
    details
        What is wrong with each.
    currency
        ISO 4217 code of the price book.

    Returns
    -------
    Rows
        In the same order, as ``rows_of_quotes`` makes them of refusals.
    """
    schema, count = flat_schema(currency), len(details)
    stated = {
        "package": packages,
        "vehicle": vehicles,
        "code": [INVALID_PAIR] * count,
        "detail": details,
    }
    columns = [
        pa.array(stated[field.name], field.type)
        if field.name in stated
        else pa.nulls(count, field.type)
        for field in schema
    ]
    return Rows(
        pa.RecordBatch.from_arrays(columns, schema=schema), (), np.full(count, -1, np.int32)
    )


def rows_in_order(parts: Sequence[Rows], order: npt.NDArray[np.int64]) -> Rows:
    """Return rows of several as one.

    Parameters
    ----------
    parts
        Rows of one currency, at least one.
    order
        Of each row of the result the index into the rows of all parts, one part behind the other.

    Returns
    -------
    Rows
        In that order.
    """
    flat = pa.concat_batches([part.flat for part in parts]).take(pa.array(order))
    circuits: list[tuple[QuotedCircuit, ...]] = []
    which = []
    for part in parts:
        which.append(np.where(part.which < 0, part.which, part.which + len(circuits)))
        circuits += part.circuits
    return Rows(flat, tuple(circuits), np.concatenate(which)[order].astype(np.int32))


def _members(quote: Quote | Refusal, currency: str) -> dict[str, Any]:
    if isinstance(quote, Refusal):
        return {"code": quote.code, "detail": quote.detail}
    return {
        "verdict": quote.verdict,
        "currency": currency,
        **quote.amounts._asdict(),
        "labour_hours": quote.labour_hours.quantize(Decimal("0.000001")),
        "load_current_a": quote.load_current_a,
        "voltage_drop_percent": quote.voltage_drop_percent,
        "conductor_temperature_c": quote.conductor_temperature_c,
        "unpriced": quote.unpriced,
        "valid_until": quote.valid_until,
    }
