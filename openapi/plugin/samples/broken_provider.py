"""A provider over HTTP that is wrong on purpose; ``broken.json`` says in what."""

import re
from typing import Any

from csv_provider import CsvProvider
from http_provider import Handler, main


class BrokenProvider(CsvProvider):
    """Serves documents with faults."""

    def stock(self, name: str) -> dict[str, Any] | None:
        """Count what nobody sells, and in numbers."""
        document = super().stock(name)
        if document is not None:
            document["stock"] = [{"part": "GHOST", "quantity": 3}]
        return document

    def mapping(self, name: str) -> dict[str, Any] | None:
        """Map by a number that loses its zeros, and under another version."""
        document = super().mapping(name)
        if document is not None:
            document["parts"][0]["shop_part_number"] = 4410
            document["specification"] = "1.1"
        return document

    def labour_rates(self, name: str) -> dict[str, Any] | None:
        """State rates in another currency than that of the book."""
        document = super().labour_rates(name)
        return None if document is None else {**document, "currency": "USD"}


class BrokenHandler(Handler):
    """Answers with faults of HTTP."""

    def document(self, provider: CsvProvider) -> dict[str, Any] | None:
        """Take any name of a price book for the one there is."""
        self.path = re.sub(r"^/price-books/[^/]+", "/price-books/counter", self.path)
        return super().document(provider)

    def answer(self, body: bytes) -> None:
        """Send the whole document, whatever the caller has."""
        del self.headers["If-None-Match"]
        super().answer(body)


if __name__ == "__main__":
    main(BrokenProvider, BrokenHandler)
