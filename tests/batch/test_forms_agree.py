"""One batch in every form of requests gives the same rows in every form of answers."""

import csv
import io
import json
from functools import cache
from typing import Any

import pyarrow as pa
import pytest
from stated_forms import OF_BATCHES

from loomwright.batch.engine import ReferenceEngine, batches
from loomwright.batch.forms.batch_document import BATCH_FORMS, Limits, batch_document
from loomwright.batch.forms.pairing import batch_of_document
from loomwright.batch.forms.writing import ROW_WRITERS
from loomwright.batch.pair import OF_VEHICLES
from loomwright.batch.quote import Pricing, Quote, reference_quote
from loomwright.batch.rows import COLUMNS
from loomwright.batch.summary import Summary
from loomwright.jobs.demo_library import demo_book, demo_job

Document = dict[str, Any]
CURRENCY = demo_book().currency


def package(key: str, job: Document, **pricing: Any) -> Document:
    kept = {name: job[name] for name in job if name not in OF_VEHICLES}
    return {"key": key, "job": kept, "pricing": pricing}


def vehicle(key: str, job: Document, **circuits: Any) -> Document:
    stated = {"key": key, **{name: job[name] for name in OF_VEHICLES}}
    return stated | {"circuits": [{"key": name, **circuits[name]} for name in circuits]}


@cache
def batch() -> Document:
    car, van = demo_job("combustion_car"), demo_job("van_second_battery")
    circuit = car["circuits"][0]["key"]
    longer = [{**car["circuits"][0]["route"][0], "length": "30 ft"}]
    return {
        "pricing": {"as_of": "2031-04-30"},
        "packages": [
            package("car", car),
            package("=car less", car, document_discount={"percent": "5"}),
            package("van", van, package={"name": "All in", "price": "1499.00"}),
        ],
        "vehicles": [
            vehicle("2024", car),
            vehicle("longer; -route", car, **{circuit: {"route": longer}}),
            vehicle("van, \u00e4lter", van),
        ],
    }


def rows(form_in: str, form_out: str) -> tuple[bytes, Summary]:
    content = io.BytesIO(OF_BATCHES[form_in](batch()))
    document = batch_document(content, form_in, Limits())
    stated, pairs = batch_of_document(document, Pricing(demo_book(), document.settings["pricing"]))
    summary = Summary(CURRENCY)
    coming = summary.passing(batches(ReferenceEngine(stated), stated, pairs, 2))
    return b"".join(ROW_WRITERS[form_out](coming, CURRENCY, summary)), summary


@pytest.mark.parametrize("form", [form for form in BATCH_FORMS if form != "json"])
def test_every_form_in_gives_the_same_bytes(form: str) -> None:
    assert rows(form, "ndjson")[0] == rows("json", "ndjson")[0]


def test_every_form_out_holds_the_same_rows() -> None:
    lines = [json.loads(line) for line in rows("json", "ndjson")[0].splitlines()]
    summary = lines.pop()["summary"]
    assert len(lines) == summary["rows"] == 9
    in_arrow = pa.ipc.open_stream(rows("csv", "arrow")[0]).read_all().to_pylist()
    assert [plain(row) for row in in_arrow] == lines
    text = rows("arrow", "csv")[0].decode()
    in_csv = list(csv.DictReader(io.StringIO(text, newline=""), strict=True))
    assert [list(row) for row in in_csv] == [list(COLUMNS)] * 9
    for row, line in zip(in_csv, lines, strict=True):
        assert row["package"].removeprefix("'") == line["package"]
        assert row["vehicle"].replace("'", "") == line["vehicle"]
        assert row["total"] == (line["total"] or "")
        assert json.loads(row["circuits"] or "null") == line["circuits"]


def plain(row: Document) -> Document:
    """A row as NDJSON has it."""
    made = {}
    for name, value in row.items():
        if name == "labour_hours":
            made[name] = None if value is None else float(value)
        elif hasattr(value, "as_tuple"):
            made[name] = f"{value:f}"
        else:
            made[name] = value.isoformat() if hasattr(value, "isoformat") else value
    return made


def test_the_rows_are_the_quotes_of_the_single_call() -> None:
    content, summary = rows("ndjson", "ndjson")
    lines = [json.loads(line) for line in content.splitlines()[:-1]]
    stated = batch()
    document = batch_document(io.BytesIO(json.dumps(stated).encode()), "json", Limits())
    pricing = Pricing(demo_book(), stated["pricing"])
    whole, _ = batch_of_document(document, pricing)
    wanted = [(each, vehicle) for each in whole.packages for vehicle in whole.vehicles]
    for line, (each, vehicle) in zip(lines, wanted, strict=True):
        quote = reference_quote(each, vehicle, pricing)
        assert (line["package"], line["vehicle"]) == (each.key, vehicle.key)
        if isinstance(quote, Quote):
            assert line["verdict"] == quote.verdict
            assert line["total"] == f"{quote.amounts.total:f}"
            assert line["circuits"] == [circuit._asdict() for circuit in quote.circuits]
        else:
            assert (line["code"], line["detail"]) == (quote.code, quote.detail)
    assert sum(summary.verdicts.values()) == sum(line["verdict"] is not None for line in lines)
    assert summary.verdicts["complete"] >= 3
