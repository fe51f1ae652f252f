"""Request of plan-installation."""

from functools import cache
from typing import Any

from loomwright.documents.options import PLAN_DOCUMENT_RECORD
from loomwright.documents.paperwork import PAPERWORK_RECORD
from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from loomwright.jobs.plan.alternatives import HEADROOM_PERCENT
from loomwright.pricing.members import Record
from loomwright.web.schemas.bill_request import PRICED_JOB, REQUEST_RULES
from loomwright.web.schemas.documents import JsonSchema, components
from loomwright.web.schemas.price_book import at_most_one_book

INSTALLATION_REQUEST = Record(
    "PlanInstallationRequest",
    {
        **PRICED_JOB,
        "headroom_percent": HEADROOM_PERCENT,
        "paperwork": PAPERWORK_RECORD,
        "document": PLAN_DOCUMENT_RECORD,
    },
)


@cache
def plan_request_components() -> dict[str, JsonSchema]:
    """Return the component schemas of the request, by name."""
    return components(
        INSTALLATION_REQUEST, {INSTALLATION_REQUEST.name: at_most_one_book, **REQUEST_RULES}
    )


def plan_request_examples() -> dict[str, dict[str, Any]]:
    """Return the demo jobs as requests, by name."""
    return {name: {"job": demo_job(name)} for name in DEMO_JOBS}
