"""Quotes of many rows as columns, filled by the array or from single calls, and made into rows."""

from collections.abc import Sequence
from datetime import date

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from loomwright.batch.bills.columns import NO_DAY
from loomwright.batch.quote import Amounts, Quote, QuotedCircuit, Refusal
from loomwright.batch.rows import HOURS, Rows, flat_schema
from loomwright.jobs.priced_job import VERDICTS
from loomwright.pricing.money import minor_unit_digits

Array = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

# Hours are kept as whole numbers of this part of an hour.
HOURS_DIGITS = HOURS.scale
_EPOCH = date(1970, 1, 1).toordinal()


class QuoteColumns:
    """Quotes of a package for some vehicles.

    Parameters
    ----------
    count
        Rows.
    currency
        ISO 4217 code of all amounts.

    Attributes
    ----------
    verdict
        Index into ``VERDICTS``, -1 in a row without a quote.
    amounts
        Minor units by ``Amounts``.
    labour_hours
        In parts of ``HOURS_DIGITS`` decimals of an hour.
    load_current_a, voltage_drop_percent, conductor_temperature_c
        NaN where there is none [A], [%], [C].
    unpriced
        Needs that no part serves.
    valid_until
        Last day, in days since 1970; ``NO_DAY`` where nothing limits it.
    has_deposit
        Whether a deposit is asked for.
    which
        Index into the lists of circuits, -1 in a row without a quote.
    """

    def __init__(self, count: int, currency: str) -> None:
        self.currency = currency
        self.verdict = np.full(count, -1, np.int8)
        self.amounts: dict[str, Whole] = {
            name: np.zeros(count, np.int64) for name in Amounts._fields
        }
        self.labour_hours = np.zeros(count, np.int64)
        self.load_current_a = np.full(count, np.nan)
        self.voltage_drop_percent = np.full(count, np.nan)
        self.conductor_temperature_c = np.full(count, np.nan)
        self.unpriced = np.zeros(count, np.int32)
        self.valid_until = np.full(count, NO_DAY, np.int32)
        self.has_deposit = np.zeros(count, np.bool_)
        self.which = np.full(count, -1, np.int32)
        self._circuits: dict[tuple[QuotedCircuit, ...], int] = {}
        self._refusals: dict[int, Refusal] = {}

    def index_of(self, circuits: tuple[QuotedCircuit, ...]) -> int:
        """Return the index of a list of circuits, a new one if it is new."""
        return self._circuits.setdefault(circuits, len(self._circuits))

    def enter(self, row: int, quote: Quote | Refusal) -> None:
        """Enter the answer of a single call into a row.

        Parameters
        ----------
        row
            Which one.
        quote
            The answer.
        """
        if isinstance(quote, Refusal):
            self._refusals[row] = quote
            self.verdict[row] = self.which[row] = -1
            self.valid_until[row] = NO_DAY
            for numbers in (
                self.load_current_a,
                self.voltage_drop_percent,
                self.conductor_temperature_c,
            ):
                numbers[row] = np.nan
            return
        digits = minor_unit_digits(self.currency)
        for name, amount in quote.amounts._asdict().items():
            self.amounts[name][row] = 0 if amount is None else int(amount.scaleb(digits))
        self.has_deposit[row] = quote.amounts.deposit is not None
        self.verdict[row] = VERDICTS.index(quote.verdict)
        self.labour_hours[row] = int(quote.labour_hours.scaleb(HOURS_DIGITS))
        self.load_current_a[row] = quote.load_current_a
        self.voltage_drop_percent[row] = _number(quote.voltage_drop_percent)
        self.conductor_temperature_c[row] = _number(quote.conductor_temperature_c)
        self.unpriced[row] = quote.unpriced
        self.valid_until[row] = _day_number(quote.valid_until)
        self.which[row] = self.index_of(quote.circuits)

    def rows(self, package: str, vehicles: pa.Array) -> Rows:
        """Return the columns as rows.

        Parameters
        ----------
        package
            Key of the package.
        vehicles
            Key of the vehicle of each row.

        Returns
        -------
        Rows
            In the same order.
        """
        schema = flat_schema(self.currency)
        count, without = self.verdict.size, self.verdict < 0
        money = schema.field("total").type
        columns = {
            "package": pa.repeat(pa.scalar(package), count),
            "vehicle": vehicles,
            "verdict": pa.array(VERDICTS, pa.utf8()).take(_indices(self.verdict)),
            "currency": pa.array([self.currency]).take(_indices(np.where(without, -1, 0))),
            **{name: decimals(values, without, money) for name, values in self.amounts.items()},
            "deposit": decimals(self.amounts["deposit"], without | ~self.has_deposit, money),
            "labour_hours": decimals(self.labour_hours, without, HOURS),
            "load_current_a": _numbers(self.load_current_a),
            "voltage_drop_percent": _numbers(self.voltage_drop_percent),
            "conductor_temperature_c": _numbers(self.conductor_temperature_c),
            "unpriced": pa.array(self.unpriced, mask=without),
            "valid_until": pa.array(self.valid_until, mask=self.valid_until == NO_DAY).view(
                pa.date32()
            ),
            **self._refused(count),
        }
        flat = pa.RecordBatch.from_arrays([columns[name] for name in schema.names], schema=schema)
        return Rows(flat, tuple(self._circuits), self.which)

    def _refused(self, count: int) -> dict[str, pa.Array]:
        if not self._refusals:
            return {name: pa.nulls(count, pa.utf8()) for name in ("code", "detail")}
        which = np.full(count, -1)
        which[list(self._refusals)] = np.arange(len(self._refusals))
        texts: Sequence[Refusal] = tuple(self._refusals.values())
        places = _indices(which)
        return {
            "code": pa.array([entry.code for entry in texts]).take(places),
            "detail": pa.array([entry.detail for entry in texts]).take(places),
        }


def _day_number(day: date | None) -> int:
    return NO_DAY if day is None else day.toordinal() - _EPOCH


def _days(values: npt.NDArray[np.int32]) -> pa.Array:
    return pa.array(values, mask=values == NO_DAY).view(pa.date32())


def decimals(values: Whole, absent: Mask, kind: pa.DataType) -> pa.Array:
    """Return whole numbers of the last decimal of a kind as decimals.

    Parameters
    ----------
    values
        Whole numbers.
    absent
        Rows that have none.
    kind
        A ``decimal128`` type.

    Returns
    -------
    pyarrow.Array
        Exactly these.
    """
    # A decimal of 128 bits in two's complement, low word first (Arrow columnar format).
    words = np.empty((values.size, 2), "<i8")
    words[:, 0] = values
    words[:, 1] = values >> 63
    present = np.packbits(~absent, bitorder="little")
    buffers = [pa.py_buffer(present), pa.py_buffer(words)]
    return pa.Array.from_buffers(kind, values.size, buffers)


def _indices(places: npt.NDArray[np.signedinteger]) -> pa.Array:
    return pa.array(places.astype(np.int32), mask=places < 0)


def _numbers(values: Array) -> pa.Array:
    return pa.array(values, mask=np.isnan(values))


def _number(value: float | None) -> float:
    return np.nan if value is None else value
