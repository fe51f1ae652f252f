"""Request of build-bill-of-materials."""

from collections.abc import Mapping
from functools import cache
from typing import Any

from loomwright.documents.options import BILL_DOCUMENT_RECORD
from loomwright.documents.paperwork import PAPERWORK_RECORD
from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from loomwright.jobs.job_members import job_record
from loomwright.pricing.members import Member, Record
from loomwright.pricing.pricing_options import PRICING_RECORD
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.web.schemas.documents import JsonSchema, Rule, components
from loomwright.web.schemas.job import JOB_RULES
from loomwright.web.schemas.price_book import (
    BOOK_CHOICE,
    BOOK_RULES,
    PRICING_RULES,
    at_most_one_book,
)

# A job and what prices it, as several operations take them.
PRICED_JOB: Mapping[str, Member] = {
    "job": job_record(tables(), tuple(fuse_tables().types)),
    **BOOK_CHOICE,
    "pricing": PRICING_RECORD,
}
REQUEST = Record(
    "BuildBillOfMaterialsRequest",
    {**PRICED_JOB, "paperwork": PAPERWORK_RECORD, "document": BILL_DOCUMENT_RECORD},
)
# Rules between the members of these documents and of what they hold.
REQUEST_RULES: Mapping[str, Rule] = {**JOB_RULES, **BOOK_RULES, **PRICING_RULES}


@cache
def request_components() -> dict[str, JsonSchema]:
    """Return the component schemas of the request, by name."""
    return components(REQUEST, {REQUEST.name: at_most_one_book, **REQUEST_RULES})


# What a request states so that its bill can be made into any document.
_QUOTED: dict[str, Any] = {
    "pricing": {"as_of": "2031-04-30"},
    "paperwork": {
        "number": "0017",
        "seller": "Quayside Fitters (invented)",
        "booking": {"start": "2031-05-06T08:00:00+02:00", "bay": "Bay 2"},
    },
}


def request_examples() -> dict[str, dict[str, Any]]:
    """Return the demo jobs as requests, by name; one of them as it is quoted."""
    plain = {name: {"job": demo_job(name)} for name in DEMO_JOBS}
    return {**plain, "hybrid_jump_start": {**plain["hybrid_jump_start"], **_QUOTED}}
