"""The operation assess-supply."""

from flask import Blueprint, Response, request

from loomwright.engineering.supply.assessment import supply_assessment
from loomwright.jobs.supply_answer import supply_document
from loomwright.jobs.supply_document import supply_from_document
from loomwright.pricing.faults import Fault
from loomwright.pricing.reading import ObjectReader
from loomwright.tables.supply_load import supply_tables
from loomwright.units import quantity_text
from loomwright.web.answers import ENGINE_VERSION, cautions_of
from loomwright.web.forms.negotiation import asked_form
from loomwright.web.forms.registry import FORMS_BY_OPERATION
from loomwright.web.requests import invalid, json_object
from loomwright.web.schemas.supply import SUPPLY_REQUEST
from loomwright.web.stated_jobs import sources_of_jobs

blueprint = Blueprint("supply", __name__)


@blueprint.post("/assess-supply")
def assess_supply_view() -> Response:
    """Answer assess-supply."""
    asked = asked_form(FORMS_BY_OPERATION["assess-supply"], request)
    faults: list[Fault] = []
    reader = ObjectReader(json_object(request), "", faults, SUPPLY_REQUEST.members, quantity_text)
    stated = supply_from_document(reader, supply_tables())
    if stated is None:
        raise invalid([(fault.pointer, fault.message) for fault in faults])
    assessed = supply_assessment(stated.request, stated.prices)
    return asked.response(
        {
            **supply_document(assessed),
            "cautions": cautions_of(assessed.cautions),
            "sources": sources_of_jobs(assessed.provenances),
            "engine_version": ENGINE_VERSION,
        }
    )
