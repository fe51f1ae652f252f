"""The operation draw-installation."""

from flask import Blueprint, Response, request

from loomwright.drawings.single_line import single_line
from loomwright.drawings.single_line_layout import single_line_drawing
from loomwright.tables.fuse_load import fuse_tables
from loomwright.web.forms.negotiation import asked_form
from loomwright.web.forms.registry import FORMS_BY_OPERATION
from loomwright.web.requests import json_object
from loomwright.web.schemas.drawing import drawing_document
from loomwright.web.schemas.drawn_plan import INSTALLATION_DRAWING, drawn_plan

_FORMS = FORMS_BY_OPERATION["draw-installation"]

blueprint = Blueprint("installation_drawing", __name__)


@blueprint.post("/draw-installation")
def draw_installation_view() -> Response:
    """Answer draw-installation."""
    asked = asked_form(_FORMS, request)
    wanted = drawn_plan(json_object(request), INSTALLATION_DRAWING)
    content = single_line(wanted.job, wanted.sized(), fuse_tables())
    return asked.response(drawing_document(single_line_drawing(content)))
