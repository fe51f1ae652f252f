"""Jobs in requests: their reading, errors named by their place, and what they rest on."""

from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache

import orjson

from loomwright.engineering.errors import EngineeringError
from loomwright.jobs.job import Job
from loomwright.jobs.job_document import job_from_document
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.tables.records import Provenance
from loomwright.units import quantity_text
from loomwright.web.answers import sources_of


def stated_job(document: object) -> Job:
    """Return the job that a document of a request states.

    Parameters
    ----------
    document
        Plain JSON values; quantities as numbers or as text with a unit.

    Returns
    -------
    Job
        The checked job.

    Raises
    ------
    DocumentError
        Anything is wrong; ``faults`` lists all of it by JSON pointer.
    """
    return job_from_document(document, tables(), fuse_tables().types, quantity_text)


@contextmanager
def fields_within(place: str) -> Iterator[None]:
    """Name the place in the request in errors of the engineering that are raised inside.

    Parameters
    ----------
    place
        Where the job stands in the request: ``job`` or ``jobs/3``.
    """
    try:
        yield
    except EngineeringError as error:
        field = error.field or ""
        head, _, rest = field.partition("/")
        if head != "pricing":
            inner = rest if head == "job" else field
            field = f"{place}/{inner}" if inner else place
        raise EngineeringError(
            error.code, error.message, field=field, **error.attributes
        ) from error


@lru_cache(maxsize=256)
def sources_of_jobs(provenances: tuple[Provenance, ...]) -> orjson.Fragment:
    """Return the publications that answers for jobs rest on, each row once."""
    return sources_of(provenances, tables())
