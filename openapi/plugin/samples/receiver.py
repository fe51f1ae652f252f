"""A receiver of quotes that keeps them in memory: ``python receiver.py [--port 8090]``.

A sample to start from. It needs Python alone; a shop system would write to its database where this
one writes to a dict.
"""

import argparse
import hashlib
import hmac
import json
import re
import threading
from collections.abc import Iterable, Sequence
from decimal import Decimal, InvalidOperation
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

CAPABILITIES = {"specification": "1.0", "roles": ["receiver"], "name": "Sample quote book"}
GREATEST_BYTES = 8 * 1024 * 1024
QUOTE_PATH = re.compile(r"/quotes/([0-9a-f]{64})")
Pair = tuple[str, str]
MEMBERS = ("specification", "quote_id", "reference", "bill")


class RefusalError(Exception):
    """A delivery that is not taken: status, sentence, faults as pointer and message."""

    def __init__(
        self, status: int, detail: str, faults: Iterable[Pair] = (), headers: Iterable[Pair] = ()
    ) -> None:
        super().__init__(detail)
        self.status = status
        self.detail = detail
        self.faults = list(faults)
        self.headers = list(headers)


class QuoteBook:
    """The records. One lock, so that equal deliveries at once are one."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.digests: dict[str, str] = {}

    def status_for(self, quote_id: str, body: bytes) -> int:
        """Return the status of a checked delivery: 201 if it is recorded now, 200 if it was."""
        digest = hashlib.sha256(body).hexdigest()
        with self.lock:
            if quote_id not in self.digests:
                self.digests[quote_id] = digest
                return 201
            if self.digests[quote_id] == digest:
                return 200
        raise RefusalError(409, "Another delivery is recorded under this quote_id.")


def check(path_id: str, media_type: str, body: bytes) -> None:
    """Refuse a delivery that is not right; every fault of its members is named."""
    if media_type.partition(";")[0].strip().lower() != "application/json":
        raise RefusalError(415, "Send Content-Type: application/json.")
    try:
        delivery = json.loads(body.decode("utf-8"))
    except ValueError as error:
        raise RefusalError(400, f"The body is no JSON: {error}.") from None
    if not isinstance(delivery, dict):
        raise RefusalError(400, "The body is no JSON object.")
    faults = [(f"/{name}", "missing") for name in MEMBERS if name not in delivery]
    faults = faults or member_faults(delivery, path_id, body)
    if faults:
        raise RefusalError(422, "The delivery has faults; each is named in errors.", faults)


def member_faults(delivery: dict[str, Any], path_id: str, body: bytes) -> list[Pair]:
    """Return what is wrong with a delivery that has all its members."""
    if str(delivery["specification"]).partition(".")[0] != "1":
        # What the members of another major version mean is not known: nothing else is looked at.
        return [("/specification", "only major version 1 is known")]
    faults = []
    if delivery["quote_id"] != path_id:
        faults.append(("/quote_id", "differs from the one in the path"))
    elif delivery["quote_id"] != hashlib.sha256(bill_bytes(body)).hexdigest():
        faults.append(("/quote_id", "is not the SHA-256 of the bill's bytes"))
    if not isinstance(delivery["reference"], str) or len(delivery["reference"]) > 200:
        faults.append(("/reference", "is no text of at most 200 characters"))
    return faults + bill_faults(delivery["bill"])


def bill_bytes(body: bytes) -> bytes:
    """Return the bytes of the last member: what stands between its colon and the last brace."""
    return body[body.index(b'"bill":') + len(b'"bill":') : body.rindex(b"}")].strip()


def bill_faults(bill: Any) -> list[Pair]:
    """Return where a bill does not add up; amounts are exact decimals."""
    try:
        lines = sum((Decimal(line["total"]) for line in bill["lines"]), Decimal(0))
        taxes = sum((Decimal(tax["amount"]) for tax in bill["taxes"]), Decimal(0))
        deposit = Decimal(bill["deposit"] or 0)
        sums = {
            "lines_total": lines,
            "total": Decimal(bill["net_total"]) + taxes,
            "balance_due": Decimal(bill["total"]) - deposit,
        }
        return [
            (f"/bill/{name}", f"is {bill[name]}, and what it is made of gives {right}")
            for name, right in sums.items()
            if Decimal(bill[name]) != right
        ]
    except (KeyError, TypeError, InvalidOperation) as error:
        return [("/bill", f"is no bill: {error!r}")]


class Handler(BaseHTTPRequestHandler):
    """Answers capabilities and deliveries; everything else is a problem document."""

    protocol_version = "HTTP/1.1"
    timeout = 30
    book: QuoteBook
    token: str = ""

    def answer(self) -> None:
        """Answer any method."""
        try:
            body = self.body()
            self.authorize()
            status, document = self.routed(body)
            self.send(status, "application/json", document)
        except RefusalError as refusal:
            document = {
                "title": "The request is refused",
                "status": refusal.status,
                "detail": refusal.detail,
                "errors": [
                    {"pointer": pointer, "message": text} for pointer, text in refusal.faults
                ],
            }
            self.send(refusal.status, "application/problem+json", document, refusal.headers)

    do_GET = do_HEAD = do_PUT = do_POST = do_DELETE = do_PATCH = do_OPTIONS = answer  # noqa: N815

    def body(self) -> bytes:
        """Return the body, if it is not too large."""
        length = int(self.headers.get("Content-Length") or 0)
        if length > GREATEST_BYTES:
            self.close_connection = True
            raise RefusalError(413, f"A delivery has at most {GREATEST_BYTES} bytes.")
        return self.rfile.read(length)

    def authorize(self) -> None:
        """Refuse a request without the token that is set."""
        stated = self.headers.get("Authorization", "").encode()
        if self.token and not hmac.compare_digest(stated, f"Bearer {self.token}".encode()):
            raise RefusalError(
                401, "The token is wanted.", headers=[("WWW-Authenticate", "Bearer")]
            )

    def routed(self, body: bytes) -> tuple[int, dict[str, Any]]:
        """Return status and document for the path and method."""
        path = self.path.partition("?")[0]
        quote = QUOTE_PATH.fullmatch(path)
        if path == "/capabilities":
            self.allow("GET", "HEAD")
            return 200, CAPABILITIES
        if quote is None:
            raise RefusalError(404, "There is nothing under this path.")
        self.allow("PUT")
        return self.deliver(quote[1], body)

    def allow(self, *methods: str) -> None:
        """Refuse any other method."""
        if self.command not in methods:
            raise RefusalError(405, "Not this method.", headers=[("Allow", ", ".join(methods))])

    def deliver(self, path_id: str, body: bytes) -> tuple[int, dict[str, Any]]:
        """Check and record a delivery."""
        check(path_id, self.headers.get("Content-Type", ""), body)
        return self.book.status_for(path_id, body), {"quote_id": path_id}

    def send(
        self, status: int, media_type: str, document: dict[str, Any], headers: Sequence[Pair] = ()
    ) -> None:
        """Send one answer."""
        content = json.dumps(document).encode("utf-8")
        self.send_response(status)
        for name, value in [("Content-Type", media_type), *headers]:
            self.send_header(name, value)
        self.send_header("Content-Length", str(len(content)))
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(content)

    def log_message(self, *_: Any) -> None:
        """Keep standard error for failures."""


def server(handler: type[Handler] = Handler, port: int = 0, token: str = "") -> ThreadingHTTPServer:
    """Return a server on the loopback interface; port 0 takes a free one."""
    bound = type("BoundHandler", (handler,), {"book": QuoteBook(), "token": token})
    return ThreadingHTTPServer(("127.0.0.1", port), bound)


def main(handler: type[Handler] = Handler) -> None:
    """Serve until interrupted."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--port", type=int, default=8090)
    parser.add_argument("--token-file", type=Path)
    chosen = parser.parse_args()
    token = chosen.token_file.read_text("ascii").strip() if chosen.token_file else ""
    with server(handler, chosen.port, token) as running:
        print(f"http://127.0.0.1:{running.server_port}", flush=True)
        running.serve_forever()


if __name__ == "__main__":
    main()
