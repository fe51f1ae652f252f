"""The list of mounted price books, and the operation check-price-book."""

from dataclasses import replace
from datetime import date
from typing import Any

from flask import Blueprint, Response, request

from loomwright.jobs.bill_answer import unpriced_document
from loomwright.jobs.checked_book import NOT_USABLE, CheckedBook, JobNeeds, checked_book, job_needs
from loomwright.jobs.job import Job
from loomwright.pricing.book_check import Finding
from loomwright.pricing.csv_rows import TableFault
from loomwright.pricing.faults import DocumentError, Fault
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.reading import ObjectReader
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.tables.records import Provenance
from loomwright.web.access import require_cost_key
from loomwright.web.answers import ENGINE_VERSION, cautions_of
from loomwright.web.chosen_book import ChosenBook, chosen_book
from loomwright.web.forms.negotiation import asked_form
from loomwright.web.forms.registry import FORMS_BY_OPERATION
from loomwright.web.mounted_books import MountedBook, mounted_book, mounted_names, told
from loomwright.web.provided_books import provider_names
from loomwright.web.requests import invalid, json_object
from loomwright.web.schemas.book_check import CHECK, GREATEST_JOBS
from loomwright.web.schemas.price_book import BY_CSV, BY_DOCUMENT, BY_NAME, FROM_PROVIDER
from loomwright.web.stated_jobs import fields_within, sources_of_jobs, stated_job

blueprint = Blueprint("price_books", __name__)


@blueprint.get("/price-books")
def price_books_view() -> Response:
    """Answer price-books."""
    asked = asked_form(FORMS_BY_OPERATION["price-books"], request)
    mounted = (mounted_book(name) for name in mounted_names())
    # A book that went between the list and the look is not there.
    listed = [_listed(book) for book in mounted if book is not None]
    return asked.response(
        {
            "price_books": listed,
            "providers": list(provider_names()),
            "engine_version": ENGINE_VERSION,
        }
    )


def _listed(mounted: MountedBook) -> dict[str, Any]:
    book = mounted.book
    return {
        "name": mounted.name,
        "is_readable": book is not None,
        "title": book and book.name,
        "digest": book and book.digest,
        "currency": book and book.currency,
        "valid_from": book and book.validity.first,
        "valid_until": book and book.validity.last,
    }


@blueprint.post("/check-price-book")
def check_price_book_view() -> Response:
    """Answer check-price-book."""
    asked = asked_form(FORMS_BY_OPERATION["check-price-book"], request)
    faults: list[Fault] = []
    envelope = ObjectReader(json_object(request), "", faults, CHECK.members)
    chosen = chosen_book(envelope)
    jobs = _jobs(envelope)
    as_of = envelope.date("as_of")
    show_cost, list_unused = envelope.truth("show_cost"), envelope.truth("list_unused")
    # What is no book at all is a fault of the request; what is wrong within it is the answer.
    faults += [fault for fault in chosen.faults if fault.pointer in _WHOLE_BOOKS]
    if faults:
        raise invalid([(fault.pointer, fault.message) for fault in faults])
    if chosen.problem is not None and chosen.mounted is None:
        raise chosen.problem
    is_own = not (envelope.has(BY_NAME) or envelope.has(FROM_PROVIDER))
    if show_cost and not is_own:
        require_cost_key(request, "/show_cost")
    if chosen.book is None:
        return asked.response(_faulty(chosen, as_of))
    needs = None if jobs is None else _needs(jobs, chosen.book, as_of)
    checked = checked_book(
        chosen.book,
        needs,
        as_of,
        # Prices below cost tell what things cost. The costs of a book in the request are the
        # caller's own and those of the demo are public; only a mounted book keeps them from him.
        with_cost=show_cost or is_own,
        with_unused=list_unused,
    )
    return asked.response(_answer(chosen.book, checked, needs or [], as_of, chosen.cautions))


_WHOLE_BOOKS = (f"/{BY_DOCUMENT}", f"/{BY_CSV}")


def _jobs(envelope: ObjectReader) -> list[Job] | None:
    """Return the jobs of a request, with every fault of each noted by its pointer."""
    if not envelope.has("jobs"):
        return None
    stated = envelope.stated("jobs")
    if not isinstance(stated, list) or not 1 <= len(stated) <= GREATEST_JOBS:
        envelope.fault("jobs", f"An array of 1 to {GREATEST_JOBS} items is needed.")
        return None
    jobs = []
    for place, document in enumerate(stated):
        try:
            jobs.append(stated_job(document))
        except DocumentError as error:
            envelope.faults += [
                replace(fault, pointer=f"/jobs/{place}{fault.pointer}") for fault in error.faults
            ]
    return jobs


def _needs(jobs: list[Job], book: PriceBook, as_of: date | None) -> list[JobNeeds]:
    needs = []
    for place, job in enumerate(jobs):
        with fields_within(f"jobs/{place}"):
            needs.append(job_needs(job, book, tables(), fuse_tables(), as_of))
    return needs


def _faulty(chosen: ChosenBook, as_of: date | None) -> dict[str, Any]:
    mounted = chosen.mounted
    faults = chosen.faults
    if mounted is not None:
        faults = tuple(
            replace(fault, pointer=f"/{BY_NAME}", message=told(mounted.name, fault))
            for fault in mounted.faults
        )
    return {
        "verdict": NOT_USABLE,
        "price_book": None,
        "as_of": as_of,
        "faults": [_fault(fault) for fault in faults],
        "findings": None,
        **_closing(()),
    }


def _fault(fault: Fault) -> dict[str, Any]:
    place = fault if isinstance(fault, TableFault) else None
    return {
        "pointer": fault.pointer,
        "table": place and place.table,
        "row": place and place.row,
        "column": place and place.column,
        "message": fault.message,
    }


def _answer(
    book: PriceBook,
    checked: CheckedBook,
    needs: list[JobNeeds],
    as_of: date | None,
    cautions: tuple[str, ...],
) -> dict[str, Any]:
    provenances = dict.fromkeys(row for entry in needs for row in entry.provenances)
    return {
        "verdict": checked.verdict,
        "price_book": {
            "name": book.name,
            "digest": book.digest,
            "currency": book.currency,
            "valid_from": book.validity.first,
            "valid_until": book.validity.last,
        },
        "as_of": as_of,
        "faults": [],
        "findings": {
            "missing": None
            if checked.missing is None
            else [_missing(place, entry) for place, entry in checked.missing],
            "stale": _group(checked.stale),
            "duplicated": _group(checked.duplicated),
            "below_cost": _group(checked.below_cost),
            "dearer_together": _group(checked.dearer_together),
            "incomplete_range": _group(checked.incomplete_range),
            "unused": _group(checked.unused),
        },
        **_closing(tuple(provenances), cautions),
    }


def _closing(provenances: tuple[Provenance, ...], cautions: tuple[str, ...] = ()) -> dict[str, Any]:
    return {
        "cautions": cautions_of(cautions),
        "sources": sources_of_jobs(provenances),
        "engine_version": ENGINE_VERSION,
    }


def _missing(place: int, needs: JobNeeds) -> dict[str, Any]:
    return {
        "pointer": f"/jobs/{place}",
        "title": needs.title,
        "unknown_difficulty": needs.unknown_difficulty,
        "unpriced": [unpriced_document(entry) for entry in needs.unpriced],
    }


def _group(findings: tuple[Finding, ...] | None) -> list[dict[str, Any]] | None:
    if findings is None:
        return None
    return [
        {
            "finding": entry.finding,
            "kind": entry.kind,
            "keys": list(entry.keys),
            "message": entry.message,
        }
        for entry in findings
    ]
