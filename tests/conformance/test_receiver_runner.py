"""The runner over receivers: the sample passes, and each breach fails its requirement alone."""

import hashlib
import json
import threading
import time
from collections.abc import Callable, Sequence
from typing import Any, ClassVar

import pytest
from conformance_samples import binding, failed, passed, receiver_report, sample, serving

receiver = sample("receiver")
broken = sample("broken_receiver")
TOKEN = "token-of-the-test"
Answer = tuple[int, Any]


def capabilities(change: Callable[[dict[str, Any]], Any]) -> type:
    """A handler whose capabilities are changed."""

    class Changed(receiver.Handler):
        def routed(self, body: bytes) -> Answer:
            status, document = super().routed(body)
            return status, change(document) if "roles" in document else document

    return Changed


def before(change: Callable[[Any, str, bytes], tuple[str, bytes]]) -> type:
    """A handler that changes path and body of a delivery before it looks at them."""

    class Changed(receiver.Handler):
        def deliver(self, path_id: str, body: bytes) -> Answer:
            return super().deliver(*change(self, path_id, body))

    return Changed


def sent(change: Callable[[int, str, Any], tuple[int, str, Any]]) -> type:
    """A handler that changes each answer."""

    class Changed(receiver.Handler):
        def send(self, status: int, kind: str, document: Any, headers: Sequence[Any] = ()) -> None:
            super().send(*change(status, kind, document), headers)

    return Changed


def overlooking(pointer: str, message: str = "") -> type:
    """A handler that takes deliveries whose only fault is a certain one."""

    class Overlooking(receiver.Handler):
        def deliver(self, path_id: str, body: bytes) -> Answer:
            try:
                return super().deliver(path_id, body)
            except receiver.RefusalError as error:
                if [place for place, _ in error.faults] == [pointer] and any(
                    message in text for _, text in error.faults
                ):
                    return self.book.status_for(path_id, body), {}
                raise

    return Overlooking


def refusing(wrong: Callable[[bytes], bool], status: int = 422) -> type:
    """A handler that refuses deliveries that are right."""

    def change(_: Any, path_id: str, body: bytes) -> tuple[str, bytes]:
        if wrong(body):
            raise receiver.RefusalError(status, "Refused by mistake.", [("", "no fault")])
        return path_id, body

    return before(change)


class Redirecting(receiver.Handler):
    def routed(self, body: bytes) -> Answer:
        status, document = super().routed(body)
        return (307, document) if "roles" in document else (status, document)


class Marked(receiver.Handler):
    def send(self, status: int, kind: str, document: Any, headers: Sequence[Any] = ()) -> None:
        write = self.wfile.write
        content = b"\xef\xbb\xbf" + json.dumps(document).encode()
        self.send_response(status)
        for name, text in [("Content-Type", kind), *headers]:
            self.send_header(name, text)
        self.send_header("Content-Length", str(len(content)))
        self.end_headers()
        write(content)


class Strict(receiver.Handler):
    def routed(self, body: bytes) -> Answer:
        if "?" in self.path:
            raise receiver.RefusalError(400, "No query here.")
        return super().routed(body)


class Open(receiver.Handler):
    def authorize(self) -> None:
        """Want no token."""


class AnyMethod(receiver.Handler):
    def allow(self, *methods: str) -> None:
        """Allow everything."""


class Anew(receiver.Handler):
    def deliver(self, path_id: str, body: bytes) -> Answer:
        super().deliver(path_id, body)
        return 201, {}


class Racing(receiver.Handler):
    running: ClassVar[list[str]] = []

    def deliver(self, path_id: str, body: bytes) -> Answer:
        self.running.append(path_id)
        time.sleep(0.05)
        together = self.running.count(path_id) > 1
        status, document = super().deliver(path_id, body)
        self.running.remove(path_id)
        return 201 if together else status, document


class Slow(receiver.Handler):
    """Slow where the time is judged, as each further wait would cost the same."""

    def deliver(self, path_id: str, body: bytes) -> Answer:
        if b"receiver-first" in body and path_id not in self.book.digests:
            time.sleep(5.2)
        return super().deliver(path_id, body)


class Recording(receiver.Handler):
    def deliver(self, path_id: str, body: bytes) -> Answer:
        try:
            return super().deliver(path_id, body)
        except receiver.RefusalError:
            with self.book.lock:
                self.book.digests.setdefault(path_id, hashlib.sha256(body).hexdigest())
            raise


class AnyMediaType(receiver.Handler):
    def deliver(self, path_id: str, body: bytes) -> Answer:
        self.headers.replace_header("Content-Type", "application/json")
        return super().deliver(path_id, body)


def with_reference(_: Any, path_id: str, body: bytes) -> tuple[str, bytes]:
    if b'"reference":' not in body and b'"bill":' in body:
        body = body.replace(b'{"specification"', b'{"reference":"","specification"', 1)
    return path_id, body


def to_own_id(_: Any, path_id: str, body: bytes) -> tuple[str, bytes]:
    found = receiver.re.search(rb'"quote_id":"([0-9a-f]{64})"', body)
    return found[1].decode() if found else path_id, body


def as_major_1(_: Any, path_id: str, body: bytes) -> tuple[str, bytes]:
    for major in (b"2.0", b"10.0"):
        body = body.replace(b'"specification":"' + major + b'"', b'"specification":"1.0"')
    return path_id, body


def without(name: str) -> Callable[[dict[str, Any]], dict[str, Any]]:
    return lambda document: {key: value for key, value in document.items() if key != name}


# Requirement -> a receiver that breaks it, and what else cannot be kept with it.
BREACHES: dict[str, tuple[type, set[str]]] = {
    "V-001": (capabilities(lambda document: [document]), set()),
    "V-002": (capabilities(lambda document: {**document, "specification": "1.00"}), set()),
    "V-003": (capabilities(lambda document: {**document, "roles": ["provider"]}), set()),
    "V-004": (capabilities(without("name")), set()),
    "V-006": (refusing(lambda body: b'"later"' in body), set()),
    "V-007": (refusing(lambda body: b'"specification":"1.12"' in body), set()),
    "V-008": (before(as_major_1), set()),
    "V-009": (capabilities(lambda document: {**document, "colour": "red"}), set()),
    "V-010": (Strict, set()),
    # What is redirected is not answered.
    "V-011": (Redirecting, {"V-001"}),
    "V-012": (Marked, set()),
    "V-013": (sent(lambda status, _, document: (status, "application/json", document)), set()),
    "V-014": (Open, set()),
    "V-015": (AnyMethod, set()),
    # Whoever never says 201 cannot say which of several deliveries was the first.
    "R-001": (
        sent(lambda status, kind, document: (200 if status == 201 else status, kind, document)),
        {"R-003", "R-005"},
    ),
    "R-002": (Anew, set()),
    "R-003": (Racing, set()),
    "R-004": (
        sent(
            lambda status, kind, document: (
                (200, "application/json", {}) if status == 409 else (status, kind, document)
            )
        ),
        set(),
    ),
    "R-005": (Recording, set()),
    "R-010": (AnyMediaType, set()),
    "R-011": (
        sent(
            lambda status, kind, document: (
                (422, kind, {**document, "status": 422})
                if status == 400
                else (status, kind, document)
            )
        ),
        set(),
    ),
    "R-012": (before(with_reference), set()),
    "R-013": (before(to_own_id), set()),
    "R-014": (overlooking("/quote_id", "SHA-256"), set()),
    "R-015": (overlooking("/bill/lines_total"), set()),
    "R-016": (overlooking("/bill/total"), set()),
    "R-017": (overlooking("/bill/balance_due"), set()),
    "R-018": (receiver.Handler, set()),
    "R-023": (Slow, set()),
    "R-019": (refusing(lambda body: len(body) > 512 * 1024, 413), set()),
}


def test_sample_receiver_passes_all_that_binds() -> None:
    with serving(receiver.server(token=TOKEN)) as url:
        report = receiver_report(url, TOKEN)
    assert failed(report) == {}
    assert passed(report) >= binding("receiver")
    assert not report.missed


def test_every_requirement_is_broken_once() -> None:
    assert set(BREACHES) == binding("receiver")


@pytest.mark.parametrize("number", BREACHES)
def test_breach_fails_its_requirement_and_no_other(
    number: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    handler, with_it = BREACHES[number]
    if number == "R-018":
        monkeypatch.setattr(receiver, "Decimal", broken.Amount)
    with serving(receiver.server(handler, token=TOKEN)) as url:
        found = failed(receiver_report(url, TOKEN))
    assert set(found) == {number} | with_it, found


def test_no_thread_is_left() -> None:
    with serving(receiver.server()) as url:
        receiver_report(url)
    names = [thread.name for thread in threading.enumerate() if "serve_forever" in thread.name]
    assert names == []
