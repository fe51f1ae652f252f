"""A small job and the demo price book for the tests of jobs."""

from collections.abc import Callable
from typing import Any

import pytest

from loomwright.jobs.demo_library import demo_price_book
from loomwright.jobs.job import Job
from loomwright.jobs.job_document import job_from_document
from loomwright.jobs.priced_job import PricedJob, priced_job
from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.price_book import PriceBook
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables

Document = dict[str, Any]


def small_job_document() -> Document:
    """One lamp circuit with every choice simple enough to count by hand."""
    return {
        "title": "Small job",
        "vehicle": {"description": "Test vehicle", "drive": "combustion", "system_voltage": 12},
        "conductors": {"series": "metric", "material": "copper", "insulation": "pvc_105"},
        "power_sources": [
            {
                "key": "battery",
                "description": "Test battery",
                "tap_point": "battery",
                "source_voltage": 12.6,
                "source_resistance": 0.014,
            }
        ],
        "equipment": [
            {
                "key": "lamps",
                "description": "test lamp",
                "what": "lights",
                "quantity": 2,
                "reference": "DEMO-LIGHT-12",
                "circuit": "lamp_feed",
                "load_current": 3,
            }
        ],
        "circuits": [
            {
                "key": "lamp_feed",
                "description": "Battery to lamps",
                "fed_from": "battery",
                "route": [
                    {"length": 1, "zone": "engine_compartment", "through_bulkhead": True},
                    {"length": 3, "zone": "passenger_compartment", "loomed": False},
                ],
                "return_path": {"by": "chassis", "ground_lead_length": 0.5, "stud": "M6"},
                "fuse_types": ["iso_8820_3_c"],
                "source_end": "M8",
                "load_end": "splice",
            }
        ],
    }


def job_of(document: object) -> Job:
    return job_from_document(document, tables(), fuse_tables().types)


def book_of(document: object) -> PriceBook:
    return price_book_from_document(document)


@pytest.fixture
def small_job() -> Document:
    return small_job_document()


@pytest.fixture(scope="session")
def demo_book() -> PriceBook:
    return price_book_from_document(demo_price_book())


@pytest.fixture(scope="session")
def read_job() -> Callable[[object], Job]:
    return job_of


@pytest.fixture(scope="session")
def priced(demo_book: PriceBook) -> Callable[..., PricedJob]:
    def price(document: object, book: PriceBook = demo_book) -> PricedJob:
        return priced_job(job_of(document), book, tables(), fuse_tables())

    return price
