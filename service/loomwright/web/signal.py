"""The operation plan-signal-path."""

from typing import Any

from flask import Blueprint, Response, request

from loomwright.engineering.signal.plan import SignalPlan
from loomwright.engineering.signal.working import signal_working
from loomwright.jobs.planned_signal import planned_signal
from loomwright.jobs.signal_answer import signal_document
from loomwright.jobs.signal_document import signal_path
from loomwright.jobs.signal_members import PLAN_REQUEST
from loomwright.pricing.faults import Fault
from loomwright.pricing.reading import ObjectReader
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.tables.signal_load import signal_factors
from loomwright.units import quantity_text
from loomwright.web.answers import ENGINE_VERSION, cautions_of, sources_of, working_of
from loomwright.web.forms.negotiation import asked_form
from loomwright.web.forms.registry import FORMS_BY_OPERATION
from loomwright.web.requests import invalid, json_object

_FORMS = FORMS_BY_OPERATION["plan-signal-path"]

blueprint = Blueprint("signal", __name__)


@blueprint.post("/plan-signal-path")
def plan_signal_path_view() -> Response:
    """Answer plan-signal-path."""
    asked = asked_form(_FORMS, request)
    faults: list[Fault] = []
    reader = ObjectReader(json_object(request), "", faults, PLAN_REQUEST.members, quantity_text)
    system_v = reader.number_choice("system_voltage")
    path = signal_path(reader.object("signal"), None)
    explain = reader.truth("explain")
    if faults:
        raise invalid([(fault.pointer, fault.message) for fault in faults])
    plan = planned_signal(path, system_v, fuse_tables(), signal_factors())
    document = {**signal_document(plan), **_closing(plan)}
    if explain:
        document["working"] = working_of(signal_working(path, plan))
    return asked.response(document)


def _closing(plan: SignalPlan) -> dict[str, Any]:
    return {
        "cautions": cautions_of(plan.cautions),
        "sources": sources_of(plan.provenances, tables()),
        "engine_version": ENGINE_VERSION,
    }
