"""The operation build-bill-of-materials."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from flask import Blueprint, Response, request

from loomwright.documents.options import (
    USUAL_DOCUMENT,
    DocumentOptions,
    options_from_document,
)
from loomwright.documents.paperwork import (
    NO_PAPERWORK,
    Paperwork,
    paperwork_document,
    paperwork_from_document,
)
from loomwright.jobs.answer import answer_document
from loomwright.jobs.bill_answer import margin_document
from loomwright.jobs.demo_library import demo_book
from loomwright.jobs.job import Job
from loomwright.jobs.priced_job import priced_job
from loomwright.pricing.bill import NO_OPTIONS
from loomwright.pricing.faults import DocumentError, Fault
from loomwright.pricing.members import Member, Record
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.pricing_options import PricingOptions, pricing_from_document
from loomwright.pricing.reading import ObjectReader
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.web.access import require_cost_key
from loomwright.web.answers import ENGINE_VERSION, cautions_of
from loomwright.web.chosen_book import chosen_book
from loomwright.web.forms.document_forms import document_members
from loomwright.web.forms.negotiation import asked_form
from loomwright.web.forms.registry import FORMS_BY_OPERATION
from loomwright.web.requests import invalid, json_object
from loomwright.web.schemas.bill_request import REQUEST
from loomwright.web.stated_jobs import fields_within, sources_of_jobs, stated_job

_Read = TypeVar("_Read")

_FORMS = FORMS_BY_OPERATION["build-bill-of-materials"]

blueprint = Blueprint("bill", __name__)


@blueprint.post("/build-bill-of-materials")
def build_bill_of_materials_view() -> Response:
    """Answer build-bill-of-materials."""
    asked = asked_form(_FORMS, request)
    wanted = bill_request(json_object(request))
    if wanted.options.show_cost:
        require_cost_key(request)
    with fields_within("job"):
        priced = priced_job(wanted.job, wanted.book, tables(), fuse_tables(), wanted.options)
    document = {
        **answer_document(priced),
        "paperwork": paperwork_document(wanted.paperwork),
        "cautions": cautions_of((*priced.cautions, *wanted.cautions)),
        "sources": sources_of_jobs(priced.provenances),
        "engine_version": ENGINE_VERSION,
    }
    if wanted.options.show_cost:
        document["cost"] = margin_document(priced.bill)
    if not asked.is_json:
        document |= document_members(wanted.document, document["paperwork"])
    return asked.response(document)


@dataclass(frozen=True, slots=True)
class BillRequest:
    """What a request asks for; ``cautions`` are keys that its price book brings along.

    ``document`` says which document is made where the answer is not JSON.
    """

    job: Job
    book: PriceBook
    options: PricingOptions
    paperwork: Paperwork
    document: DocumentOptions
    cautions: tuple[str, ...]


def _nothing_more(envelope: ObjectReader) -> None:
    del envelope


def bill_request(
    document: dict[str, Any],
    rules: Record = REQUEST,
    read_more: Callable[[ObjectReader], None] = _nothing_more,
) -> BillRequest:
    """Return what a request for a bill or for plans asks for.

    Parameters
    ----------
    document
        With ``job``, a price book in one of its forms unless that of the demo serves, and
        ``pricing``, ``paperwork`` and ``document`` if wanted.
    rules
        What the document may have; another operation may ask for more or for less.
    read_more
        Reads the members of another operation and notes their faults.

    Returns
    -------
    BillRequest
        Checked.

    Raises
    ------
    ProblemError
        ``invalid_request`` with every fault of the request, the job and the book;
        ``unknown_price_book``, ``price_book_faulty`` and those of a provider.
    """
    faults: list[Fault] = []
    envelope = ObjectReader(document, "", faults, rules.members)
    read_more(envelope)
    job = _read(envelope, "job", stated_job, faults)
    chosen = chosen_book(envelope)
    faults += chosen.faults
    book = chosen.book or demo_book()
    options: PricingOptions | None = NO_OPTIONS
    if envelope.has("pricing"):
        currency = book.currency
        options = _read(
            envelope, "pricing", lambda stated: pricing_from_document(stated, currency), faults
        )
    paperwork: Paperwork | None = NO_PAPERWORK
    if envelope.has("paperwork"):
        paperwork = _read(envelope, "paperwork", paperwork_from_document, faults)
    wanted: DocumentOptions | None = USUAL_DOCUMENT
    if envelope.has("document"):
        members = _members_of(rules, "document")
        wanted = _read(
            envelope, "document", lambda stated: options_from_document(stated, members), faults
        )
    if faults or job is None or options is None or paperwork is None or wanted is None:
        raise invalid([(fault.pointer, fault.message) for fault in faults])
    if chosen.problem is not None:
        raise chosen.problem
    return BillRequest(job, book, options, paperwork, wanted, chosen.cautions)


def _members_of(rules: Record, name: str) -> Mapping[str, Member]:
    record = rules.members[name]
    assert isinstance(record, Record)
    return record.members


def _read(
    envelope: ObjectReader, name: str, read: Callable[[object], _Read], faults: list[Fault]
) -> _Read | None:
    if not envelope.has(name):
        envelope.fault(name, "Missing; it is required.")
        return None
    try:
        return read(envelope.stated(name))
    except DocumentError as error:
        faults += [Fault(f"/{name}{fault.pointer}", fault.message) for fault in error.faults]
        return None
