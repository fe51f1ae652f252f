"""The sample provider over HTTP: ``python http_provider.py [--folder prices] [--port 8091]``."""

import argparse
import hashlib
import hmac
import json
import re
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from csv_provider import CsvProvider

DOCUMENT = re.compile(r"/price-books/([^/]+)(?:/(labour-rates|tax-rules|stock|mapping))?")


class Handler(BaseHTTPRequestHandler):
    """Answers GET with the documents of the provider; all else is a problem document."""

    protocol_version = "HTTP/1.1"
    timeout = 30
    provider: CsvProvider
    token: str = ""

    def answer(self) -> None:
        """Answer any method."""
        stated = self.headers.get("Authorization", "").encode()
        if self.token and not hmac.compare_digest(stated, f"Bearer {self.token}".encode()):
            return self.refuse(401, "Send the token.", {"WWW-Authenticate": "Bearer"})
        if self.command not in ("GET", "HEAD"):
            return self.refuse(405, "Documents are read only.", {"Allow": "GET, HEAD"})
        document = self.document(self.path.partition("?")[0])
        if document is None:
            return self.refuse(404, "There is no such document.")
        content = json.dumps(document).encode("utf-8")
        etag = f'"{hashlib.sha256(content).hexdigest()}"'
        if self.headers.get("If-None-Match") == etag:
            return self.send(304, b"", {"ETag": etag})
        return self.send(200, content, {"Content-Type": "application/json", "ETag": etag})

    do_GET = do_HEAD = do_POST = do_PUT = do_DELETE = do_PATCH = do_OPTIONS = answer  # noqa: N815

    def document(self, path: str) -> dict[str, Any] | None:
        """Return the document under a path, or None."""
        if path == "/capabilities":
            return self.provider.capabilities()
        found = DOCUMENT.fullmatch(path)
        if found is None:
            return None
        kind = (found[2] or "price-book").replace("-", "_")
        document: dict[str, Any] | None = getattr(self.provider, kind)(found[1])
        return document

    def refuse(self, status: int, detail: str, headers: dict[str, str] | None = None) -> None:
        """Send a problem document."""
        problem = {"title": "The request is refused", "status": status, "detail": detail}
        kind = {"Content-Type": "application/problem+json"}
        # What a refused request sends along is not read, and would be taken for the next request.
        self.close_connection = True
        self.send(status, json.dumps(problem).encode(), {**kind, **(headers or {})})

    def send(self, status: int, content: bytes, headers: dict[str, str]) -> None:
        """Send one answer."""
        self.send_response(status)
        for name, text in headers.items():
            self.send_header(name, text)
        self.send_header("Content-Length", str(len(content)))
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(content)

    def log_message(self, *_: Any) -> None:
        """Keep standard error for failures."""


def main(handler: type[Handler] = Handler) -> None:
    """Serve until interrupted."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--port", type=int, default=8091)
    parser.add_argument("--folder", type=Path, default=Path(__file__).parent / "prices")
    parser.add_argument("--token-file", type=Path)
    chosen = parser.parse_args()
    token = chosen.token_file.read_text("ascii").strip() if chosen.token_file else ""
    members = {"provider": CsvProvider(chosen.folder), "token": token}
    bound = type("BoundHandler", (handler,), members)
    with ThreadingHTTPServer(("127.0.0.1", chosen.port), bound) as running:
        print(f"http://127.0.0.1:{running.server_port}", flush=True)
        running.serve_forever()


if __name__ == "__main__":
    main()
