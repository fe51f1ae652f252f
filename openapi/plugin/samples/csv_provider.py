"""A provider in process over folders of CSV tables: ``--factory csv_provider:provider``.

A sample to start from. Each folder within ``folder`` is a price book: its tables are those of
``openapi/price-book.md``; ``stock.csv``, ``part_numbers.csv`` and ``tax_codes.csv`` are the shop's
own.
"""

import csv
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from loomwright.pricing.book_csv import document_of_csv
from loomwright.pricing.book_tables import TABLES

NAMED = {"specification": "1.0"}


def provider(options: dict[str, str]) -> "CsvProvider":
    """Return the provider for the operator's options; ``folder`` is needed."""
    return CsvProvider(Path(options["folder"]))


class CsvProvider:
    """Reads the files in each call, so that a change serves at once and nothing is shared."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder.resolve()

    def capabilities(self) -> dict[str, Any]:
        """Say what is served."""
        return {
            **NAMED,
            "roles": ["provider"],
            "name": "Wren Car Electrics (invented)",
            "serves": ["price_book", "stock", "mapping"],
            "price_books": sorted(path.name for path in self.folder.iterdir() if path.is_dir()),
        }

    def price_book(self, name: str) -> dict[str, Any] | None:
        """Return a price book, or None."""
        if not self._knows(name):
            return None
        files = {table: self.folder / name / f"{table}.csv" for table in TABLES}
        texts = {table: file.read_text("utf-8") for table, file in files.items() if file.is_file()}
        return {**NAMED, "price_book": document_of_csv(texts)}

    def labour_rates(self, name: str) -> None:
        """Leave labour to the price book."""

    def tax_rules(self, name: str) -> None:
        """Leave taxes to the price book."""

    def stock(self, name: str) -> dict[str, Any] | None:
        """Return the stock; the file is as old as the count."""
        if not self._knows(name):
            return None
        modified = (self.folder / name / "stock.csv").stat().st_mtime
        as_of = datetime.fromtimestamp(modified, UTC).isoformat(timespec="seconds")
        return {**NAMED, "as_of": as_of, "stock": self._rows(name, "stock")}

    def mapping(self, name: str) -> dict[str, Any] | None:
        """Return the shop's own numbers, as texts."""
        if not self._knows(name):
            return None
        parts, codes = self._rows(name, "part_numbers"), self._rows(name, "tax_codes")
        return {**NAMED, "parts": parts, "tax_categories": codes}

    def _knows(self, name: str) -> bool:
        # Compared with what is listed, so that a name never becomes a path.
        return name in self.capabilities()["price_books"]

    def _rows(self, name: str, table: str) -> list[dict[str, str]]:
        with (self.folder / name / f"{table}.csv").open(encoding="utf-8", newline="") as file:
            return list(csv.DictReader(file))
