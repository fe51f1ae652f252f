"""Quotes of a package for many vehicles by the array: sizes frame by frame, then the rest."""

from collections.abc import Hashable
from datetime import date
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from loomwright.batch.bills.columns import BillColumns
from loomwright.batch.bills.job_cases import billed_key
from loomwright.batch.bills.row_bills import BookJobs, Difficulties, RowBills
from loomwright.batch.engine import Batch, Engine
from loomwright.batch.frames import frames_of, variation_of
from loomwright.batch.pair import pair_job
from loomwright.batch.quote import Refusal, reference_quote, refusal_of_faults
from loomwright.batch.quote_columns import QuoteColumns
from loomwright.batch.quoted_circuits import Quoted, quote_verdicts, quoted_circuits, quoted_key
from loomwright.batch.rows import Rows
from loomwright.batch.sizing.known_fuses import KnownFuses
from loomwright.batch.sizing.sized_rows import sized_rows
from loomwright.batch.sizing.sizes import SizedRows, joined_sizes
from loomwright.batch.variation import Variation, joined
from loomwright.engineering.record import record
from loomwright.jobs.job import Job
from loomwright.pricing.faults import DocumentError, Fault

Indices = npt.NDArray[np.int64]

# Enough for packages one after the other, and for listed pairs that come back to the same few.
_KEPT_PACKAGES, _KEPT_JOBS, _KEPT_OPTIONS, _KEPT_DAYS = 256, 4096, 64, 8


def engine_of(batch: Batch) -> Engine:
    """Return the engine that works out the quotes of a batch, wherever one is needed.

    Parameters
    ----------
    batch
        Packages, vehicles and pricing.

    Returns
    -------
    Engine
        The one place where an engine is chosen.
    """
    return ArrayEngine(batch)


class ArrayEngine:
    """Works out the rows of a package together, with the formulas of the single call.

    Vehicles of one frame are one job with columns of numbers. Rows that the array does not cover go
    to the single call, which gives the same answers, only later.

    Parameters
    ----------
    batch
        Packages, vehicles and pricing.
    """

    def __init__(self, batch: Batch) -> None:
        self._batch = batch
        self._frames = frames_of(batch.vehicles)
        self._keys = pa.array([vehicle.key for vehicle in batch.vehicles], pa.utf8())
        self._bills = lru_cache(_KEPT_PACKAGES)(self._bills_of)
        self._job = lru_cache(_KEPT_JOBS)(self._read_job)
        self._key = lru_cache(_KEPT_JOBS)(self._alike_key)
        self._fuses = KnownFuses()
        self._bills_by_options: dict[str, RowBills] = {}
        self._jobs_by_day = lru_cache(_KEPT_DAYS)(self._jobs_on)
        #: Rows that went to the single call so far.
        self.single_calls = 0

    def rows(self, package: int, vehicles: Indices) -> Rows:
        """Return the rows of a package for some vehicles.

        Parameters
        ----------
        package
            Index of the package.
        vehicles
            Indices of the vehicles.

        Returns
        -------
        Rows
            One for each vehicle, in that order.
        """
        columns = QuoteColumns(vehicles.size, self._batch.pricing.book.currency)
        frame_of = self._frames.frame_of[vehicles]
        sized: dict[Hashable, list[_SizedPart]] = {}
        for rows in _groups(frame_of):
            self._size_frame(columns, package, vehicles, rows, sized)
        for alike in sized.values():
            self._enter_quotes(columns, package, vehicles, alike)
        return columns.rows(self._batch.packages[package].key, self._keys.take(pa.array(vehicles)))

    def _size_frame(
        self,
        columns: QuoteColumns,
        package: int,
        vehicles: Indices,
        rows: Indices,
        sized: dict[Hashable, list["_SizedPart"]],
    ) -> None:
        """Size the rows of one frame and note them to be quoted, or enter why they are not."""
        place = int(self._frames.frame_of[vehicles[rows[0]]])
        bills, job = self._bills(package), self._job(package, place)
        if isinstance(bills, Refusal) or isinstance(job, Refusal):
            refusal = bills if isinstance(bills, Refusal) else job
            for row in rows.tolist():
                columns.enter(row, refusal)  # type: ignore[arg-type]
            return
        frame, members = self._frames.frames[place], self._frames.row_of[vehicles[rows]]
        variation = variation_of(job, frame, members)
        sizes = sized_rows(variation, self._fuses)
        # What quotes do not look at tells frames apart, so that many of them are quoted as one.
        part = _SizedPart(rows, variation, sizes, frame.difficulty[members])
        sized.setdefault(self._key(package, place), []).append(part)

    def _enter_quotes(
        self, columns: QuoteColumns, package: int, vehicles: Indices, alike: list["_SizedPart"]
    ) -> None:
        """Enter the quotes of rows whose jobs are alike but for sizes."""
        bills = self._bills(package)
        assert isinstance(bills, RowBills)
        rows = np.concatenate([each.rows for each in alike])
        variation = joined([each.variation for each in alike])
        sizes = joined_sizes([each.sizes for each in alike])
        difficulty = np.concatenate([each.difficulty for each in alike])
        quoted = quoted_circuits(variation, sizes)
        _enter_circuits(columns, rows, quoted)
        priced = bills.of(variation, sizes, Difficulties(self._frames.difficulties, difficulty))
        _enter_bills(columns, rows, priced)
        columns.verdict[rows] = quote_verdicts(
            quoted.overloaded, quoted.all_sized, priced.unpriced > 0
        )
        self._ask_singly(columns, package, vehicles, rows[sizes.unusual | priced.needs_single_call])

    def _ask_singly(
        self, columns: QuoteColumns, package: int, vehicles: Indices, rows: Indices
    ) -> None:
        batch = self._batch
        wanted = batch.packages[package]
        for row in rows.tolist():
            vehicle = batch.vehicles[int(vehicles[row])]
            columns.enter(row, reference_quote(wanted, vehicle, batch.pricing))
        self.single_calls += rows.size

    def _bills_of(self, package: int) -> RowBills | Refusal:
        """Return the bills by the options of a package; packages of the same options share them."""
        pricing = self._batch.pricing
        try:
            options = pricing.options(self._batch.packages[package])
        except DocumentError as error:
            return refusal_of_faults(
                [Fault(f"/pricing{each.pointer}", each.message) for each in error.faults]
            )
        known = self._bills_by_options
        key = repr(options)
        if key not in known:
            if len(known) >= _KEPT_OPTIONS:
                known.pop(next(iter(known)))
            known[key] = RowBills(pricing.book, options, self._jobs_by_day(options.as_of))
        return known[key]

    def _jobs_on(self, day: date | None) -> BookJobs:
        return BookJobs(self._batch.pricing.book.on_day(day))

    def _read_job(self, package: int, frame: int) -> Job | Refusal:
        """Return the job of a package for the vehicles of a frame, with the numbers of one."""
        vehicle = self._frames.frames[frame].vehicle
        try:
            return pair_job(self._batch.packages[package], vehicle)
        except DocumentError as error:
            return refusal_of_faults(error.faults)

    def _alike_key(self, package: int, frame: int) -> tuple[Hashable, ...]:
        """Return what jobs have in common whose rows are quoted as those of one."""
        job = self._job(package, frame)
        assert isinstance(job, Job)
        return billed_key(job), quoted_key(job)


@record
class _SizedPart:
    """Rows of one frame with their sizes."""

    rows: Indices
    variation: Variation
    sizes: SizedRows
    difficulty: Indices


def _groups(codes: Indices) -> list[Indices]:
    """Return the places of each code, in order."""
    order = np.argsort(codes, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(codes[order], prepend=-1)))[1:]


def _enter_circuits(columns: QuoteColumns, rows: Indices, quoted: Quoted) -> None:
    columns.load_current_a[rows] = quoted.load_current_a
    columns.voltage_drop_percent[rows] = quoted.voltage_drop_percent
    columns.conductor_temperature_c[rows] = quoted.conductor_temperature_c
    indices = np.array([columns.index_of(circuits) for circuits in quoted.circuits], np.int32)
    columns.which[rows] = indices[quoted.which]


def _enter_bills(columns: QuoteColumns, rows: Indices, priced: BillColumns) -> None:
    for name, values in priced.amounts.items():
        if values is not None:
            columns.amounts[name][rows] = values
    columns.has_deposit[rows] = priced.amounts["deposit"] is not None
    columns.labour_hours[rows] = priced.labour_hours
    columns.unpriced[rows] = priced.unpriced
    columns.valid_until[rows] = priced.valid_until
