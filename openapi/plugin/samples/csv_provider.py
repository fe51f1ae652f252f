"""A provider in process over a folder of CSV files: ``csv_provider:provider``.

A sample to start from. ``book.csv``, ``parts.csv`` and other tables are those that
``../../price-book.md`` describes; labour and taxes are served as documents of their own, and so are
the counts of ``stock.csv`` and the shop's own numbers of ``numbers.csv`` and ``tax_codes.csv``. The
files are read in each call, so that a change counts at once; what is returned is made anew.
"""

import csv
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from loomwright.pricing.book_csv import document_of_csv
from loomwright.pricing.book_tables import TABLES

VERSION = "1.0"
BOOK = "counter"
LABOUR = ("labour", "labour_minimum", "difficulty")
TAXES = ("taxes", "tax_categories", "prices_include_tax")


class CsvProvider:
    """Serves one price book, ``counter``, from a folder."""

    def __init__(self, folder: Path, name: str) -> None:
        self.folder = folder
        self.name = name

    def capabilities(self) -> dict[str, Any]:
        """Return what is served."""
        return {
            "specification": VERSION,
            "roles": ["provider"],
            "name": self.name,
            "serves": ["price_book", "labour_rates", "tax_rules", "stock", "mapping"],
            "price_books": [BOOK],
        }

    def price_book(self, name: str) -> dict[str, Any] | None:
        """Return the parts with their prices; tax categories stay, as the parts name them."""
        if name != BOOK:
            return None
        document = self._document()
        kept = {each: value for each, value in document.items() if each not in LABOUR}
        return {"specification": VERSION, "price_book": kept}

    def labour_rates(self, name: str) -> dict[str, Any] | None:
        """Return hours and rates."""
        if name != BOOK:
            return None
        document = self._document()
        rates = {each: document[each] for each in LABOUR if each in document}
        return {"specification": VERSION, "currency": document["currency"], "labour": rates}

    def tax_rules(self, name: str) -> dict[str, Any] | None:
        """Return taxes and what they are on."""
        if name != BOOK:
            return None
        document = self._document()
        rules = {each: document[each] for each in TAXES if each in document}
        return {"specification": VERSION, "tax_rules": rules}

    def stock(self, name: str) -> dict[str, Any] | None:
        """Return what was counted, as of the time at which the file was written."""
        if name != BOOK:
            return None
        written = datetime.fromtimestamp((self.folder / "stock.csv").stat().st_mtime, UTC)
        return {
            "specification": VERSION,
            "as_of": written.isoformat(timespec="seconds"),
            "stock": self._rows("stock.csv"),
        }

    def mapping(self, name: str) -> dict[str, Any] | None:
        """Return the shop's own numbers, as texts."""
        if name != BOOK:
            return None
        return {
            "specification": VERSION,
            "parts": self._rows("numbers.csv"),
            "tax_categories": self._rows("tax_codes.csv"),
        }

    def _document(self) -> dict[str, Any]:
        texts = {
            path.stem: path.read_text("utf-8")
            for path in sorted(self.folder.glob("*.csv"))
            if path.stem in TABLES
        }
        return document_of_csv(texts)

    def _rows(self, file: str) -> list[dict[str, str]]:
        with (self.folder / file).open(encoding="utf-8", newline="") as text:
            return [dict(row) for row in csv.DictReader(text)]


def provider(options: Mapping[str, str]) -> CsvProvider:
    """Return the provider of the operator's options: ``folder``, and ``name`` if wanted."""
    return CsvProvider(Path(options["folder"]), options.get("name", "Sample counter"))
