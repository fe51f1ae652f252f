"""A delivery is repeated where that can help, with the same bytes, and nowhere else."""

import hashlib
import json
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime

import pytest

from loomwright.conformance.delivery_checks import cut_bill
from loomwright.delivery import GREATEST_TRIES, LONGEST_WAIT_S, delivered
from loomwright.exchange import Address, Seen

BILL = b'{"verdict":"complete","currency":"EUR","lines":[],"total":"0.00"}'


class Receiver(Address):
    """Answers as scripted, the last answer for ever; keeps what was sent."""

    def __init__(self, *answers: Seen) -> None:
        super().__init__("http", "receiver.test", None, "", "")
        object.__setattr__(self, "answers", list(answers))
        object.__setattr__(self, "sent", [])

    __slots__ = ("answers", "sent")
    answers: list[Seen]
    sent: list[tuple[str, str, bytes | None]]

    def send(
        self, method: str, path: str, headers: Mapping[str, str], body: bytes | None = None
    ) -> Seen:
        assert headers["Content-Type"] == "application/json"
        self.sent.append((method, path, body))
        return self.answers.pop(0) if len(self.answers) > 1 else self.answers[0]


def outcome_of(*answers: Seen) -> tuple[bool, int, list[float], Receiver]:
    """Deliver to a scripted receiver: recorded, tries, waits."""
    receiver = Receiver(*answers)
    waits: list[float] = []
    outcome = delivered(BILL, "job 4711", receiver, waits.append)
    assert outcome.tries == len(receiver.sent)
    assert len(set(receiver.sent)) == 1
    return outcome.recorded, outcome.tries, waits, receiver


def later(seconds: str) -> Seen:
    return Seen(503, {"retry-after": seconds})


def test_envelope_holds_the_bytes_and_their_hash() -> None:
    *_, receiver = outcome_of(Seen(201))
    method, path, body = receiver.sent[0]
    assert body is not None
    document = json.loads(body)
    assert method == "PUT"
    assert path == f"/quotes/{document['quote_id']}"
    assert document["quote_id"] == hashlib.sha256(BILL).hexdigest()
    assert document["specification"] == "1.0"
    assert document["reference"] == "job 4711"
    assert list(document)[-1] == "bill"
    assert cut_bill(body) == BILL


@pytest.mark.parametrize("status", [200, 201])
def test_recorded_is_recorded(status: int) -> None:
    assert outcome_of(Seen(status))[:3] == (True, 1, [])


@pytest.mark.parametrize("status", [301, 307, 400, 401, 403, 404, 405, 409, 413, 415, 422])
def test_refusal_is_final(status: int) -> None:
    assert outcome_of(Seen(status))[:3] == (False, 1, [])


@pytest.mark.parametrize("status", [0, 408, 429, 500, 502, 503, 504])
def test_what_may_pass_is_repeated_with_growing_pauses(status: int) -> None:
    unanswered = Seen(status, error="" if status else "no answer")
    assert outcome_of(unanswered)[:3] == (False, GREATEST_TRIES, [0.5, 1.0, 2.0, 4.0])
    assert outcome_of(unanswered, Seen(201))[:3] == (True, 2, [0.5])


def test_stated_wait_is_kept() -> None:
    assert outcome_of(later("7"), Seen(201))[:3] == (True, 2, [7.0])


def test_stated_day_is_kept() -> None:
    # RFC 9110, section 10.2.3: Retry-After can be a date, which has whole seconds.
    date = format_datetime(datetime.now(UTC) + timedelta(seconds=60), usegmt=True)
    _, tries, waits, _ = outcome_of(later(date), Seen(201))
    assert tries == 2
    assert 50.0 < waits[0] <= 60.0


def test_long_wait_is_left_to_people() -> None:
    assert outcome_of(later(str(int(LONGEST_WAIT_S) + 1)))[:3] == (False, 1, [])


def test_what_cannot_be_read_counts_as_unsaid() -> None:
    assert outcome_of(later("soon"), Seen(201))[:3] == (True, 2, [0.5])
