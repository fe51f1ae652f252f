"""Demo price book and demo jobs of an invented shop, as plain JSON documents."""

import json
from functools import cache
from importlib.resources import files
from typing import Any

DEMO_JOBS = ("combustion_car", "hybrid_jump_start", "van_second_battery", "truck_24v")


def _document(name: str) -> dict[str, Any]:
    text = files(__name__).joinpath(f"{name}.json").read_text(encoding="utf-8")
    document: dict[str, Any] = json.loads(text)
    return document


@cache
def demo_price_book_text() -> str:
    """Return the demo price book as the JSON text that is packaged."""
    return files(__name__).joinpath("price_book.json").read_text(encoding="utf-8")


def demo_price_book_document() -> dict[str, Any]:
    """Return a new copy of the demo price book as a plain JSON document."""
    return _document("price_book")


def demo_job_document(name: str) -> dict[str, Any]:
    """Return a new copy of a demo job as a plain JSON document.

    Parameters
    ----------
    name
        One of ``DEMO_JOBS``.

    Returns
    -------
    dict
        The document.

    Raises
    ------
    KeyError
        No demo job has this name.
    """
    if name not in DEMO_JOBS:
        raise KeyError(name)
    return _document(name)
