"""The operation solve-network."""

from typing import Any

from flask import Blueprint, Response, request

from loomwright.jobs.network_answer import (
    cautions_of_network,
    network_document,
    provenances_of_network,
)
from loomwright.jobs.network_document import network_from_document
from loomwright.jobs.network_working import network_working
from loomwright.jobs.solved_network import solved_network
from loomwright.pricing.faults import Fault
from loomwright.pricing.reading import ObjectReader
from loomwright.tables.load import tables
from loomwright.units import quantity_text
from loomwright.web.answers import ENGINE_VERSION, cautions_of, working_of
from loomwright.web.forms.negotiation import asked_form
from loomwright.web.forms.registry import FORMS_BY_OPERATION
from loomwright.web.requests import invalid, json_object
from loomwright.web.schemas.network import NETWORK_REQUEST
from loomwright.web.stated_jobs import sources_of_jobs

blueprint = Blueprint("network", __name__)


@blueprint.post("/solve-network")
def solve_network_view() -> Response:
    """Answer solve-network."""
    asked = asked_form(FORMS_BY_OPERATION["solve-network"], request)
    faults: list[Fault] = []
    reader = ObjectReader(json_object(request), "", faults, NETWORK_REQUEST.members, quantity_text)
    explain = reader.truth("explain")
    network = network_from_document(reader, tables())
    if network is None:
        raise invalid([(fault.pointer, fault.message) for fault in faults])
    solved = solved_network(network, tables())
    document: dict[str, Any] = {
        **network_document(solved),
        "cautions": cautions_of(cautions_of_network(solved)),
        "sources": sources_of_jobs(provenances_of_network(network, tables())),
        "engine_version": ENGINE_VERSION,
    }
    if explain:
        document["working"] = working_of(network_working(solved))
    return asked.response(document)
