"""The embedded demo jobs and demo price book, invented from end to end."""

import json
from functools import cache
from importlib.resources import files
from typing import Any

from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.price_book import PriceBook

DEMO_JOBS = ("combustion_car", "hybrid_jump_start", "van_second_battery", "truck_24v")


@cache
def demo_job_text(name: str) -> str:
    """Return a demo job as JSON text.

    Parameters
    ----------
    name
        One of ``DEMO_JOBS``.

    Returns
    -------
    str
        The document as it stands in the package.
    """
    return (files("loomwright.jobs") / "demo" / f"{name}.json").read_text("utf-8")


@cache
def demo_price_book_text() -> str:
    """Return the demo price book as JSON text."""
    return (files("loomwright.jobs") / "demo" / "price_book.json").read_text("utf-8")


def demo_job(name: str) -> dict[str, Any]:
    """Return a demo job as a fresh document.

    Parameters
    ----------
    name
        One of ``DEMO_JOBS``.

    Returns
    -------
    dict
        As build-bill-of-materials takes it under ``job``.
    """
    document: dict[str, Any] = json.loads(demo_job_text(name))
    return document


def demo_price_book() -> dict[str, Any]:
    """Return the demo price book as a fresh document."""
    document: dict[str, Any] = json.loads(demo_price_book_text())
    return document


@cache
def demo_book() -> PriceBook:
    """Return the demo price book as it is read, once for all."""
    return price_book_from_document(demo_price_book())
