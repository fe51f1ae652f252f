"""The runner over callers: the samples by their commands, and each check by made-up runs."""

import hashlib
import json
import shlex
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest
from conformance_samples import SAMPLES, SPECIFICATION, binding, failed, passed

from loomwright.conformance.caller import CHECKS, CallerRunner
from loomwright.conformance.caller_runs import BILL_PATH, CallerContext, Run
from loomwright.conformance.report import Ledger, Report, UnexercisedError, report_of
from loomwright.conformance.service_answers import bill_bytes
from loomwright.conformance.specification import Case
from loomwright.conformance.stand_in import RECEIVER, SERVICE, STRANGER, Recorded
from loomwright.exchange import JSON, PROBLEM

KEY = "key-of-the-test"
ALL = SPECIFICATION.cases_of("caller")
# A bill with what the checks look at.
BILL = b'{"verdict":"incomplete","total":"7.88","cautions":[{"key":"dry","text":"Keep it dry."}]}'
QUOTE_ID = hashlib.sha256(BILL).hexdigest()


def report_of_command(command: str, cases: Sequence[Case] = ALL) -> Report:
    """Judge a command by cases, many at once, as they spend their time waiting."""
    ledger = Ledger()
    CallerRunner(command, patience_s=4.0, at_once=16).judge(cases, ledger)
    return report_of("caller", command, SPECIFICATION.of_role("caller"), ledger)


def command_of(name: str) -> str:
    """Command of a sample caller, with all the words that the runner puts in."""
    return (
        f"{sys.executable} {SAMPLES / name} {{url}} --receiver {{receiver_url}} --key {{key}} "
        "--timeout-s {timeout_s}"
    )


def test_what_the_command_cannot_show_is_not_exercised() -> None:
    command = command_of("caller.py").replace("--receiver {receiver_url} --key {key}", "")
    needing = [case for case in ALL if "needs" in case.document or case.key == "caller-plain"]
    report = report_of_command(command, needing)
    unexercised = {
        entry.requirement.number: entry.findings[0].text
        for entry in report.verdicts
        if entry.result == "not exercised"
    }
    assert {number for number in unexercised if number.startswith("D")} == {
        number for number in binding("caller") if number.startswith("D")
    }
    assert unexercised["D-001"] == "the command has no {receiver_url}"
    assert unexercised["C-004"] == "the command has no {key}"
    assert not report.missed


def test_deliver_command_keeps_to_what_binds_a_delivery(tmp_path: Path) -> None:
    quote = tmp_path / "quote.json"
    quote.write_bytes(bill_bytes())
    program = "import sys; from loomwright.cli import main; sys.exit(main(sys.argv[1:]))"
    words = [sys.executable, "-c", program, "deliver", "--quote", str(quote), "--to"]
    cases = [case for case in ALL if case.key.startswith("caller-delivery")]
    report = report_of_command(f"{shlex.join(words)} {{receiver_url}}", cases)
    assert failed(report) == {}
    # No bill is asked for in the same run that the delivered one could be compared with.
    assert passed(report) == {
        number for number in binding("caller") if number.startswith("D") and number != "D-002"
    }


def sent(place: str = SERVICE, at_s: float = 0.0, **stated: Any) -> Recorded:
    """A request that was answered at once."""
    headers = {"Content-Type": JSON, "Authorization": f"Bearer {KEY}", "X-Request-Id": "1"}
    answer_headers = stated.pop("answer_headers", {"Content-Type": JSON})
    made: dict[str, Any] = {
        "place": place,
        "method": "POST",
        "target": BILL_PATH,
        "headers": {**headers, **stated.pop("headers", {})},
        "body": b"{}",
        "arrived": at_s,
        "status": 200,
        "answer": BILL,
        "answer_headers": answer_headers,
        "ended": at_s,
        **stated,
    }
    return Recorded(**made)


def refused(status: int, at_s: float = 0.0, **stated: Any) -> Recorded:
    """A request that was answered with a problem document."""
    problem = json.dumps({"code": "invalid_request", "detail": "One fault."}).encode()
    headers = {"Content-Type": PROBLEM, **stated.pop("answer_headers", {})}
    return sent(at_s=at_s, status=status, answer=problem, answer_headers=headers, **stated)


def delivered(body: bytes | None = None, **stated: Any) -> Recorded:
    """A delivery."""
    envelope = f'{{"specification":"1.0","quote_id":"{QUOTE_ID}","reference":"","bill":'.encode()
    made = {"method": "PUT", "target": f"/quotes/{QUOTE_ID}", "status": 201, **stated}
    return sent(RECEIVER, body=envelope + BILL + b"}" if body is None else body, **made)


def run_of(
    *recorded: Recorded, output: str = "", exit_status: int = 0, patience_s: float = 4.0
) -> Run:
    """A run that ended by itself."""
    return Run("made up", recorded, output, exit_status, killed=False, patience_s=patience_s)


PLAIN = run_of(sent(), output="incomplete 7.88 dry")
WAIT = {"Retry-After": "2"}
LATER = {"place": RECEIVER, "target": "/quotes/1", "method": "PUT"}
ODD = delivered(b'{"bill":{},"quote_id":"1"}')
# Check -> words, runs that are right, runs that are wrong.
MADE_UP: dict[str, tuple[Mapping[str, Any], Sequence[Run], Sequence[Run]]] = {
    "content_type": (
        {},
        [PLAIN, run_of(sent(headers={"Content-Type": "application/json; charset=utf-8"}))],
        [
            run_of(sent(headers={"Content-Type": "text/plain"})),
            run_of(sent(headers={"Content-Type": ""})),
        ],
    ),
    "object_body": (
        {},
        [PLAIN],
        [run_of(sent(body=body)) for body in (b"[]", b"{", b'{"a":1,"a":1}', b"\xff", b"a=1")],
    ),
    "accept": (
        {},
        [
            run_of(sent(headers={"Accept": text}))
            for text in ("", "*/*", "application/*", "text/html, application/json;q=0.5")
        ],
        [run_of(sent(headers={"Accept": text})) for text in ("text/csv", "application/json;q=0")],
    ),
    "key_in_header": (
        {},
        [PLAIN],
        [
            run_of(sent(target=f"{BILL_PATH}?key={KEY}")),
            run_of(sent(body=f'{{"key":"{KEY}"}}'.encode())),
            run_of(sent(headers={"X-Key": KEY})),
        ],
    ),
    "key_kept": (
        {},
        [PLAIN, run_of(sent(), sent(STRANGER, headers={"Authorization": ""}))],
        [
            run_of(sent(), sent(STRANGER)),
            run_of(sent(), sent(STRANGER, headers={"Authorization": ""}, target=f"/?key={KEY}")),
        ],
    ),
    "request_id": ({}, [PLAIN], [run_of(sent(headers={"X-Request-Id": ""}))]),
    "request_ids_differ": (
        {},
        [
            PLAIN,
            run_of(sent(), sent()),
            run_of(sent(), sent(body=b"[]", headers={"X-Request-Id": "2"})),
        ],
        [run_of(sent(), sent(body=b"[]"))],
    ),
    "not_repeated": (
        {},
        [run_of(refused(422)), run_of(refused(422), sent(body=b"[]"))],
        [run_of(refused(422), sent()), run_of(refused(404), sent(body=b"[]"), refused(404))],
    ),
    "waited": (
        {},
        [run_of(refused(503, answer_headers=WAIT), sent(at_s=2.0))],
        [run_of(refused(503, answer_headers=WAIT), sent(at_s=1.9))],
    ),
    "paused": (
        {},
        [run_of(refused(500), sent(at_s=0.2)), run_of(sent(status=0), sent(at_s=0.3))],
        [run_of(refused(500), sent(at_s=0.1)), run_of(sent(status=0), sent(at_s=0.1))],
    ),
    "same_bytes": (
        {"place": RECEIVER},
        [run_of(refused(503, **LATER), refused(503, **LATER))],
        [
            run_of(refused(503, **LATER), refused(503, **LATER, body=b"[]")),
            run_of(refused(503, **LATER), refused(503, **{**LATER, "target": "/quotes/1?again=1"})),
        ],
    ),
    "at_most_5": (
        {},
        [run_of(*[refused(503)] * 5), run_of(*[sent(), sent(body=b"[]")] * 5)],
        [run_of(*[refused(503)] * 6)],
    ),
    "gave_up": ({}, [run_of(sent(held_s=3.9))], [run_of(sent(held_s=4.1))]),
    "not_used_short": (
        {},
        [run_of(sent(status=0), sent()), run_of(sent(status=0), exit_status=1)],
        [run_of(sent(status=0))],
    ),
    "ended_well": ({}, [PLAIN], [run_of(sent(), exit_status=1)]),
    "ended_badly": ({}, [run_of(refused(422), exit_status=1)], [run_of(refused(422))]),
    "as_plain": (
        {},
        [PLAIN],
        [
            run_of(sent(), output=PLAIN.output, exit_status=1),
            run_of(sent(), sent(), output=PLAIN.output),
            run_of(sent(), output="else"),
        ],
    ),
    "same_conduct": (
        {"as": "refused"},
        [run_of(refused(422), exit_status=2)],
        [run_of(refused(422), refused(422), exit_status=1), run_of(refused(422))],
    ),
    "shows_cautions": (
        {},
        [PLAIN, run_of(sent(), output="Keep\n it  dry.")],
        [run_of(sent(), output="7.88")],
    ),
    "shows_verdict": (
        {},
        [PLAIN, run_of(sent(), output="no total")],
        [run_of(sent(), output="total 7.88")],
    ),
    "shows_code": (
        {},
        [run_of(refused(422), output="invalid_request: One fault.")],
        [run_of(refused(422), output="One fault.")],
    ),
    "delivered_hash": ({}, [run_of(delivered())], [run_of(ODD)]),
    "delivered_bytes": (
        {},
        [run_of(sent(), delivered())],
        [run_of(sent(), ODD), run_of(sent(answer=b"{}"), delivered())],
    ),
    "delivered_to_id": ({}, [run_of(delivered())], [run_of(delivered(target="/quotes/1"))]),
    "delivered_version": ({}, [run_of(delivered())], [run_of(ODD)]),
    "delivered_form": (
        {},
        [run_of(delivered())],
        [
            run_of(delivered(method="POST")),
            run_of(delivered(headers={"Content-Type": "text/plain"})),
        ],
    ),
}
# Checks that find nothing to judge where nothing of the kind was sent.
SILENT = run_of(sent("elsewhere"), exit_status=0)


def context() -> CallerContext:
    """What the checks know besides a run."""
    refusal = run_of(refused(422), exit_status=1)
    return CallerContext({"url"}, KEY, PLAIN, PLAIN, {"refused": refusal})


def test_every_check_is_tried() -> None:
    assert set(MADE_UP) == set(CHECKS)


@pytest.mark.parametrize("name", MADE_UP)
def test_check_tells_right_from_wrong(name: str) -> None:
    words, right, wrong = MADE_UP[name]
    assert [CHECKS[name](run, words, context()) for run in right] == [None] * len(right)
    for run in wrong:
        assert CHECKS[name](run, words, context()), run


@pytest.mark.parametrize("name", sorted(set(MADE_UP) - {"as_plain", "same_conduct"}))
def test_check_says_nothing_where_nothing_was_sent(name: str) -> None:
    with pytest.raises(UnexercisedError):
        CHECKS[name](SILENT, MADE_UP[name][0], context())
