"""Request and answer of check-price-book."""

from functools import cache
from typing import Any

from marshmallow import fields

from loomwright.jobs.checked_book import VERDICTS
from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from loomwright.jobs.job_members import job_record
from loomwright.pricing.book_check import BOOK, FINDINGS, WARNED_DAYS
from loomwright.pricing.book_tables import TABLES
from loomwright.pricing.kinds import KINDS
from loomwright.pricing.lines import KIT, LABOUR
from loomwright.pricing.members import DateText, Record, Records, Truth
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.web.schemas.base import Answer, describe
from loomwright.web.schemas.bill import UnpricedAnswer
from loomwright.web.schemas.common import AnswerBase
from loomwright.web.schemas.documents import JsonSchema, components
from loomwright.web.schemas.job import JOB_RULES
from loomwright.web.schemas.mounted import DIGEST
from loomwright.web.schemas.price_book import (
    BOOK_CHOICE,
    BOOK_RULES,
    BY_CSV,
    BY_DOCUMENT,
    at_most_one_book,
)

GREATEST_JOBS = 50
_JOB = job_record(tables(), tuple(fuse_tables().types))
CHECK = Record(
    "CheckPriceBookRequest",
    {
        **BOOK_CHOICE,
        "jobs": Records(
            _JOB.name,
            _JOB.members,
            1,
            GREATEST_JOBS,
            required=False,
            about="Jobs that the book shall price; without any nothing is judged missing.",
        ),
        "as_of": DateText(
            required=False,
            about="Day on which the book shall hold; without it nothing is judged stale, and no "
            "clock is ever read.",
        ),
        "show_cost": Truth(
            default=False,
            about="Hold the prices of a mounted book against its costs; for a key that may see "
            "cost only. A book in the request is always held against its costs.",
        ),
        "list_unused": Truth(default=False, about="List what none of the jobs uses."),
    },
)


def _book_on_trial(schema: JsonSchema) -> JsonSchema:
    """Leave the book open: what is wrong with it is what the answer says."""
    members = {BY_DOCUMENT: "PriceBook", BY_CSV: "PriceBookTables"}
    opened = {
        name: {
            "type": "object",
            "additionalProperties": True,
            "description": f"A {title} on trial: its faults are in the answer.",
        }
        for name, title in members.items()
    }
    properties = {**schema["properties"], **opened}
    return at_most_one_book({**schema, "properties": properties})


@cache
def check_components() -> dict[str, JsonSchema]:
    """Return the component schemas of the request, by name."""
    return components(CHECK, {CHECK.name: _book_on_trial, **JOB_RULES, **BOOK_RULES})


def check_examples() -> dict[str, dict[str, Any]]:
    """Return requests by name: the demo book against the demo jobs, and a book with faults."""
    return {
        "demo_book_against_demo_jobs": {
            "jobs": [demo_job(name) for name in DEMO_JOBS],
            "as_of": "2031-04-30",
        },
        "tables_with_faults": {
            "price_book_csv": {
                "book": "name,currency\nInvented shop,EUR\n",
                "labour": "key,description,charged_per,standard_hours,hourly_rate\n"
                'fit_lights,Fit light,piece,0.3,"68,00"\n',
            }
        },
    }


class CheckedBookAnswer(Answer):
    """The price book that was checked."""

    name = fields.String(required=True)
    digest = fields.String(required=True, metadata=DIGEST)
    currency = fields.String(required=True, metadata=describe("ISO 4217 code."))
    valid_from = fields.Date(required=True, allow_none=True)
    valid_until = fields.Date(required=True, allow_none=True)


class BookFaultAnswer(Answer):
    """One thing wrong with the book; of a CSV table also by table, row and column."""

    pointer = fields.String(required=True, metadata=describe("JSON pointer into the request."))
    table = fields.String(
        required=True,
        allow_none=True,
        metadata=describe(f"One of {', '.join(TABLES)}, or one that no book has."),
    )
    row = fields.Integer(required=True, allow_none=True, metadata=describe("The header is row 1."))
    column = fields.String(required=True, allow_none=True)
    message = fields.String(required=True)


class MissingAnswer(Answer):
    """What one job needs and the book lacks."""

    pointer = fields.String(required=True, metadata=describe("JSON pointer to the job."))
    title = fields.String(required=True)
    unknown_difficulty = fields.String(
        required=True,
        allow_none=True,
        metadata=describe("Factor that the vehicle names and the book lacks."),
    )
    unpriced = fields.List(fields.Nested(UnpricedAnswer), required=True)


class FindingAnswer(Answer):
    """One thing worth a look."""

    finding = fields.String(required=True, metadata={"enum": list(FINDINGS)})
    kind = fields.String(
        required=True,
        metadata=describe("Kind of line that it is about.", enum=[BOOK, *KINDS, KIT, LABOUR]),
    )
    keys = fields.List(
        fields.String(),
        required=True,
        metadata=describe("Keys that it is about; name of the book, or kinds where kind is book."),
    )
    message = fields.String(required=True)


def _group(about: str, *, allow_none: bool = False) -> fields.Field[Any]:
    return fields.List(
        fields.Nested(FindingAnswer), required=True, allow_none=allow_none, metadata=describe(about)
    )


class FindingsAnswer(Answer):
    """Findings by group; a group that was not judged is null."""

    missing = fields.List(
        fields.Nested(MissingAnswer),
        required=True,
        allow_none=True,
        metadata=describe("What jobs need and the book lacks; null without jobs."),
    )
    stale = _group(
        f"What does not hold on as_of or ends within {WARNED_DAYS} days; null without as_of.",
        allow_none=True,
    )
    duplicated = _group("Parts in each other's place; the one that is taken comes first.")
    below_cost = _group(
        "What is sold for less than it costs; null where the caller may not see cost.",
        allow_none=True,
    )
    dearer_together = _group("Price breaks, packs and kits dearer than the same bought singly.")
    incomplete_range = _group("What the range lacks whatever the job.")
    unused = _group(
        "What no job uses; null unless asked for. It has no part in the verdict.", allow_none=True
    )


class CheckPriceBookAnswer(AnswerBase):
    """A price book checked; with faults there is neither book nor findings."""

    verdict = fields.String(required=True, metadata={"enum": list(VERDICTS)})
    price_book = fields.Nested(CheckedBookAnswer, required=True, allow_none=True)
    as_of = fields.Date(required=True, allow_none=True)
    faults = fields.List(fields.Nested(BookFaultAnswer), required=True)
    findings = fields.Nested(FindingsAnswer, required=True, allow_none=True)
