"""Rows of jobs with sizes that no engineering was asked for, shops, and single bills of them."""

import random
from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any

import numpy as np
from hypothesis import strategies as st

from loomwright.batch.bills.columns import NO_DAY, BillColumns
from loomwright.batch.bills.pieces import CodedCircuit, WiringCase
from loomwright.batch.quote import Amounts
from loomwright.batch.sizing.sizes import NONE, CircuitSizes, SizedRows
from loomwright.batch.variation import (
    GROUND_LEAD_LENGTH,
    REMOTE_LEAD_LENGTH,
    SEGMENT_LENGTH,
    SIGNAL_LEAD_LENGTH,
    Place,
    Variation,
)
from loomwright.engineering.errors import EngineeringError
from loomwright.jobs.bill_answer import labour_hours
from loomwright.jobs.demo_library import demo_price_book
from loomwright.jobs.job import Job
from loomwright.jobs.job_bills import JobBills
from loomwright.jobs.sized_circuit import SIZED, VERDICTS, BuiltCircuit
from loomwright.pricing.bill import Bill
from loomwright.pricing.money import minor_unit_digits
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.pricing_options import PricingOptions
from loomwright.tables.load import tables

Document = dict[str, Any]
DAY = "2031-04-30"


def length_places(job: Job) -> dict[Place, float]:
    """Every length of a job that rows may differ in."""
    found: dict[Place, float] = {}
    for circuit in job.circuits:
        for index, segment in enumerate(circuit.route):
            found[Place(SEGMENT_LENGTH, circuit.key, index)] = segment.length_m
        if circuit.return_path.path == "chassis":
            place = Place(GROUND_LEAD_LENGTH, circuit.key)
            found[place] = circuit.return_path.ground_lead_length_m
        for index, signal in enumerate(circuit.signal_leads):
            found[Place(SIGNAL_LEAD_LENGTH, circuit.key, index)] = signal.length_m
        for index, remote in enumerate(circuit.remote_leads):
            found[Place(REMOTE_LEAD_LENGTH, circuit.key, index)] = remote.length_m
    return found


def drawn_variation(job: Job, count: int, draw: np.random.Generator) -> Variation:
    """Rows whose lengths are drawn: finer than micrometres, halves of one, decimetres, the same."""
    values = {}
    for place, length_m in length_places(job).items():
        drawn = length_m * draw.uniform(0.3, 2.0, count)
        match draw.integers(0, 4):
            case 0:
                drawn = np.maximum(0.1, np.round(drawn, 1))
            case 1:
                drawn = np.round(drawn * 2e6) / 2e6
            case 2:
                continue
        values[place] = drawn
    return Variation(job, count, values)


def drawn_sizes(job: Job, count: int, draw: np.random.Generator, least_kinds: int = 1) -> SizedRows:
    """Rows each with one of a few conductors and fuses for every circuit, some without."""
    nothing = np.full(count, np.nan)
    circuits = {}
    for circuit in job.circuits:
        series = tables().series[circuit.conductor.series]
        kinds = int(draw.integers(least_kinds, 5))
        of_row = draw.integers(0, kinds, count)
        verdict = np.where(draw.random(kinds) < 0.9, 0, draw.integers(1, len(VERDICTS), kinds))
        is_sized = verdict[of_row] == VERDICTS.index(SIZED)
        size = draw.integers(0, len(series), kinds)[of_row]
        fuse_type = draw.integers(0, len(circuit.fuse_types), kinds)[of_row]
        rating = draw.choice([5.0, 7.5, 10.0, 30.0, 60.0, 100.0], kinds)[of_row]
        circuits[circuit.key] = CircuitSizes(
            verdict=verdict[of_row].astype(np.int16),
            size=np.where(is_sized, size, NONE).astype(np.int16),
            fuse_type=np.where(is_sized, fuse_type, NONE).astype(np.int16),
            rated_current_a=np.where(is_sized, rating, np.nan),
            load_current_a=nothing,
            voltage_drop_v=nothing,
            conductor_temperature_k=nothing,
        )
    return SizedRows(circuits, np.zeros(count, np.bool_))


def built_circuits(job: Job, sizes: SizedRows, row: int) -> list[BuiltCircuit]:
    """The circuits of one row, as a bill takes them."""
    built: dict[str, tuple[Any, str, float]] = {}
    for circuit in job.circuits:
        own = sizes.circuits[circuit.key]
        if VERDICTS[own.verdict[row]] == SIZED:
            conductor = tables().series[circuit.conductor.series][own.size[row]]
            fuse_type = circuit.fuse_types[own.fuse_type[row]]
            built[circuit.key] = conductor, fuse_type, float(own.rated_current_a[row])
    found: list[BuiltCircuit] = []
    for circuit in job.circuits:
        fuses = tuple(
            built[branch.key][1:] for branch in job.branches(circuit.key) if branch.key in built
        )
        conductor, fuse_type, rating_a = built.get(
            circuit.key, (tables().series["metric"][0], "", 0.0)
        )
        case = WiringCase(conductor, fuse_type, rating_a, fuses)
        verdict = VERDICTS[sizes.circuits[circuit.key].verdict[row]]
        found.append(CodedCircuit(circuit, case, verdict))
    return found


def fields_of_bill(bill: Bill) -> dict[str, object]:
    """What a row says of a bill, in its terms."""
    totals, digits = bill.totals, minor_unit_digits(bill.currency)
    stated = {
        "list_total": totals.list_total,
        "discount_total": totals.discount,
        "shared_total": totals.shared,
        **{name: getattr(totals, name) for name in Amounts._fields if hasattr(totals, name)},
    }
    found: dict[str, object] = {
        name: None if money is None else int(money.amount.scaleb(digits))
        for name, money in stated.items()
    }
    found["tax_total"] = sum(tax.amount.minor_units for tax in totals.taxes)
    day = bill.valid_until
    return found | {
        "labour_hours": labour_hours(bill.lines) * 10**6,
        "unpriced": len(bill.unpriced),
        "valid_until": NO_DAY if day is None else int(np.datetime64(day, "D").astype(int)),
    }


def fields_of_row(columns: BillColumns, row: int) -> dict[str, object]:
    """What a row says of its bill."""
    return {
        **{
            name: None if column is None else int(column[row])
            for name, column in columns.amounts.items()
        },
        "labour_hours": Decimal(int(columns.labour_hours[row])),
        "unpriced": int(columns.unpriced[row]),
        "valid_until": int(columns.valid_until[row]),
    }


def assert_rows_are_single_bills(
    variation: Variation,
    sizes: SizedRows,
    columns: BillColumns,
    book: PriceBook,
    options: PricingOptions,
    rows: Iterable[int],
) -> int:
    """Hold rows to their single bills; return how many there were that are no refusals."""
    held = 0
    for row in rows:
        job = variation.job_of(row)
        try:
            bill = JobBills(job, book, options).of(built_circuits(job, sizes, row))
        except EngineeringError:
            assert columns.needs_single_call[row]
            continue
        assert not columns.needs_single_call[row]
        assert fields_of_row(columns, row) == fields_of_bill(bill)
        held += 1
    return held


@st.composite
def shops(draw: st.DrawFn) -> Document:
    """The demo price book, changed in all that decides what is bought and what it comes to."""
    change = random.Random(draw(st.integers(0, 2**32)))
    book = demo_price_book()
    book["currency"] = draw(st.sampled_from(("EUR", "JPY", "KWD")))
    taxes = [
        {"key": f"t{index}", "name": "Tax", "percent": change.choice(("19", "7.5", "2.125", "0"))}
        for index in range(draw(st.integers(0, 3)))
    ]
    categories = [
        {"key": key, "taxes": change.sample([tax["key"] for tax in taxes], min(size, len(taxes)))}
        for key, size in (("none", 0), ("one", 1), ("all", 3))
    ]
    book |= {
        "taxes": taxes,
        "tax_categories": categories,
        "prices_include_tax": draw(st.booleans()),
        "rounding": {
            "tax": draw(st.sampled_from(("line", "document"))),
            "mode": draw(st.sampled_from(("half_up", "half_even", "down", "up"))),
        },
        "labour_minimum": draw(st.sampled_from(("0", "0", "99.95", "900"))),
    }
    if draw(st.booleans()):
        book["quote_days"] = 30
    if draw(st.booleans()):
        book["valid_until"] = "2031-06-30"
    book["rules"] |= {
        "conductor_slack_percent": change.choice(("10", "12.345", "0")),
        "tape_overlap_percent": change.choice(("50", "33.3")),
        "tie_spacing_m": change.choice(("0.3", "0.07")),
        "labour_increment_h": change.choice(("0.05", "0.001", "1")),
    }
    _change_parts(book, change)
    for sold in (*book["parts"], *book["kits"], *book["labour"]):
        sold["tax_category"] = change.choice(("none", "one", "all", "all"))
    for operation in book["labour"]:
        operation["charged_per"] = change.choice(("job", "piece", "metre", "metre"))
    book["labour"] = [operation for operation in book["labour"] if change.random() < 0.9]
    return book


def _change_parts(book: Document, change: random.Random) -> None:
    kept = [part for part in book["parts"] if change.random() < 0.93]
    for part in kept:
        if part["kind"] in ("conductor", "split_loom", "cloth_tape", "remote_lead"):
            part["sale_increment"] = change.choice(("0.1", "0.5", "0.3", "0.001"))
            part["unit"] = change.choice(("MTR", "MTR", "FOT"))
        if change.random() < 0.2:
            part["price_breaks"] = [{"from_quantity": "4", "unit_price": "0.375"}]
        if change.random() < 0.2 and part["kind"] != "cable_tie":
            part["packs"] = [{"quantity": change.choice(("3", "4.5")), "price": "1.99"}]
        if change.random() < 0.1:
            part["stock"] = change.choice(("0", "3"))
        if change.random() < 0.1:
            part["valid_until"] = change.choice(("2031-04-29", "2031-05-15", "2031-05-20"))
    for part in [part for part in kept if change.random() < 0.05]:
        # Another that serves as well.
        kept.append({**part, "key": f"{part['key']}-B", "unit_price": "1.234567"})
    book["parts"] = kept
    keys = {part["key"] for part in kept}
    book["kits"] = [kit for kit in book["kits"] if all(e["part"] in keys for e in kit["contents"])]
    for index in range(change.randint(0, 2)):
        wires = [part["key"] for part in kept if part["kind"] == "conductor"]
        ends = [part["key"] for part in kept if part["kind"] in ("ring_terminal", "fuse")]
        held = {change.choice(wires): "2", change.choice(ends): "1", change.choice(ends): "2"}
        book["kits"].append(
            {
                "key": f"KIT-{index}",
                "description": "Drawn kit",
                "contents": [{"part": key, "quantity": each} for key, each in held.items()],
                "unit_price": change.choice(("2", "5.5", "20")),
            }
        )


def pricing_documents() -> st.SearchStrategy[Document]:
    """Day, discounts, package price or document discount, deposit; each or none."""
    whole, some = st.integers(1, 3000).map(str), st.integers(0, 400).map(str)
    percents = st.sampled_from(("0", "5", "12.345", "33.333333", "100"))
    share = st.fixed_dictionaries({"percent": percents}) | st.fixed_dictionaries({"amount": some})
    discounts = st.sampled_from(
        (
            [],
            [{"kind": "labour", "percent": "12.5"}],
            [{"kind": "conductor", "percent": "7"}, {"key": "labour_minimum", "percent": "50"}],
            [{"key": "run_conductor", "percent": "100"}, {"kind": "cable_tie", "percent": "3.3"}],
        )
    )
    of_whole: Sequence[st.SearchStrategy[Document]] = (
        st.just({}),
        share.map(lambda stated: {"document_discount": stated}),
        whole.map(lambda price: {"package": {"name": "Package", "price": price}}),
    )
    return st.builds(
        lambda day, lines, whole, deposit: {**day, "line_discounts": lines, **whole, **deposit},
        st.sampled_from(({}, {"as_of": DAY})),
        discounts,
        st.one_of(of_whole),
        st.one_of(st.just({}), share.map(lambda stated: {"deposit": stated})),
    )
