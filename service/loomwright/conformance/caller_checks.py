"""Checks on what a caller sent in one run of its command, and on how the command ended."""

import itertools
import json
from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Any

from loomwright.conformance.caller_runs import (
    BILL_PATH,
    CallerCheck,
    CallerContext,
    Run,
    Words,
    header,
    media_type,
)
from loomwright.conformance.delivery_checks import DELIVERY_CHECKS
from loomwright.conformance.report import UnexercisedError
from loomwright.conformance.stand_in import SERVICE, STRANGER, Recorded
from loomwright.exchange import JSON

GREATEST_TRIES = 5
# What clocks and the way through the loopback interface may take off a wait.
_CLOCK_SLACK_S = 0.02
_LEAST_PAUSE_S = 0.2
_TO_PAUSE_AFTER = (0, 500, 502, 503, 504)


def _first(faults: Iterator[str | None]) -> str | None:
    return next((fault for fault in faults if fault is not None), None)


def _content_type(run: Run, _: Words, __: CallerContext) -> str | None:
    return _first(
        f"POST with {media_type(entry) or 'no media type'}" if media_type(entry) != JSON else None
        for entry in run.posts()
    )


def _object_body(run: Run, _: Words, __: CallerContext) -> str | None:
    return _first(_object_fault(entry.body) for entry in run.posts())


def _object_fault(body: bytes) -> str | None:
    twice: list[str] = []

    def read(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        names = [name for name, _ in pairs]
        twice.extend(name for name in set(names) if names.count(name) > 1)
        return dict(pairs)

    try:
        document = json.loads(body.decode("utf-8"), object_pairs_hook=read)
    except ValueError as error:
        return f"a body is no JSON: {error}"
    if not isinstance(document, dict):
        return "a body is no JSON object"
    return f"{twice[0]!r} stands twice in one object" if twice else None


def _accept(run: Run, _: Words, __: CallerContext) -> str | None:
    return _first(
        None if _admits_json(header(entry, "accept")) else f"Accept: {header(entry, 'accept')}"
        for entry in run.posts()
    )


def _admits_json(accept: str | None) -> bool:
    if accept is None or not accept.strip():
        return True
    for part in accept.split(","):
        media, *parameters = [word.strip().lower() for word in part.split(";")]
        refused = any(word.replace(" ", "") in ("q=0", "q=0.0", "q=0.00") for word in parameters)
        if media in (JSON, "application/*", "*/*") and not refused:
            return True
    return False


def _key_in_header(run: Run, _: Words, context: CallerContext) -> str | None:
    sent = False
    for entry in run.posts():
        others = [text for name, text in entry.headers.items() if name.lower() != "authorization"]
        if context.key in entry.target:
            return "the key stands in the address of a POST"
        if context.key.encode() in entry.body or any(context.key in text for text in others):
            return "the key stands in a POST outside the Authorization header"
        sent |= context.key in (header(entry, "authorization") or "")
    if not sent:
        raise UnexercisedError("the command did not send the key")
    return None


def _key_kept(run: Run, _: Words, context: CallerContext) -> str | None:
    if not any(context.key in str(entry.headers) for entry in run.at(SERVICE)):
        raise UnexercisedError("the command did not send the key")
    for entry in run.at(STRANGER):
        if context.key in entry.target or context.key in str(entry.headers):
            return "the key was sent to another port that a redirect named"
    return None


def _request_id(run: Run, _: Words, __: CallerContext) -> str | None:
    lacking = [entry for entry in run.at(SERVICE) if not header(entry, "x-request-id")]
    if not run.at(SERVICE):
        raise UnexercisedError("the command sent nothing to the service")
    return f"{len(lacking)} requests without X-Request-Id" if lacking else None


def _request_ids_differ(run: Run, _: Words, __: CallerContext) -> str | None:
    met: dict[str, tuple[str, str, bytes]] = {}
    for entry in run.at(SERVICE):
        stated = header(entry, "x-request-id")
        if stated and met.setdefault(stated, entry.identity) != entry.identity:
            return f"two different requests have the X-Request-Id {stated}"
    if not met:
        raise UnexercisedError("the command sends no X-Request-Id")
    return None


def _place(words: Words) -> str:
    return str(words.get("place", SERVICE))


def _repetitions(run: Run, place: str) -> list[tuple[Recorded, Recorded]]:
    """Return each request that was not answered well, with the next to the same path."""
    found = []
    for index, entry in enumerate(run.at(place)):
        if entry.status in (200, 201):
            continue
        later = (
            other
            for other in run.at(place)[index + 1 :]
            if (other.method, other.path) == (entry.method, entry.path)
        )
        following = next(later, None)
        if following is not None:
            found.append((entry, following))
    return found


def _needed_repetitions(run: Run, words: Words) -> list[tuple[Recorded, Recorded]]:
    found = _repetitions(run, _place(words))
    if not found:
        raise UnexercisedError("the command did not repeat the request")
    return found


def _not_repeated(run: Run, words: Words, _: CallerContext) -> str | None:
    sent = run.at(_place(words))
    refused = [index for index, entry in enumerate(sent) if _is_final(entry.status)]
    if not refused:
        raise UnexercisedError("no request was refused")
    first = sent[refused[0]]
    times = sum(entry.identity == first.identity for entry in sent[refused[0] + 1 :])
    return f"repeated {times} times unchanged after status {first.status}" if times else None


def _is_final(status: int) -> bool:
    return 400 <= status < 500 and status not in (408, 429)


def _waited(run: Run, words: Words, _: CallerContext) -> str | None:
    for entry, following in _needed_repetitions(run, words):
        wait, asked = following.arrived - entry.ended, entry.retry_after_s
        if asked is not None and wait < asked - _CLOCK_SLACK_S:
            return f"repeated after {wait:.2f} s; Retry-After was {asked:g} s"
    return None


def _paused(run: Run, words: Words, _: CallerContext) -> str | None:
    for entry, following in _needed_repetitions(run, words):
        wait = following.arrived - entry.ended
        if entry.status in _TO_PAUSE_AFTER and wait < _LEAST_PAUSE_S - _CLOCK_SLACK_S:
            return f"repeated after {wait:.2f} s; at least {_LEAST_PAUSE_S} s are right"
    return None


def _same_bytes(run: Run, words: Words, _: CallerContext) -> str | None:
    for entry, following in _needed_repetitions(run, words):
        if entry.target != following.target:
            return f"{entry.target} was repeated as {following.target}"
        if entry.body != following.body:
            return f"a body of {len(entry.body)} bytes was repeated as another"
    return None


def _at_most_5(run: Run, words: Words, _: CallerContext) -> str | None:
    sent = [entry.identity for entry in run.at(_place(words))]
    if not sent:
        raise UnexercisedError("the command sent nothing there")
    longest = max(len(list(group)) for _, group in itertools.groupby(sent))
    return f"sent {longest} times" if longest > GREATEST_TRIES else None


def _gave_up(run: Run, _: Words, __: CallerContext) -> str | None:
    held = [entry.held_s for entry in run.at(SERVICE) if entry.held_s is not None]
    if not held:
        raise UnexercisedError("the command asked for nothing that was held back")
    longest = max(held)
    return f"waited for more than {run.patience_s:g} s" if longest > run.patience_s else None


def _not_used_short(run: Run, words: Words, context: CallerContext) -> str | None:
    if context.plain.exit_status or not run.at(SERVICE):
        raise UnexercisedError("the command asks for nothing, or ends badly in any case")
    used = run.exit_status == 0 and not _repetitions(run, _place(words))
    return "the command took half an answer and ended with status 0" if used else None


def _ended_well(run: Run, _: Words, __: CallerContext) -> str | None:
    if not run.at(SERVICE):
        raise UnexercisedError("the command asks the service for nothing")
    return f"the command ended with status {run.exit_status}" if run.exit_status else None


def _ended_badly(run: Run, words: Words, context: CallerContext) -> str | None:
    if context.plain.exit_status:
        raise UnexercisedError("the command ends badly even where all is answered")
    if not run.at(_place(words)):
        raise UnexercisedError("the command sent nothing there")
    return None if run.exit_status else "the command ended with status 0"


def _as_plain(run: Run, _: Words, context: CallerContext) -> str | None:
    """Compare with the plain run; outputs only where two plain runs print the same."""
    plain = context.plain
    if not plain.at(SERVICE):
        raise UnexercisedError("the command asks the service for nothing")
    if plain.exit_status != run.exit_status:
        return f"the command ended with status {run.exit_status}; {plain.exit_status} without it"
    if len(plain.at(SERVICE)) != len(run.at(SERVICE)):
        return f"{len(run.at(SERVICE))} requests; {len(plain.at(SERVICE))} without it"
    if plain.output == context.plain_again.output and run.output != plain.output:
        return "the command prints something else"
    return None


def _same_conduct(run: Run, words: Words, context: CallerContext) -> str | None:
    other = context.runs[words["as"]]
    sent, expected = ([entry.identity for entry in each.at(SERVICE)] for each in (run, other))
    if not sent and not expected:
        raise UnexercisedError("the command asks the service for nothing")
    if sent != expected:
        return (
            f"{len(sent)} requests; {len(expected)} under other texts of the same status and code"
        )
    if bool(run.exit_status) != bool(other.exit_status):
        return f"ends with status {run.exit_status}; {other.exit_status} under other texts"
    return None


def _spaced(text: str) -> str:
    """Return a text with single spaces, as a program may break its lines anywhere."""
    return " ".join(text.split())


def _documents(run: Run) -> list[Mapping[str, Any]]:
    return [
        json.loads(entry.answer)
        for entry in run.at(SERVICE)
        if entry.status == 200 and entry.answer_headers.get("Content-Type", "").startswith(JSON)
    ]


def _shows_cautions(run: Run, _: Words, __: CallerContext) -> str | None:
    cautions = [entry for answer in _documents(run) for entry in answer.get("cautions", ())]
    if not cautions:
        raise UnexercisedError("no answer had a caution")
    said = _spaced(run.output)
    for caution in cautions:
        if caution["key"] not in said and _spaced(caution["text"]) not in said:
            return f"the caution {caution['key']} is not in the output"
    return None


def _shows_verdict(run: Run, _: Words, __: CallerContext) -> str | None:
    bills = [
        json.loads(entry.answer)
        for entry in run.at(SERVICE)
        if entry.path == BILL_PATH and entry.status == 200
    ]
    if not bills:
        raise UnexercisedError("the command asked for no bill")
    for bill in bills:
        if bill["total"] in run.output and bill["verdict"] not in run.output:
            return f"total {bill['total']} is shown, and not that the bill is {bill['verdict']}"
    return None


def _shows_code(run: Run, _: Words, __: CallerContext) -> str | None:
    refused = [entry for entry in run.at(SERVICE) if entry.status >= 400]
    if not refused:
        raise UnexercisedError("no request was refused")
    problem = json.loads(refused[-1].answer)
    lacking = [name for name in ("code", "detail") if problem[name] not in _spaced(run.output)]
    return f"{' and '.join(lacking)} not in the output" if lacking else None


CALLER_CHECKS: Mapping[str, CallerCheck] = MappingProxyType(
    {
        **DELIVERY_CHECKS,
        "content_type": _content_type,
        "object_body": _object_body,
        "accept": _accept,
        "key_in_header": _key_in_header,
        "key_kept": _key_kept,
        "request_id": _request_id,
        "request_ids_differ": _request_ids_differ,
        "not_repeated": _not_repeated,
        "waited": _waited,
        "paused": _paused,
        "same_bytes": _same_bytes,
        "at_most_5": _at_most_5,
        "gave_up": _gave_up,
        "not_used_short": _not_used_short,
        "ended_well": _ended_well,
        "ended_badly": _ended_badly,
        "as_plain": _as_plain,
        "same_conduct": _same_conduct,
        "shows_cautions": _shows_cautions,
        "shows_verdict": _shows_verdict,
        "shows_code": _shows_code,
    }
)
