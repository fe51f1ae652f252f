"""The operation check-measurements."""

from flask import Blueprint, Response, request

from loomwright.jobs.job import Job
from loomwright.jobs.measurement_answer import (
    PROVENANCES,
    cautions_of_measurements,
    measurements_document,
)
from loomwright.jobs.measurement_document import measurements_from_document
from loomwright.jobs.measurements import Measurements, checked_measurements
from loomwright.pricing.faults import DocumentError, Fault
from loomwright.pricing.reading import ObjectReader
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.units import quantity_text
from loomwright.web.answers import ENGINE_VERSION, cautions_of
from loomwright.web.forms.negotiation import asked_form
from loomwright.web.forms.registry import FORMS_BY_OPERATION
from loomwright.web.requests import invalid, json_object
from loomwright.web.schemas.measurement import MEASUREMENTS
from loomwright.web.stated_jobs import (
    fields_within,
    sources_of_jobs,
    stated_job,
)

blueprint = Blueprint("measurement", __name__)


@blueprint.post("/check-measurements")
def check_measurements_view() -> Response:
    """Answer check-measurements."""
    asked = asked_form(FORMS_BY_OPERATION["check-measurements"], request)
    job, measurements = _stated(json_object(request))
    with fields_within("job"):
        checked = checked_measurements(job, measurements, tables(), fuse_tables())
    return asked.response(
        {
            **measurements_document(checked),
            "cautions": cautions_of(cautions_of_measurements(checked, tables())),
            "sources": sources_of_jobs(PROVENANCES),
            "engine_version": ENGINE_VERSION,
        }
    )


def _stated(document: object) -> tuple[Job, Measurements]:
    """Return the job and what was measured of it, or raise with every fault of both."""
    faults: list[Fault] = []
    reader = ObjectReader(document, "", faults, MEASUREMENTS.members, quantity_text)
    job: Job | None = None
    measurements: Measurements | None = None
    if not reader.has("job"):
        reader.fault("job", "Missing; it is required.")
    else:
        try:
            job = stated_job(reader.stated("job"))
        except DocumentError as error:
            faults += [Fault(f"/job{fault.pointer}", fault.message) for fault in error.faults]
    if job is not None:
        # Readings name circuits and sources: without a job there is nothing to hold them against.
        measurements = measurements_from_document(reader, job)
    if faults or job is None or measurements is None:
        raise invalid([(fault.pointer, fault.message) for fault in faults])
    return job, measurements
