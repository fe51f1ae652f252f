"""The operation price-packages."""

from typing import Any

from flask import Blueprint, Request, Response, current_app, request

from loomwright.batch.engine import Batch
from loomwright.batch.pair import package_from_document, vehicle_from_document
from loomwright.batch.quote import Pricing
from loomwright.pricing.faults import Fault
from loomwright.pricing.pricing_options import pricing_from_document
from loomwright.pricing.reading import ObjectReader
from loomwright.web.answers import ENGINE_VERSION, cautions_of
from loomwright.web.bodies import inflated_body
from loomwright.web.chosen_book import chosen_book
from loomwright.web.forms.negotiation import asked_form_of_batch
from loomwright.web.forms.registry import FORMS_BY_OPERATION
from loomwright.web.manners import request_id
from loomwright.web.requests import invalid
from loomwright.web.schemas.batch import BATCH, GREATEST_BATCH_BYTES
from loomwright.web.streaming import LoggedFailures, Stream, streamed
import orjson
import numpy as np
from loomwright.batch.engine import Pairs

_FORMS = FORMS_BY_OPERATION["price-packages"]

blueprint = Blueprint("price_packages", __name__)


@blueprint.post("/price-packages")
def price_packages_view() -> Response:
    """Answer price-packages."""
    form = asked_form_of_batch(_FORMS, request)
    stream = _stream(request)
    return streamed(stream, form, LoggedFailures(current_app.logger, request_id(request)))


def _stream(request):
    d = orjson.loads(inflated_body(request, GREATEST_BATCH_BYTES))
    faults: list[Fault] = []
    envelope = ObjectReader(d, "", faults, BATCH.members)
    chosen = chosen_book(envelope)
    book = chosen.book
    assert book
    ps = [package_from_document(x) for x in d["packages"]]
    vs = [vehicle_from_document(x) for x in d["vehicles"]]
    pi = {p.key: i for i, p in enumerate(ps)}
    vi = {p.key: i for i, p in enumerate(vs)}
    pairs = None
    if "pairs" in d:
        pairs = Pairs(np.array([pi[x["package"]] for x in d["pairs"]]), np.array([vi[x["vehicle"]] for x in d["pairs"]]))
    batch = Batch(ps, vs, Pricing(book, d.get("pricing", {})))
    told = {
        "price_book": {"name": book.name, "digest": book.digest},
        "cautions": cautions_of(chosen.cautions),
        "engine_version": ENGINE_VERSION,
    }
    return Stream(batch, pairs, told)
