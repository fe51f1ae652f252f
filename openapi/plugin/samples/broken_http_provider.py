"""The sample provider over HTTP with faults put in on purpose; ``broken.json`` says which."""

import itertools
import json
from typing import Any

import http_provider

COUNT = itertools.count()


class BrokenHandler(http_provider.Handler):
    """Gives numbers for texts, a wrong time, any price book, and one tag to whatever it sends."""

    def document(self, path: str) -> dict[str, Any] | None:
        """Return a document with faults."""
        known = path.replace("/no-such-price-book", "/spring")
        document = super().document(known)
        if document is not None and path.endswith("/stock"):
            document["as_of"] = "this morning"
            document["stock"].append({"part": "A-PART-OF-ANOTHER-BOOK", "quantity": "1"})
        if document is not None and path.endswith("/mapping"):
            for entry in document["parts"]:
                entry["shop_part_number"] = int(entry["shop_part_number"])
        return document

    def send(self, status: int, content: bytes, headers: dict[str, str]) -> None:
        """Send something else each time under the same tag, and never say 304."""
        if status == 304:
            status, headers = 200, {**headers, "Content-Type": "application/json"}
            content = json.dumps(self.document(self.path)).encode()
        if status == 200:
            content += b" " * (1 + next(COUNT) % 7)
        super().send(status, content, headers)


if __name__ == "__main__":
    http_provider.main(BrokenHandler)
