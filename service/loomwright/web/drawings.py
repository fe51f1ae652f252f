"""The operations that draw charts of what the calculators answer, and the path of a circuit."""

from typing import Any

from flask import Blueprint, Response, request

from loomwright.drawings.drop_against_length import drop_against_length_drawing
from loomwright.drawings.output_against_claim import output_against_claim_drawing
from loomwright.drawings.time_current import time_current_drawing
from loomwright.drawings.voltage_path import voltage_path_drawing
from loomwright.engineering.audio.output_estimate import output_estimate
from loomwright.engineering.conductors.sizing import size_conductor
from loomwright.engineering.protection.fuse_selection import size_fuse
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.web import fuse, output
from loomwright.web.calculators import calculator
from loomwright.web.conductor import conductor_request
from loomwright.web.forms.negotiation import asked_form
from loomwright.web.forms.registry import FORMS_BY_OPERATION
from loomwright.web.requests import json_object
from loomwright.web.route import request_fields
from loomwright.web.schemas.conductor import SizeConductorRequest
from loomwright.web.schemas.drawing import drawing_document
from loomwright.web.schemas.fuse import SizeFuseRequest
from loomwright.web.schemas.output import EstimateRealOutputRequest
from loomwright.web.schemas.voltage_path import voltage_path_request

_PATH_FORMS = FORMS_BY_OPERATION["draw-voltage-path"]

blueprint = Blueprint("drawings", __name__)


@calculator(blueprint, "draw-time-current", SizeFuseRequest())
def draw_time_current_answer(values: dict[str, Any]) -> dict[str, Any]:
    """Return the answer of draw-time-current to loaded values."""
    with request_fields(values, fuse.FIELDS):
        asked = fuse.fuse_request(values, tables())
        answer = size_fuse(asked, fuse_tables())
    return drawing_document(time_current_drawing(asked, answer, values["size"], fuse_tables()))


@calculator(blueprint, "draw-drop-against-length", SizeConductorRequest())
def draw_drop_against_length_answer(values: dict[str, Any]) -> dict[str, Any]:
    """Return the answer of draw-drop-against-length to loaded values."""
    known = tables()
    asked = conductor_request(values, known)
    with request_fields(values, {}):
        answer = size_conductor(asked, known)
        return drawing_document(drop_against_length_drawing(asked, answer, known))


@calculator(blueprint, "draw-output-against-claim", EstimateRealOutputRequest())
def draw_output_against_claim_answer(values: dict[str, Any]) -> dict[str, Any]:
    """Return the answer of draw-output-against-claim to loaded values."""
    with request_fields(values, output.FIELDS):
        estimate = output_estimate(output.output_request(values))
    return drawing_document(output_against_claim_drawing(estimate))


@blueprint.post("/draw-voltage-path")
def draw_voltage_path_view() -> Response:
    """Answer draw-voltage-path."""
    asked = asked_form(_PATH_FORMS, request)
    wanted, circuit = voltage_path_request(json_object(request))
    return asked.response(drawing_document(voltage_path_drawing(wanted.sized(), circuit)))
