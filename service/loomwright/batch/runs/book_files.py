"""Price book and pricing options of a run, read from files."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import orjson

from loomwright.batch.runs.run_error import RunError
from loomwright.jobs.demo_library import demo_book
from loomwright.pricing.book_csv import price_book_from_csv
from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.csv_rows import TableFault
from loomwright.pricing.faults import DocumentError, Fault
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.pricing_options import batch_pricing_from_document
from loomwright.unique_members import json_of_unique_members


def book_at(path: Path | None) -> PriceBook:
    """Return the price book of a path.

    Parameters
    ----------
    path
        A JSON file, or a folder with CSV tables such as ``parts.csv``; the demo book for none.

    Returns
    -------
    PriceBook
        The checked book.

    Raises
    ------
    RunError
        It is no price book, or has faults; the first one is told.
    OSError
        It cannot be read.
    """
    if path is None:
        return demo_book()
    try:
        if path.is_dir():
            return price_book_from_csv(_tables(path))
        return price_book_from_document(_json(path, "--price-book"))
    except DocumentError as error:
        first = _told(error.faults[0])
        more = len(error.faults) - 1
        rest = f" ({more} more; check-price-book lists all)" if more else ""
        raise RunError(f"--price-book {path}: {first}{rest}") from None


def pricing_at(path: Path | None, currency: str) -> Mapping[str, Any]:
    """Return the pricing options of a path as a document.

    Parameters
    ----------
    path
        A JSON file; no options for none.
    currency
        Of the price book.

    Returns
    -------
    mapping
        Checked plain JSON values.

    Raises
    ------
    RunError
        The options have faults; the first one is told.
    OSError
        It cannot be read.
    """
    if path is None:
        return {}
    document = _json(path, "--pricing")
    try:
        batch_pricing_from_document(document, currency)
    except DocumentError as error:
        raise RunError(f"--pricing {path}: {_told(error.faults[0])}") from None
    assert isinstance(document, Mapping)
    return document


def _json(path: Path, option: str) -> object:
    try:
        return json_of_unique_members(path.read_bytes())
    except orjson.JSONDecodeError as error:
        raise RunError(f"{option} {path}: not JSON: {error}") from None


def _tables(folder: Path) -> dict[str, str]:
    texts = {}
    for path in sorted(folder.glob("*.csv")):
        try:
            texts[path.stem] = path.read_bytes().decode("utf-8")
        except UnicodeDecodeError as error:
            raise RunError(f"--price-book {path}: not UTF-8: {error.reason}") from None
    if not texts:
        raise RunError(f"--price-book {folder}: the folder holds no CSV table.")
    return texts


def _told(fault: Fault) -> str:
    if isinstance(fault, TableFault):
        return f"{fault.table}.csv: {fault.message}"
    return f"{fault.pointer or '/'}: {fault.message}"
