"""Answers and pages of documents for people, and what stands in them."""

from collections.abc import Iterator
from functools import cache
from typing import Any

import orjson
from lxml import html as lxml_html

from loomwright.documents.for_people import document_sheet
from loomwright.documents.html import html_of
from loomwright.documents.options import DocumentOptions
from loomwright.documents.paperwork import paperwork_document, paperwork_from_document
from loomwright.documents.sheet import Sheet
from loomwright.jobs.demo_library import demo_book, demo_job
from loomwright.jobs.job import Job
from loomwright.jobs.plan.one_plan import one_plan_document
from loomwright.jobs.plan.plan import installation_plan
from loomwright.pricing.pricing_options import pricing_from_document
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.web.stated_jobs import stated_job

Answer = dict[str, Any]
PAPERWORK = {
    "number": "0017",
    "seller": "Quayside Fitters (invented)",
    "customer": "Fleet office",
    "booking": {"start": "2031-05-06T08:00:00+02:00", "bay": "Bay 2"},
}
PRICING = {"as_of": "2031-04-30", "deposit": {"percent": "30"}}


def plan_answer(job: Job, pricing: Answer, name: str = "recommended", **members: Any) -> Answer:
    """What the documents of a plan are made of, as it comes out of JSON."""
    book = members.pop("book", None) or demo_book()
    options = pricing_from_document(pricing, book.currency)
    plan = installation_plan(name, job, book, tables(), fuse_tables(), options)
    paperwork = paperwork_document(paperwork_from_document(members.get("paperwork", PAPERWORK)))
    return orjson.loads(orjson.dumps({**one_plan_document(job, plan), "paperwork": paperwork}))


@cache
def demo_plan(name: str) -> Answer:
    """The recommended plan of a demo job, with paperwork and a deposit."""
    return plan_answer(stated_job(demo_job(name)), PRICING)


def sheet_of_demo(name: str, kind: str, language: str = "en", units: str = "metric") -> Sheet:
    """A document of a demo job."""
    return document_sheet(demo_plan(name), DocumentOptions(kind, language, units))


def page_of(sheet: Sheet) -> lxml_html.HtmlElement:
    """The page of a document, parsed."""
    return lxml_html.document_fromstring(html_of(sheet).decode())


def tables_of(page: lxml_html.HtmlElement) -> dict[str, list[list[str]]]:
    """The cells of the tables of a page, by caption; the rows of totals behind the others."""
    return {
        table.findtext("caption"): [
            [cell.text_content() for cell in row.iter("td")] for row in table.iterfind("tbody/tr")
        ]
        for table in page.iter("table")
    }


def texts_of(value: Any) -> Iterator[str]:
    """Every text of plain values."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for entry in value.values():
            yield from texts_of(entry)
    elif isinstance(value, list):
        for entry in value:
            yield from texts_of(entry)
