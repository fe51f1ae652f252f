"""Requests of the operations that draw a plan: that of plan-installation, and which plan."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from loomwright.jobs.job import Job
from loomwright.jobs.plan.alternatives import HEADROOM_PERCENT, PLAN_NAMES, RECOMMENDED, PlanOptions
from loomwright.jobs.plan.sized_plan import SizedPlan, sized_plan
from loomwright.pricing.members import Choice, Member, Record
from loomwright.pricing.reading import ObjectReader
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.web.bill import bill_request
from loomwright.web.schemas.bill_request import PRICED_JOB, REQUEST_RULES
from loomwright.web.schemas.documents import JsonSchema, components
from loomwright.web.schemas.price_book import at_most_one_book
from loomwright.web.stated_jobs import fields_within

DRAWN_PLAN: Mapping[str, Member] = {
    **PRICED_JOB,
    "headroom_percent": HEADROOM_PERCENT,
    "plan": Choice(PLAN_NAMES, required=False, default=RECOMMENDED, about="Which plan is drawn."),
}
INSTALLATION_DRAWING = Record("DrawInstallationRequest", DRAWN_PLAN)


@dataclass(frozen=True, slots=True)
class DrawnPlan:
    """Which plan of which job a request wants to see."""

    job: Job
    plan: str
    options: PlanOptions

    def sized(self) -> SizedPlan:
        """Return the plan as far as a drawing needs it.

        Returns
        -------
        SizedPlan
            Circuits and network.

        Raises
        ------
        EngineeringError
            A circuit lies outside the models; the place is named as in the request.
        """
        with fields_within("job"):
            return sized_plan(self.plan, self.job, tables(), fuse_tables(), self.options)


def drawn_plan(
    document: dict[str, Any],
    rules: Record,
    read_more: Callable[[ObjectReader], None] | None = None,
) -> DrawnPlan:
    """Return the plan that a request wants to see.

    Price book and pricing are checked as plan-installation checks them, so that one request serves
    both; they change no drawing.

    Parameters
    ----------
    document
        As the operation takes it.
    rules
        What it may have: ``DRAWN_PLAN`` and more.
    read_more
        Reads what it has more and notes the faults.

    Returns
    -------
    DrawnPlan
        Checked.

    Raises
    ------
    ProblemError
        As those of plan-installation.
    """
    percent, plan = 0.0, RECOMMENDED

    def read_own(envelope: ObjectReader) -> None:
        nonlocal percent, plan
        percent = envelope.number("headroom_percent")
        plan = envelope.choice("plan")
        if read_more is not None:
            read_more(envelope)

    wanted = bill_request(document, rules, read_own)
    return DrawnPlan(wanted.job, plan, PlanOptions.of_percent(percent))


def drawn_plan_components(rules: Record) -> dict[str, JsonSchema]:
    """Return the component schemas of a request that draws a plan, by name."""
    return components(rules, {rules.name: at_most_one_book, **REQUEST_RULES})


def installation_drawing_components() -> dict[str, JsonSchema]:
    """Return the component schemas of the request of draw-installation, by name."""
    return drawn_plan_components(INSTALLATION_DRAWING)


def installation_drawing_examples() -> dict[str, dict[str, Any]]:
    """Return the demo jobs as requests, by name; one of them with the plan named."""
    plain = {name: {"job": demo_job(name)} for name in DEMO_JOBS}
    return {**plain, "truck_24v": {**plain["truck_24v"], "plan": RECOMMENDED}}
