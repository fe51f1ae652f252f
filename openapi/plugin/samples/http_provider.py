"""A provider over HTTP: ``python http_provider.py [--folder quayside] [--port 8091]``.

A sample to start from. It serves what ``csv_provider`` reads, with a strong ETag made of the bytes.
"""

import argparse
import hashlib
import hmac
import json
import re
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from csv_provider import CsvProvider

KINDS = {
    "": "price_book",
    "/labour-rates": "labour_rates",
    "/tax-rules": "tax_rules",
    "/stock": "stock",
    "/mapping": "mapping",
}
PATH = re.compile(r"/price-books/([A-Za-z0-9][A-Za-z0-9_-]{0,63})(/[a-z-]+)?")


class Handler(BaseHTTPRequestHandler):
    """One request; ``server.provider`` has the documents, ``server.token`` who may see them."""

    protocol_version = "HTTP/1.1"
    timeout = 10

    def do_GET(self) -> None:
        """Answer with a document, or with why there is none."""
        server: Any = self.server
        sent = self.headers.get("Authorization", "")
        if server.token and not hmac.compare_digest(
            sent.encode(), f"Bearer {server.token}".encode()
        ):
            self.refuse(401, "A token is needed.", ("WWW-Authenticate", "Bearer"))
            return
        document = self.document(server.provider)
        if document is None:
            self.refuse(404, "There is no such document.")
            return
        self.answer(json.dumps(document, ensure_ascii=False, separators=(",", ":")).encode())

    def document(self, provider: CsvProvider) -> dict[str, Any] | None:
        """Return the document of the path, or none."""
        path = self.path.partition("?")[0]
        if path == "/capabilities":
            return provider.capabilities()
        found = PATH.fullmatch(path)
        kind = KINDS.get(found[2] or "") if found else None
        if found is None or kind is None or kind not in provider.capabilities()["serves"]:
            return None
        served: dict[str, Any] | None = getattr(provider, kind)(found[1])
        return served

    def answer(self, body: bytes) -> None:
        """Send a document, or 304 where the caller has it already."""
        etag = self.etag(body)
        known = [each.strip() for each in self.headers.get("If-None-Match", "").split(",")]
        is_known = etag in known or "*" in known
        self.send_response(304 if is_known else 200)
        self.send_header("ETag", etag)
        self.send_header("Cache-Control", "no-cache")
        if not is_known:
            self.send_header("Content-Type", "application/json")
            self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        if not is_known:
            self.wfile.write(body)

    def etag(self, body: bytes) -> str:
        """Return the strong tag of a document."""
        return f'"{hashlib.sha256(body).hexdigest()}"'

    def refuse(self, status: int, detail: str, *headers: tuple[str, str]) -> None:
        """Send a problem document (RFC 9457)."""
        problem = {"title": self.responses[status][0], "status": status, "detail": detail}
        body = json.dumps(problem).encode()
        self.send_response(status)
        for name, value in headers:
            self.send_header(name, value)
        self.send_header("Content-Type", "application/problem+json")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def _not_allowed(self) -> None:
        # What a caller sends along is not read, so that the connection cannot go on.
        self.close_connection = True
        self.refuse(405, "Documents are asked for by GET.", ("Allow", "GET"))

    # Names of the base class.
    do_POST = _not_allowed  # noqa: N815
    do_PUT = _not_allowed  # noqa: N815
    do_DELETE = _not_allowed  # noqa: N815

    def log_message(self, *_: Any) -> None:
        """Keep quiet."""


def server_of(
    provider: CsvProvider,
    port: int = 0,
    token: str = "",
    handler: type[BaseHTTPRequestHandler] = Handler,
) -> ThreadingHTTPServer:
    """Return a server on the loopback interface."""
    server: Any = ThreadingHTTPServer(("127.0.0.1", port), handler)
    server.provider, server.token = provider, token
    made: ThreadingHTTPServer = server
    return made


def main(
    provider: type[CsvProvider] = CsvProvider, handler: type[BaseHTTPRequestHandler] = Handler
) -> None:
    """Print the address and serve until interrupted."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path, default=Path(__file__).parent / "quayside")
    parser.add_argument("--port", type=int, default=8091)
    parser.add_argument("--token-file", type=Path)
    chosen = parser.parse_args()
    token = chosen.token_file.read_text("ascii").strip() if chosen.token_file else ""
    served = provider(chosen.folder, "Sample counter")
    with server_of(served, chosen.port, token, handler) as running:
        print(f"http://127.0.0.1:{running.server_port}", flush=True)
        running.serve_forever()


if __name__ == "__main__":
    main()
