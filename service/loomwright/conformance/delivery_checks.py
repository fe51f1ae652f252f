"""Checks on the quotes that a caller delivered in one run of its command."""

import hashlib
import json
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from loomwright.conformance.caller_runs import (
    BILL_PATH,
    CallerCheck,
    CallerContext,
    Run,
    Words,
    media_type,
)
from loomwright.conformance.report import UnexercisedError
from loomwright.conformance.stand_in import SERVICE, Recorded
from loomwright.exchange import JSON


def _envelope(entry: Recorded) -> Mapping[str, Any]:
    document = json.loads(entry.body)
    if not isinstance(document, dict):
        raise UnexercisedError("a delivery is no JSON object")
    return document


def cut_bill(body: bytes) -> bytes:
    """Return the bytes of the last member of a delivery, as a receiver cuts them out."""
    opening = body.find(b'"bill":')
    return body[opening + len(b'"bill":') : body.rindex(b"}")].strip() if opening >= 0 else b""


def _delivered_hash(run: Run, _: Words, __: CallerContext) -> str | None:
    for entry in run.deliveries():
        digest = hashlib.sha256(cut_bill(entry.body)).hexdigest()
        stated = _envelope(entry).get("quote_id")
        if stated != digest:
            return f"quote_id is {stated!r}, and the bill's bytes give {digest}"
    return None


def _delivered_bytes(run: Run, _: Words, __: CallerContext) -> str | None:
    bills = [entry.answer for entry in run.at(SERVICE) if entry.path == BILL_PATH]
    for entry in run.deliveries():
        if list(_envelope(entry))[-1] != "bill":
            return "bill is not the last member"
        if not bills:
            raise UnexercisedError("the bill was not asked for in the same run")
        if cut_bill(entry.body) not in bills:
            return "the bill delivered is not, byte for byte, one that the service answered"
    return None


def _delivered_to_id(run: Run, _: Words, __: CallerContext) -> str | None:
    for entry in run.deliveries():
        stated = _envelope(entry).get("quote_id")
        if entry.path != f"/quotes/{stated}":
            return f"quote_id {stated!r} was delivered to {entry.path}"
    return None


def _delivered_version(run: Run, _: Words, __: CallerContext) -> str | None:
    for entry in run.deliveries():
        stated = _envelope(entry).get("specification")
        if not isinstance(stated, str) or not stated.startswith("1."):
            return f"specification is {stated!r}"
    return None


def _delivered_form(run: Run, _: Words, __: CallerContext) -> str | None:
    for entry in run.deliveries():
        if entry.method != "PUT" or media_type(entry) != JSON:
            return f"{entry.method} with {media_type(entry) or 'no media type'}"
    return None


DELIVERY_CHECKS: Mapping[str, CallerCheck] = MappingProxyType(
    {
        "delivered_hash": _delivered_hash,
        "delivered_bytes": _delivered_bytes,
        "delivered_to_id": _delivered_to_id,
        "delivered_version": _delivered_version,
        "delivered_form": _delivered_form,
    }
)
