"""Deliver a finished quote to a receiver, as ``openapi/plugin/delivery.md`` says.

The service itself never does; the command line does for a caller that has the answer in a file.
"""

import hashlib
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from email.utils import parsedate_to_datetime
from typing import Any

import orjson

from loomwright.exchange import JSON, PROBLEM, Address, Seen, UsageError
from loomwright.unique_members import json_of_unique_members

VERSION = "1.0"
GREATEST_TRIES = 5
# Without Retry-After: between the first two tries, doubled after each.
FIRST_PAUSE_S = 0.5
# A receiver that asks for a longer wait is left to a person.
LONGEST_WAIT_S = 120.0
_REPEATED = (0, 408, 429, 500, 502, 503, 504)
_NEEDED = ("verdict", "currency", "lines", "total")
_RECORDED = {200: "was recorded before", 201: "is recorded"}


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a delivery ended: the last answer, and how often it was sent."""

    quote_id: str
    seen: Seen
    tries: int

    @property
    def recorded(self) -> bool:
        """Whether the quote is on record."""
        return self.seen.status in _RECORDED

    @property
    def sentence(self) -> str:
        """What happened, for people."""
        times = "once" if self.tries == 1 else f"{self.tries} times"
        if self.recorded:
            return f"quote {self.quote_id} {_RECORDED[self.seen.status]} (sent {times})"
        detail = self.seen.member("detail")
        said = f"{self.seen.summary}: {detail}" if detail else self.seen.summary
        return f"quote {self.quote_id} is not recorded (sent {times}): {said}"

    @property
    def faults(self) -> list[str]:
        """Each fault that the receiver names, one line each."""
        errors = self.seen.member("errors")
        listed = errors if isinstance(errors, list) else []
        return [
            f"{entry.get('pointer') or '/'}: {entry.get('message', '')}"
            for entry in listed
            if isinstance(entry, dict)
        ]


def quote_id_of(bill: bytes) -> str:
    """Return the id of a quote: SHA-256 of the bill's bytes, in hexadecimal."""
    return hashlib.sha256(bill).hexdigest()


def body_of(envelope: Mapping[str, Any], bill: bytes) -> bytes:
    """Return a delivery with the bill's bytes as its last member, unchanged.

    Parameters
    ----------
    envelope
        All other members.
    bill
        As the service answered it.

    Returns
    -------
    bytes
        JSON without white space around the bill.
    """
    return orjson.dumps({**envelope, "bill": orjson.Fragment(bill)})


def delivered(
    bill: bytes, reference: str, address: Address, sleep: Callable[[float], None] = time.sleep
) -> Outcome:
    """Deliver a quote: wait and repeat the same bytes where that can help, and nowhere else.

    Parameters
    ----------
    bill
        Answer of build-bill-of-materials, byte for byte; white space around it does not count.
    reference
        The caller's own text.
    address
        Base address of the receiver.
    sleep
        Waits a number of seconds.

    Returns
    -------
    Outcome
        After at most ``GREATEST_TRIES`` tries.

    Raises
    ------
    UsageError
        The bill is no answer of build-bill-of-materials.
    """
    bill = bill.strip()
    _check(bill)
    quote_id = quote_id_of(bill)
    body = body_of({"specification": VERSION, "quote_id": quote_id, "reference": reference}, bill)
    headers = {"Content-Type": JSON, "Accept": f"{JSON}, {PROBLEM}"}
    if address.token:
        headers["Authorization"] = f"Bearer {address.token}"
    pause_s = FIRST_PAUSE_S
    for tries in range(1, GREATEST_TRIES + 1):
        seen = address.send("PUT", f"/quotes/{quote_id}", headers, body)
        wait_s = _stated_wait_s(seen)
        if wait_s is None:
            wait_s, pause_s = pause_s, 2.0 * pause_s
        final = seen.status not in _REPEATED or wait_s > LONGEST_WAIT_S
        if final or tries == GREATEST_TRIES:
            break
        sleep(wait_s)
    return Outcome(quote_id, seen, tries)


def _check(bill: bytes) -> None:
    try:
        document = json_of_unique_members(bill)
    except orjson.JSONDecodeError as error:
        raise UsageError(f"the quote is no JSON: {error}") from None
    if not isinstance(document, dict) or any(name not in document for name in _NEEDED):
        raise UsageError("the quote is no answer of build-bill-of-materials")


def _stated_wait_s(seen: Seen) -> float | None:
    """Return the seconds of ``Retry-After`` (RFC 9110, section 10.2.3), or None without any."""
    stated = seen.headers.get("retry-after", "").strip()
    if stated.isascii() and stated.isdigit():
        return float(stated)
    try:
        return max(0.0, parsedate_to_datetime(stated).timestamp() - time.time())
    except ValueError:
        return None
