"""The runner over providers: a right one passes, and each breach fails its requirement alone."""

import copy
import hashlib
import itertools
import json
import threading
import time
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any, ClassVar

import pytest
from conformance_samples import (
    NAME,
    SPECIFICATION,
    binding,
    failed,
    passed,
    sample_documents,
    serving,
)

from loomwright.conformance import provider
from loomwright.conformance.checks import Context
from loomwright.conformance.report import Ledger, Report, report_of
from loomwright.exchange import Seen, address_of

TOKEN = "token-of-the-test"
Documents = dict[str, Any]


class InProcess:
    """A provider in process over given documents."""

    def __init__(self, stated: Documents) -> None:
        self.stated = stated

    def answer(self, kind: str, name: str) -> Any:
        """Return a copy of a document, or None."""
        known = kind == "capabilities" or name in self.stated["capabilities"]["price_books"]
        return copy.deepcopy(self.stated.get(kind)) if known else None

    def capabilities(self) -> Any:
        return self.answer("capabilities", "")

    def price_book(self, name: str) -> Any:
        return self.answer("price_book", name)

    def labour_rates(self, name: str) -> Any:
        return self.answer("labour_rates", name)

    def tax_rules(self, name: str) -> Any:
        return self.answer("tax_rules", name)

    def stock(self, name: str) -> Any:
        return self.answer("stock", name)

    def mapping(self, name: str) -> Any:
        return self.answer("mapping", name)


class Handler(BaseHTTPRequestHandler):
    """A provider over HTTP over the same documents."""

    protocol_version = "HTTP/1.1"
    stated: ClassVar[Documents]
    token = TOKEN
    paths: ClassVar[Mapping[str, str]] = {
        f"/price-books/{{}}{path}": kind for kind, path in provider.KINDS.items()
    }

    def do_GET(self) -> None:
        status, kind, content, headers = self.answer()
        self.send_response(status)
        for name, text in {"Content-Type": kind, **headers}.items():
            self.send_header(name, text)
        self.send_header("Content-Length", str(len(content)))
        self.end_headers()
        self.wfile.write(content)

    do_POST = do_DELETE = do_GET  # noqa: N815

    def answer(self) -> tuple[int, str, bytes, dict[str, str]]:
        """Return status, media type, body and headers."""
        if self.headers.get("Authorization") != f"Bearer {self.token}":
            return self.problem(401)
        document = self.document(self.path.partition("?")[0])
        if document is None:
            return self.problem(404)
        if self.command != "GET":
            return self.problem(405)
        content = json.dumps(document).encode()
        etag = self.etag(content)
        if etag and self.headers.get("If-None-Match") == etag:
            return 304, "application/json", b"", {"ETag": etag}
        return 200, "application/json", content, {"ETag": etag} if etag else {}

    def document(self, path: str) -> Any:
        """Return the document under a path, or None."""
        if path == "/capabilities":
            return self.stated["capabilities"]
        for name in self.stated["capabilities"]["price_books"]:
            for pattern, kind in self.paths.items():
                if path == pattern.format(name):
                    return self.stated.get(kind)
        return None

    def problem(self, status: int) -> tuple[int, str, bytes, dict[str, str]]:
        """Return a problem document."""
        content = json.dumps({"title": "Refused", "status": status}).encode()
        return status, "application/problem+json", content, {}

    def etag(self, content: bytes) -> str:
        """Return the strong ETag of a body."""
        return f'"{hashlib.sha256(content).hexdigest()}"'

    def log_message(self, *_: Any) -> None:
        """Say nothing."""


def judged(runner: provider.ProviderRunner) -> Report:
    ledger = Ledger()
    runner.judge(SPECIFICATION.cases_of("provider"), ledger)
    return report_of("provider", "test", SPECIFICATION.of_role("provider"), ledger)


def report_in_process(subject: Any) -> Report:
    return judged(provider.ProviderRunner(provider.ProcessSource(subject)))


def report_over_http(handler: type[Handler], stated: Documents) -> Report:
    bound = type("Bound", (handler,), {"stated": stated})
    with serving(ThreadingHTTPServer(("127.0.0.1", 0), bound)) as url:
        return judged(provider.over_http(address_of(url, TOKEN)))


def changed(change: Callable[[Documents], object]) -> Documents:
    """Documents of a right provider after a change."""
    stated = sample_documents()
    change(stated)
    return stated


def setting(kind: str, *way: Any, value: Any) -> Callable[[Documents], object]:
    """A change of one value in one document."""

    def change(stated: Documents) -> None:
        place = stated[kind]
        for token in way[:-1]:
            place = place[token]
        place[way[-1]] = value

    return change


LATER = (datetime.now(UTC) + timedelta(hours=2)).isoformat()
STRANGE = [{"part": "no such part", "quantity": "1"}]
# Requirement -> what is changed in the documents to break it, and what else goes with it.
IN_DOCUMENTS: dict[str, tuple[Callable[[Documents], object], set[str]]] = {
    "V-002": (setting("capabilities", "specification", value="1"), {"P-003"}),
    "V-003": (setting("capabilities", "roles", value=[]), set()),
    "V-004": (setting("capabilities", "name", value=" "), set()),
    "V-009": (setting("capabilities", "colour", value="red"), set()),
    "P-001": (setting("mapping", "parts", value="none"), set()),
    "P-003": (setting("stock", "specification", value="1.1"), set()),
    "P-004": (lambda stated: stated.pop("stock"), set()),
    "P-005": (lambda stated: stated["capabilities"]["serves"].remove("stock"), set()),
    "P-006": (lambda stated: stated["capabilities"]["serves"].append("colour"), set()),
    "P-007": (setting("capabilities", "price_books", value=[NAME, "no.dot"]), set()),
    "P-010": (setting("price_book", "price_book", "parts", 0, "unit_price", value=1.5), set()),
    "P-011": (setting("labour_rates", "currency", value="XTS"), set()),
    "P-012": (
        setting("tax_rules", "tax_rules", "tax_categories", value=[{"key": "none", "taxes": []}]),
        set(),
    ),
    "P-014": (setting("stock", "stock", 0, "quantity", value=12), set()),
    "P-020": (setting("stock", "as_of", value="2031-04-30T07:15:00"), set()),
    "P-021": (setting("stock", "as_of", value=LATER), set()),
    "P-022": (setting("stock", "stock", value=STRANGE), set()),
    "P-030": (
        lambda stated: stated["mapping"]["parts"].append(stated["mapping"]["parts"][0]),
        set(),
    ),
    "P-031": (setting("mapping", "parts", 0, "shop_part_number", value=123), set()),
}


class AnyName(InProcess):
    def answer(self, kind: str, name: str) -> Any:
        return super().answer(kind, NAME if name else "")


class Shared(InProcess):
    def answer(self, kind: str, name: str) -> Any:
        return self.stated.get(kind) if super().answer(kind, name) is not None else None


class Rushed(InProcess):
    running = 0

    def answer(self, kind: str, name: str) -> Any:
        self.running += 1
        time.sleep(0.02)
        several, self.running = self.running > 1, self.running - 1
        return {} if several else super().answer(kind, name)


class Tuples(InProcess):
    def answer(self, kind: str, name: str) -> Any:
        document = super().answer(kind, name)
        if kind == "stock" and document is not None:
            document["x_counted"] = (1, 2)
        return document


class Listed(InProcess):
    def capabilities(self) -> Any:
        return [super().capabilities()]


IN_PROCESS = {"V-001": Listed, "P-008": AnyName, "P-050": Tuples, "P-051": Rushed, "P-052": Shared}


class Typed(Handler):
    def answer(self) -> Any:
        status, kind, content, headers = super().answer()
        if "price-books" in self.path and status == 200:
            kind = "text/plain"
        return status, kind, content, headers


class Twice(Handler):
    def answer(self) -> Any:
        status, kind, content, headers = super().answer()
        if "/stock" in self.path and status == 200:
            content = content.replace(b'{"specification"', b'{"as_of": "", "specification"', 1)
        return status, kind, content, headers


class NoQuery(Handler):
    def document(self, path: str) -> Any:
        return None if "?" in self.path else super().document(path)


class Redirecting(Handler):
    def answer(self) -> Any:
        status, kind, content, headers = super().answer()
        if "/stock" in self.path and status == 200:
            return 307, kind, content, {**headers, "Location": "/elsewhere"}
        return status, kind, content, headers


class Marked(Handler):
    def answer(self) -> Any:
        status, kind, content, headers = super().answer()
        return status, kind, b"\xef\xbb\xbf" + content if status == 200 else content, headers


class PlainRefusals(Handler):
    def problem(self, status: int) -> Any:
        return status, "text/html", b"<html></html>", {}


class Open(Handler):
    def answer(self) -> Any:
        del self.headers["Authorization"]
        self.headers["Authorization"] = f"Bearer {self.token}"
        return super().answer()


class AnyMethod(Handler):
    def answer(self) -> Any:
        self.command = "GET"
        return super().answer()


class AlwaysWhole(Handler):
    def answer(self) -> Any:
        del self.headers["If-None-Match"]
        return super().answer()


class OneTag(Handler):
    count = itertools.count()

    def answer(self) -> Any:
        status, kind, content, headers = super().answer()
        if status == 200:
            content = content.replace(b"}", b"}" + b" " * (1 + next(self.count)), 1)
        return status, kind, content, headers


class Slow(Handler):
    """Slow once, at the request whose time is judged, as each further one would cost the same."""

    count = itertools.count(1)

    def answer(self) -> Any:
        if self.path.endswith("/mapping") and next(self.count) == 2:
            time.sleep(5.2)
        return super().answer()


class Large(Handler):
    def answer(self) -> Any:
        status, kind, content, headers = super().answer()
        padding = b" " * 8_400_000 if "/mapping" in self.path and status == 200 else b""
        return status, kind, content + padding, headers


# Requirement -> a provider over HTTP that breaks it, and what else goes with it.
OVER_HTTP: dict[str, tuple[type[Handler], set[str]]] = {
    "P-002": (Typed, set()),
    "P-013": (Twice, set()),
    "P-041": (AlwaysWhole, set()),
    "P-042": (OneTag, set()),
    "P-043": (Slow, set()),
    "P-044": (Large, set()),
    "V-010": (NoQuery, set()),
    # What is redirected is not served.
    "V-011": (Redirecting, {"P-002", "P-004"}),
    "V-012": (Marked, set()),
    "V-013": (PlainRefusals, set()),
    "V-014": (Open, set()),
    "V-015": (AnyMethod, set()),
}


def test_right_provider_in_process_passes() -> None:
    report = report_in_process(InProcess(sample_documents()))
    assert failed(report) == {}
    unjudged = binding("provider") - passed(report)
    over_http = {entry.number for entry in SPECIFICATION.requirements if entry.over_http}
    # Everything is listed in serves, so that nothing could be served beside.
    assert unjudged == (over_http & binding("provider")) | {"P-005"}


def test_right_provider_over_http_passes() -> None:
    report = report_over_http(Handler, sample_documents())
    assert failed(report) == {}
    unjudged = binding("provider") - passed(report)
    in_process = {entry.number for entry in SPECIFICATION.requirements if entry.in_process}
    assert unjudged == in_process | {"P-005"}


def test_provider_of_prices_alone_passes() -> None:
    stated = {kind: sample_documents()[kind] for kind in ("capabilities", "price_book")}
    stated["capabilities"]["serves"] = ["price_book"]
    report = report_in_process(InProcess(stated))
    assert failed(report) == {}
    assert "P-005" in passed(report)


def test_every_requirement_is_broken_once() -> None:
    assert {*IN_DOCUMENTS, *IN_PROCESS, *OVER_HTTP} == binding("provider")


@pytest.mark.parametrize("number", IN_DOCUMENTS)
def test_breach_in_a_document_fails_its_requirement_and_no_other(number: str) -> None:
    change, with_it = IN_DOCUMENTS[number]
    found = failed(report_in_process(InProcess(changed(change))))
    assert set(found) == {number} | with_it, found


@pytest.mark.parametrize("number", IN_PROCESS)
def test_breach_in_process_fails_its_requirement_and_no_other(number: str) -> None:
    found = failed(report_in_process(IN_PROCESS[number](sample_documents())))
    assert set(found) == {number}, found


@pytest.mark.parametrize("number", OVER_HTTP)
def test_breach_over_http_fails_its_requirement_and_no_other(number: str) -> None:
    handler, with_it = OVER_HTTP[number]
    found = failed(report_over_http(handler, sample_documents()))
    assert set(found) == {number} | with_it, found


def test_provider_that_raises_is_judged_to_the_end() -> None:
    class Raising(InProcess):
        def stock(self, name: str) -> Any:
            raise LookupError(name)

    report = report_in_process(Raising(sample_documents()))
    assert set(failed(report)) >= {"P-004"}
    assert "P-010" in passed(report)
    assert threading.active_count() < 20


def test_what_never_ends_is_too_late_and_not_unexercised() -> None:
    hung = Seen(seconds=30.0, error="no answer: timed out")
    miss = provider.CHECKS["within"](hung, {"seconds": 5}, Context("provider"))
    assert miss == "30.0 s for 0 bytes; no answer: timed out"
