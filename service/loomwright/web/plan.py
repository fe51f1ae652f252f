"""The operation plan-installation."""

from typing import Any

from flask import Blueprint, Response, request

from loomwright.documents.options import WORK_ORDER
from loomwright.documents.paperwork import paperwork_document
from loomwright.drawings.drawing import Drawing
from loomwright.drawings.single_line import single_line
from loomwright.drawings.single_line_layout import single_line_drawing
from loomwright.jobs.plan.alternatives import PlanOptions
from loomwright.jobs.plan.document import plans_document
from loomwright.jobs.plan.one_plan import one_plan_document
from loomwright.jobs.plan.plan import installation_plan, installation_plans
from loomwright.jobs.plan.sized_plan import SizedPlan
from loomwright.pricing.reading import ObjectReader
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.web.access import require_cost_key
from loomwright.web.answers import ENGINE_VERSION, cautions_of
from loomwright.web.bill import BillRequest, bill_request
from loomwright.web.forms.document_forms import document_members, drawn_wording
from loomwright.web.forms.negotiation import asked_form
from loomwright.web.forms.registry import FORMS_BY_OPERATION
from loomwright.web.requests import json_object
from loomwright.web.schemas.plan_request import INSTALLATION_REQUEST
from loomwright.web.stated_jobs import fields_within, sources_of_jobs

_FORMS = FORMS_BY_OPERATION["plan-installation"]

blueprint = Blueprint("plan", __name__)


@blueprint.post("/plan-installation")
def plan_installation_view() -> Response:
    """Answer plan-installation."""
    asked = asked_form(_FORMS, request)
    wanted, plan_options = plan_request(json_object(request))
    show_cost = wanted.options.show_cost
    if show_cost:
        require_cost_key(request)
    if not asked.is_json:
        return asked.response(_one_plan(wanted, plan_options))
    with fields_within("job"):
        plans = installation_plans(
            wanted.job, wanted.book, tables(), fuse_tables(), wanted.options, plan_options
        )
    document = {
        **plans_document(plans, show_cost=show_cost),
        "cautions": cautions_of((*plans.cautions, *wanted.cautions)),
        "sources": sources_of_jobs(plans.provenances),
        "engine_version": ENGINE_VERSION,
    }
    return asked.response(document)


def _one_plan(wanted: BillRequest, plan_options: PlanOptions) -> dict[str, Any]:
    """Return the one plan of which a document is asked for, without what it costs the shop."""
    with fields_within("job"):
        plan = installation_plan(
            wanted.document.plan,
            wanted.job,
            wanted.book,
            tables(),
            fuse_tables(),
            wanted.options,
            plan_options,
        )
    drawings: tuple[Drawing, ...] = ()
    if wanted.document.kind == WORK_ORDER:
        sized = SizedPlan(plan.name, plan.consistent, plan.solved)
        content = single_line(wanted.job, sized, fuse_tables(), drawn_wording(wanted.document))
        drawings = (single_line_drawing(content),)
    return {
        **one_plan_document(wanted.job, plan),
        "cautions": cautions_of((*plan.cautions, *wanted.cautions)),
        **document_members(wanted.document, paperwork_document(wanted.paperwork), drawings),
    }


def plan_request(document: dict[str, Any]) -> tuple[BillRequest, PlanOptions]:
    """Return what a request for plans asks for.

    Parameters
    ----------
    document
        As that of build-bill-of-materials, with the growth of the loads.

    Returns
    -------
    tuple
        Job, price book, options, paperwork and document; options of the plans.

    Raises
    ------
    ProblemError
        As ``bill_request``.
    """
    percent = 0.0

    def read_growth(envelope: ObjectReader) -> None:
        nonlocal percent
        percent = envelope.number("headroom_percent")

    wanted = bill_request(document, INSTALLATION_REQUEST, read_growth)
    return wanted, PlanOptions.of_percent(percent)
