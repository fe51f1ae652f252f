"""The plain-text answer: every figure of the answer stands on it, within its width."""

import re
from typing import Any

import pytest

from loomwright.documents.text import WIDTH, bill_text
from loomwright.jobs.answer import answer_document
from loomwright.jobs.demo_library import DEMO_JOBS, demo_job, demo_price_book
from loomwright.jobs.job_document import job_from_document
from loomwright.jobs.priced_job import priced_job
from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.pricing_options import pricing_from_document
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables


def answer(
    job: dict[str, Any],
    book: dict[str, Any] | None = None,
    pricing: dict[str, Any] | None = None,
) -> dict[str, Any]:
    read = job_from_document(job, tables(), fuse_tables().types)
    prices = price_book_from_document(book or demo_price_book())
    options = pricing_from_document(pricing or {}, prices.currency)
    return answer_document(priced_job(read, prices, tables(), fuse_tables(), options))


def flowed(text: str) -> str:
    return re.sub(r"\s+", " ", text)


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_every_line_reason_and_caution_is_on_the_text(name: str) -> None:
    document = answer(demo_job(name))
    text = bill_text(document)
    assert WIDTH < 100
    assert max(len(line) for line in text.splitlines()) <= WIDTH
    assert text.endswith("\n")
    words = flowed(text)
    for line in document["lines"]:
        assert flowed(line["reason"]) in words
        row = rf"^ *{line['number']}  .* {re.escape(line['quantity'])} {line['unit_word']} "
        figures = rf"+{re.escape(line['unit_price'])} +{re.escape(line['total'])}$"
        assert re.search(row + figures, text, re.MULTILINE), line
    for caution in document["cautions"]:
        assert flowed(caution["text"]) in words
    for figure in ("parts_total", "labour_total", "net_total", "total"):
        assert re.search(rf" {re.escape(document[figure])}$", text, re.MULTILINE)
    assert re.search(rf"TOTAL EUR +{re.escape(document['total'])}$", text, re.MULTILINE)


def test_columns_are_aligned() -> None:
    text = bill_text(answer(demo_job("combustion_car")))
    rows = [line for line in text.splitlines() if re.match(r"^ *\d+  \S", line)]
    assert len(rows) > 20
    assert {len(row) for row in rows} == {WIDTH}


def test_a_number_stays_on_one_line_with_its_unit() -> None:
    for name in DEMO_JOBS:
        for line in bill_text(answer(demo_job(name))).splitlines():
            assert not re.match(r"^ +(C|A|V|mm|mm2|%)\b", line)


def test_what_is_not_priced_and_not_sized_is_said() -> None:
    job = demo_job("combustion_car")
    job["circuits"][0]["taps"] = [{"use": "moonlight", "quantity": 2}]
    text = bill_text(answer(job))
    assert "NOT PRICED" in text
    assert "2 each, tap: use moonlight" in text
    assert "Result: incomplete" in text
    job["equipment"][0]["load_current"] = 2000
    text = bill_text(answer(job))
    assert "NOT SIZED (no conductor: no " in text


def test_what_is_off_and_what_is_due_is_said() -> None:
    pricing = {
        "as_of": "2031-05-01",
        "line_discounts": [{"kind": "labour", "percent": "10"}],
        "package": {"name": "Bass deal", "price": "480"},
        "deposit": {"percent": "25"},
    }
    book = {**demo_price_book(), "quote_days": 30}
    document = answer(demo_job("hybrid_jump_start"), book, pricing)
    text = bill_text(document)
    for label, name in (
        ("Line discounts, taken off above", "discount_total"),
        ("Change with the package Bass deal, in the lines above", "shared_total"),
        ("Deposit", "deposit"),
        ("Balance due", "balance_due"),
    ):
        assert re.search(rf"{label} +{re.escape(document[name])}$", text, re.MULTILINE)
    assert re.search(r"Prices hold until 2031-05-31\.$", text, re.MULTILINE)
    plain = bill_text(answer(demo_job("hybrid_jump_start")))
    assert not re.search("discount|Change with|Deposit|hold until", plain)


def test_a_substitute_stands_beside_what_lacks() -> None:
    book = demo_price_book()
    book["parts"] = [part for part in book["parts"] if part["key"] != "WIRE-4-R"]
    text = flowed(bill_text(answer(demo_job("hybrid_jump_start"), book)))
    assert "SUBSTITUTES" in text
    assert "bass_feed: 6 mm2 for 4 mm2 (not in price book), total " in text
