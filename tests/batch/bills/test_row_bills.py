"""Bills of rows: in every field those of the single call; what is kept, and what is left to it."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from drawn_row_bills import (
    assert_rows_are_single_bills,
    drawn_sizes,
    drawn_variation,
    fields_of_row,
)
from loomwright.batch.bills.columns import NO_DAY, BillColumns
from loomwright.batch.bills.row_bills import BookJobs, Difficulties, RowBills
from loomwright.batch.quote import Amounts, Quote, quote_of_job
from loomwright.batch.sizing.sizes import NONE, CircuitSizes, SizedRows
from loomwright.batch.variation import SEGMENT_LENGTH, SIGNAL_LEAD_LENGTH, Place, Variation
from loomwright.jobs.circuit_conductors import circuit_conductors
from loomwright.jobs.circuit_fuses import sized_circuits
from loomwright.jobs.demo_library import DEMO_JOBS, demo_book, demo_job, demo_price_book
from loomwright.jobs.job import Job
from loomwright.jobs.job_document import job_from_document
from loomwright.jobs.sized_circuit import VERDICTS, SizedCircuit
from loomwright.pricing.bill import NO_OPTIONS
from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.pricing_options import PricingOptions, pricing_from_document
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables

Document = dict[str, Any]


def job_of(document: Document) -> Job:
    return job_from_document(document, tables(), fuse_tables().types)


@pytest.mark.parametrize(
    ("pricing", "share"),
    [
        ({}, 1.0),
        ({"package": {"name": "All in", "price": "799"}, "deposit": {"percent": "30"}}, 0.5),
        ({"document_discount": {"percent": "7.5"}, "as_of": "2031-04-30"}, 0.5),
    ],
)
@pytest.mark.parametrize("name", DEMO_JOBS)
def test_rows_of_the_demo_jobs_are_their_single_bills(
    name: str, pricing: Document, share: float
) -> None:
    draw = np.random.default_rng(DEMO_JOBS.index(name))
    job, book = job_of(demo_job(name)), demo_book()
    options = pricing_from_document(pricing, book.currency)
    count = int(share * (4000 if len(job.circuits) == 1 else 1200))
    variation = drawn_variation(job, count, draw)
    sizes = drawn_sizes(job, count, draw, least_kinds=3)
    columns = RowBills(book, options).of(variation, sizes)
    held = assert_rows_are_single_bills(variation, sizes, columns, book, options, range(count))
    assert held == count


def sized_rows(variation: Variation) -> SizedRows:
    """The rows as the engineering sizes each of them alone."""
    rows = []
    for row in range(variation.count):
        job = variation.job_of(row)
        rows.append(sized_circuits(job, circuit_conductors(job, tables()), tables(), fuse_tables()))
    by_circuit = zip(variation.job.circuits, zip(*rows, strict=True), strict=True)
    circuits = {circuit.key: circuit_sizes(own) for circuit, own in by_circuit}
    return SizedRows(circuits, np.zeros(variation.count, np.bool_))


def circuit_sizes(rows: tuple[SizedCircuit, ...]) -> CircuitSizes:
    def index(values: tuple[Any, ...], wanted: object) -> int:
        return NONE if wanted is None else values.index(wanted)

    circuit = rows[0].circuit
    series = tables().series[circuit.conductor.series]
    nothing = np.full(len(rows), np.nan)
    ratings = [np.nan if each.rated_current_a is None else each.rated_current_a for each in rows]
    return CircuitSizes(
        verdict=np.array([VERDICTS.index(each.verdict) for each in rows], np.int16),
        size=np.array([index(series, each.conductor) for each in rows], np.int16),
        fuse_type=np.array([index(circuit.fuse_types, e.fuse_type) for e in rows], np.int16),
        rated_current_a=np.array(ratings),
        load_current_a=nothing,
        voltage_drop_v=nothing,
        conductor_temperature_k=nothing,
    )


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_rows_that_the_engineering_sized_have_the_quotes_of_the_single_call(name: str) -> None:
    job, book = job_of(demo_job(name)), demo_book()
    variation = drawn_variation(job, 120, np.random.default_rng(7))
    options = pricing_from_document({"deposit": {"percent": "25"}}, book.currency)
    columns = RowBills(book, options).of(variation, sized_rows(variation))
    assert not columns.needs_single_call.any()
    for row in range(variation.count):
        quote = quote_of_job(variation.job_of(row), book, options)
        assert isinstance(quote, Quote)
        found = fields_of_row(columns, row)
        for field, amount in quote.amounts._asdict().items():
            assert found[field] == amount * 100
        assert found["labour_hours"] == quote.labour_hours * 10**6
        assert found["unpriced"] == quote.unpriced
        assert quote.valid_until is None
        assert found["valid_until"] == NO_DAY


def one_size(job: Job, count: int) -> SizedRows:
    """All rows with the same sizes."""
    return drawn_sizes(job, count, np.random.default_rng(3))


def bills_of_car(
    lengths_m: list[float], book: PriceBook, options: PricingOptions, where: Place
) -> tuple[BillColumns, Variation, SizedRows]:
    job = job_of(demo_job("combustion_car"))
    variation = Variation(job, len(lengths_m), {where: np.array(lengths_m)})
    sizes = sized_rows(Variation(job, 1, {}))
    every = np.zeros(len(lengths_m), np.int64)
    circuits = {
        key: CircuitSizes(*(getattr(own, field)[every] for field in CircuitSizes.__slots__))
        for key, own in sizes.circuits.items()
    }
    repeated = SizedRows(circuits, np.zeros(len(lengths_m), np.bool_))
    return RowBills(book, options).of(variation, repeated), variation, repeated


FIRST_SEGMENT = Place(SEGMENT_LENGTH, "amplifier_feed", 0)


@pytest.mark.parametrize("length_m", [np.nan, np.inf, -1.0, 0.0, 20_000.0])
def test_a_length_that_no_rule_is_for_is_left_to_the_single_call(length_m: float) -> None:
    columns, *_ = bills_of_car([1.0, length_m, 2.0], demo_book(), NO_OPTIONS, FIRST_SEGMENT)
    assert columns.needs_single_call.tolist() == [False, True, False]


def test_unusual_rows_are_left_to_the_single_call_whatever_they_hold() -> None:
    job = job_of(demo_job("combustion_car"))
    variation, sizes = Variation(job, 3, {}), one_size(job, 3)
    own = sizes.circuits["amplifier_feed"]
    own.size[1], own.rated_current_a[1], own.verdict[1] = 30_000, -1.0, 99
    sizes.unusual[1] = True
    columns = RowBills(demo_book(), NO_OPTIONS).of(variation, sizes)
    assert columns.needs_single_call.tolist() == [False, True, False]


def test_rows_whose_bill_the_options_do_not_fit_are_left_to_the_single_call() -> None:
    book, lengths_m = demo_book(), [0.5, 1.0, 9.0, 60.0]
    undisturbed, *_ = bills_of_car(lengths_m, book, NO_OPTIONS, FIRST_SEGMENT)
    total = undisturbed.amounts["total"]
    assert total is not None
    asked = f"{int(total[2]) / 100:.2f}"
    deposit = pricing_from_document({"deposit": {"amount": asked}}, book.currency)
    columns, variation, sizes = bills_of_car(lengths_m, book, deposit, FIRST_SEGMENT)
    assert columns.needs_single_call.tolist() == [True, True, False, False]
    held = assert_rows_are_single_bills(variation, sizes, columns, book, deposit, range(4))
    assert held == 2


@pytest.mark.parametrize(
    ("pricing", "difficulty"), [({"as_of": "2040-01-01"}, None), ({}, "underwater")]
)
def test_a_job_that_no_bill_is_made_of_is_left_to_the_single_call(
    pricing: Document, difficulty: str | None
) -> None:
    book = price_book_from_document({**demo_price_book(), "valid_until": "2039-12-31"})
    job = job_of(demo_job("combustion_car"))
    if difficulty is not None:
        job = replace(job, vehicle=replace(job.vehicle, difficulty=difficulty))
    options = pricing_from_document(pricing, book.currency)
    columns = RowBills(book, options).of(Variation(job, 2, {}), one_size(job, 2))
    assert columns.needs_single_call.all()


def test_rows_of_unlike_difficulty_are_billed_together_as_each_by_itself() -> None:
    job, book, draw = job_of(demo_job("truck_24v")), demo_book(), np.random.default_rng(11)
    variation, sizes = drawn_variation(job, 60, draw), drawn_sizes(job, 60, draw)
    stated = (None, "tight_cabin", "underwater", "fitted_out")
    of_rows = draw.integers(len(stated), size=60)
    bills = RowBills(book, NO_OPTIONS)
    together = bills.of(variation, sizes, Difficulties(stated, of_rows))
    assert np.array_equal(together.needs_single_call, of_rows == 2)
    totals = set()
    for code, difficulty in enumerate(stated):
        own = np.flatnonzero(of_rows == code)
        alike = replace(job, vehicle=replace(job.vehicle, difficulty=difficulty))
        rows = Variation(alike, own.size, variation.rows(own).values)
        alone = RowBills(book, NO_OPTIONS).of(rows, sizes.rows(own))
        if difficulty == "underwater":
            assert alone.needs_single_call.all()
            continue
        for place, row in enumerate(own.tolist()):
            assert fields_of_row(together, row) == fields_of_row(alone, place)
        totals.add(int(alone.labour_hours.sum()) // own.size)
    assert len(totals) == 3


def test_bills_of_unlike_options_share_what_does_not_depend_on_them() -> None:
    book, draw = demo_book(), np.random.default_rng(12)
    jobs = BookJobs(book)
    pricings: list[Document] = [
        {},
        {"line_discounts": [{"kind": "labour", "percent": "12.5"}]},
        {"line_discounts": [{"kind": "conductor", "percent": "5"}], "deposit": {"percent": "20"}},
        {"line_discounts": [{"key": "SET-8AWG", "percent": "10"}]},
    ]
    for name in DEMO_JOBS:
        job = job_of(demo_job(name))
        variation, sizes = drawn_variation(job, 30, draw), drawn_sizes(job, 30, draw)
        for pricing in pricings:
            options = pricing_from_document(pricing, book.currency)
            columns = RowBills(book, options, jobs).of(variation, sizes)
            rows = range(30)
            assert assert_rows_are_single_bills(
                variation, sizes, columns, book, options, rows
            ) == len(rows)


def test_amounts_that_64_bits_may_not_hold_are_left_to_the_single_call() -> None:
    shop = demo_price_book()
    for part in shop["parts"]:
        if part["kind"] == "conductor":
            part["unit_price"] = "999999999"
    book = price_book_from_document({**shop, "kits": [], "currency": "KWD"})
    package = pricing_from_document({"package": {"name": "all", "price": "5"}}, "KWD")
    columns, *_ = bills_of_car([1.0], book, package, FIRST_SEGMENT)
    assert columns.needs_single_call.all()


def test_rows_of_no_rows_are_none() -> None:
    job = job_of(demo_job("combustion_car"))
    columns = RowBills(demo_book(), NO_OPTIONS).of(Variation(job, 0, {}), one_size(job, 0))
    assert columns.needs_single_call.size == columns.unpriced.size == 0
    assert set(columns.amounts) == set(Amounts._fields)
    assert columns.amounts["deposit"] is None


def test_the_longer_ready_made_lead_is_taken_from_a_micrometre_over_on() -> None:
    """The demo book has line pairs of 5 m, so that 5.000001 m needs the next longer one."""
    book, place = demo_book(), Place(SIGNAL_LEAD_LENGTH, "amplifier_feed", 0)
    lengths_m = [4.9999994, 5.0, 5.0000004, 5.000001, 99.0]
    columns, variation, sizes = bills_of_car(lengths_m, book, NO_OPTIONS, place)
    held = assert_rows_are_single_bills(variation, sizes, columns, book, NO_OPTIONS, range(5))
    assert held == 5
    totals = columns.amounts["list_total"]
    assert totals is not None
    assert columns.unpriced.tolist() == [0, 0, 0, 0, 1]
    assert totals[2] == totals[1] < totals[3]


def test_leads_that_no_part_serves_are_listed_once_where_they_are_as_long() -> None:
    document = demo_job("combustion_car")
    circuit = document["circuits"][0]
    circuit["signal_leads"] = [{"form": "unheard of", "length": length} for length in (1, 2, 3)]
    job, book = job_of(document), demo_book()
    first = Place(SIGNAL_LEAD_LENGTH, "amplifier_feed", 0)
    variation = Variation(job, 3, {first: np.array([1.0, 2.0, 3.0000004])})
    sizes = sized_rows(variation)
    columns = RowBills(book, NO_OPTIONS).of(variation, sizes)
    # The first row has 1, 2, 3 m, the second 2, 2, 3 m and the last, to the micrometre, 3, 2, 3 m.
    assert columns.unpriced.tolist() == [3, 2, 2]
    assert_rows_are_single_bills(variation, sizes, columns, book, NO_OPTIONS, range(3))


def test_what_is_kept_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("loomwright.batch.bills.row_bills.GREATEST_KNOWN_JOBS", 1)
    monkeypatch.setattr("loomwright.batch.bills.row_bills.GREATEST_CASES", 4)
    monkeypatch.setattr("loomwright.batch.bills.covers.GREATEST_KNOWN_COVERS", 1)
    monkeypatch.setattr("loomwright.batch.bills.line_amounts.GREATEST_KEPT", 8)
    monkeypatch.setattr("loomwright.batch.bills.row_bills.ROWS_AT_ONCE", 7)
    book, draw = demo_book(), np.random.default_rng(5)
    bills = RowBills(book, NO_OPTIONS)
    for name in (*DEMO_JOBS, *DEMO_JOBS):
        job = job_of(demo_job(name))
        variation, sizes = drawn_variation(job, 20, draw), drawn_sizes(job, 20, draw)
        columns = bills.of(variation, sizes)
        held = assert_rows_are_single_bills(variation, sizes, columns, book, NO_OPTIONS, range(20))
        assert held == 20
    assert len(bills._jobs._jobs) == 1
