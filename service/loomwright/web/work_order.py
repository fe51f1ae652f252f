"""The operation build-work-order."""

from flask import Blueprint, Response, request

from loomwright.jobs.priced_job import priced_job
from loomwright.jobs.work_order.document import work_order_document
from loomwright.jobs.work_order.work_order import work_order
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.web.answers import ENGINE_VERSION, cautions_of
from loomwright.web.bill import bill_request
from loomwright.web.forms.negotiation import asked_form
from loomwright.web.forms.registry import FORMS_BY_OPERATION
from loomwright.web.requests import json_object
from loomwright.web.stated_jobs import fields_within, sources_of_jobs

_FORMS = FORMS_BY_OPERATION["build-work-order"]

blueprint = Blueprint("work_order", __name__)


@blueprint.post("/build-work-order")
def build_work_order_view() -> Response:
    """Answer build-work-order."""
    asked = asked_form(_FORMS, request)
    wanted = bill_request(json_object(request))
    with fields_within("job"):
        priced = priced_job(wanted.job, wanted.book, tables(), fuse_tables(), wanted.options)
    order = work_order(priced, wanted.book, tables(), fuse_tables())
    return asked.response(
        {
            **work_order_document(order, priced),
            "cautions": cautions_of((*order.cautions, *wanted.cautions)),
            "sources": sources_of_jobs(tuple(sorted(order.provenances))),
            "engine_version": ENGINE_VERSION,
        }
    )
