"""Answers that business documents are made of: the demo jobs, and bills drawn at random."""

from typing import Any

import orjson

from drawn_bills import Document, billed
from loomwright.jobs.answer import answer_document
from loomwright.jobs.bill_answer import bill_document
from loomwright.jobs.demo_library import demo_book, demo_job
from loomwright.jobs.priced_job import priced_job
from loomwright.pricing.pricing_options import pricing_from_document
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.web.stated_jobs import stated_job

DAY = "2031-04-30"


def demo_answer(name: str, pricing: Document | None = None) -> dict[str, Any]:
    """The answer for a demo job, as it comes out of JSON."""
    book = demo_book()
    options = pricing_from_document({"as_of": DAY, **(pricing or {})}, book.currency)
    priced = priced_job(stated_job(demo_job(name)), book, tables(), fuse_tables(), options)
    return orjson.loads(orjson.dumps(answer_document(priced)))


def drawn_answer(book: Document, pricing: Document, work: int) -> dict[str, Any]:
    """The answer of a bill of a drawn book, as if a complete job were behind it."""
    return {
        "verdict": "complete",
        "title": "Drawn",
        "vehicle": {"description": "Drawn vehicle"},
        **bill_document(billed(book, {"as_of": DAY, **pricing}, work)),
    }
