"""The operation price-packages."""

import io
from types import MappingProxyType

from flask import Blueprint, Request, Response, current_app, request

from loomwright.batch.engine import Batch, Pairs
from loomwright.batch.forms.batch_document import BatchDocument, Limits, batch_document
from loomwright.batch.forms.form_error import (
    DUPLICATE_MEMBER,
    MALFORMED_JSON,
    NOT_UTF_8,
    TOO_MANY_PACKAGES,
    TOO_MANY_PAIRS,
    TOO_MANY_VEHICLES,
    WRONG_SHAPE,
    FormError,
)
from loomwright.batch.forms.pairing import batch_of_document
from loomwright.batch.quote import Pricing
from loomwright.pricing.faults import DocumentError, Fault
from loomwright.pricing.pricing_options import batch_pricing_from_document
from loomwright.pricing.reading import ObjectReader
from loomwright.web.answers import ENGINE_VERSION, cautions_of
from loomwright.web.bodies import inflated_body
from loomwright.web.chosen_book import ChosenBook, chosen_book
from loomwright.web.forms.negotiation import asked_form_of_batch
from loomwright.web.forms.registry import FORMS_BY_OPERATION
from loomwright.web.problems import ProblemError
from loomwright.web.request_ids import request_id
from loomwright.web.requests import STATED_TWICE, duplicate_members, invalid
from loomwright.web.schemas.batch import (
    BATCH_SETTINGS,
    GREATEST_BATCH_BYTES,
    GREATEST_PACKAGES,
    GREATEST_PAIRS,
    GREATEST_VEHICLES,
)
from loomwright.web.streaming import LoggedFailures, Stream, streamed

_FORMS = FORMS_BY_OPERATION["price-packages"]
_JSON = "json"
# Names of the forms of bodies by their media types.
_BODIES = MappingProxyType(
    {
        "application/json": _JSON,
        "application/x-ndjson": "ndjson",
        "text/csv": "csv",
        "application/vnd.apache.arrow.stream": "arrow",
    }
)
_LIMITS = Limits(GREATEST_PACKAGES, GREATEST_VEHICLES, GREATEST_PAIRS)
_TOO_MANY = frozenset({TOO_MANY_PACKAGES, TOO_MANY_VEHICLES, TOO_MANY_PAIRS})
_BYTE_ORDER_MARK = b"\xef\xbb\xbf"

blueprint = Blueprint("price_packages", __name__)


@blueprint.post("/price-packages")
def price_packages_view() -> Response:
    """Answer price-packages."""
    form = asked_form_of_batch(_FORMS, request)
    stream = _stream(_document(request))
    return streamed(
        stream, form, LoggedFailures(current_app.logger, request_id(request)), request.environ
    )


def _document(request: Request) -> BatchDocument:
    form = _BODIES.get(request.mimetype)
    if form is None:
        raise ProblemError(
            "unsupported_media_type",
            f"The body is {request.mimetype or 'of no stated type'}; "
            f"send Content-Type: {', '.join(_BODIES)}.",
        )
    body = inflated_body(request, GREATEST_BATCH_BYTES)
    if form == _JSON and body.startswith(_BYTE_ORDER_MARK):
        # As every other operation has it; tables of other programs may have one.
        raise ProblemError("malformed_body", "The body begins with a byte order mark.")
    try:
        return batch_document(io.BytesIO(body), form, _LIMITS, settings=BATCH_SETTINGS)
    except FormError as error:
        raise _problem(form, error) from None


def _problem(form: str, error: FormError) -> ProblemError:
    if error.code in _TOO_MANY:
        return ProblemError("batch_too_large", str(error))
    if form != _JSON:
        faults = [(pointer, f"{STATED_TWICE} ({error.place})") for pointer in error.pointers]
        return ProblemError("malformed_records", str(error), faults)
    if error.code == WRONG_SHAPE and error.place:
        return invalid([(error.place, error.message)])
    if error.code == DUPLICATE_MEMBER:
        return duplicate_members(error.pointers)
    if error.code in (MALFORMED_JSON, NOT_UTF_8):
        return ProblemError("malformed_body", f"The body is not JSON: {error}")
    return ProblemError("malformed_body", "The body must be one JSON object.")


def _stream(document: BatchDocument) -> Stream:
    """Return what is to be priced, with every fault that concerns the whole told at once."""
    faults: list[Fault] = []
    envelope = ObjectReader(document.settings, "", faults, BATCH_SETTINGS.members)
    for name, items in (("packages", document.packages), ("vehicles", document.vehicles)):
        if not items:
            faults.append(Fault(f"/{name}", "State one at least."))
    chosen = chosen_book(envelope)
    faults += chosen.faults
    pricing = _pricing(envelope, chosen, faults)
    if faults:
        raise invalid([(fault.pointer, fault.message) for fault in faults])
    if chosen.problem is not None:
        raise chosen.problem
    assert pricing is not None
    batch, pairs = batch_of_document(document, pricing)
    _check_count(batch, pairs)
    book = pricing.book
    told = {
        "price_book": {"name": book.name, "digest": book.digest},
        "cautions": cautions_of(chosen.cautions),
        "engine_version": ENGINE_VERSION,
    }
    return Stream(batch, pairs, told)


def _pricing(envelope: ObjectReader, chosen: ChosenBook, faults: list[Fault]) -> Pricing | None:
    book = chosen.book
    if book is None:
        return None
    if not envelope.has("pricing"):
        return Pricing(book, {})
    stated = envelope.stated("pricing")
    try:
        batch_pricing_from_document(stated, book.currency)
    except DocumentError as error:
        faults += [Fault(f"/pricing{fault.pointer}", fault.message) for fault in error.faults]
        return None
    assert isinstance(stated, dict)
    return Pricing(book, stated)


def _check_count(batch: Batch, pairs: Pairs | None) -> None:
    if pairs is None and len(batch.packages) * len(batch.vehicles) > GREATEST_PAIRS:
        raise ProblemError(
            "batch_too_large",
            f"{len(batch.packages)} packages for {len(batch.vehicles)} vehicles are more than "
            f"{GREATEST_PAIRS} pairs; send the batch in parts.",
        )
