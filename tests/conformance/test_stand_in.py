"""The stand-ins answer as the service does, but for what a script changes, and record what came."""

import gzip
import http.client
import json
import threading
import time
from collections.abc import Iterable, Mapping
from typing import Any
from urllib.parse import urlsplit

import pytest

from loomwright.conformance.service_answers import BILL_OPERATION, bill_bytes, service
from loomwright.conformance.stand_in import RECEIVER, SERVICE, STRANGER, StandIns
from loomwright.jobs.demo_library import demo_job

JOB = json.dumps({"job": demo_job("hybrid_jump_start")}).encode()
Answer = tuple[int, Mapping[str, str], bytes]


def send(
    url: str,
    path: str = BILL_OPERATION,
    body: bytes | Iterable[bytes] | None = JOB,
    method: str = "POST",
    **headers: str,
) -> Answer:
    """Send one request and return what came back."""
    connection = http.client.HTTPConnection(urlsplit(url).netloc, timeout=30)
    named = {"Content-Type": "application/json", **headers}
    try:
        connection.request(method, path, body, named, encode_chunked=not isinstance(body, bytes))
        response = connection.getresponse()
        return response.status, dict(response.getheaders()), response.read()
    finally:
        connection.close()


def script(*acts: dict[str, Any]) -> dict[str, list[dict[str, Any]]]:
    return {SERVICE: list(acts)}


def test_answers_are_those_of_the_service() -> None:
    with StandIns({}, 1.0) as stand_ins:
        url = stand_ins.url(SERVICE)
        assert send(url)[2] == bill_bytes()
        assert send(url, **{"Accept-Encoding": "gzip"})[2] == bill_bytes()
        status, headers, body = send(url, body=b"[]")
        expected = (
            service()
            .test_client()
            .post(BILL_OPERATION, data=b"[]", content_type="application/json")
        )
        assert (status, body) == (expected.status_code, expected.get_data())
        assert headers["Content-Type"] == "application/problem+json"
        assert send(url, "/v1/health", None, "GET")[0] == 200
    assert [entry.aside for entry in stand_ins.recorded] == [False, False, False, True]
    assert stand_ins.recorded[0].body == JOB
    assert stand_ins.recorded[0].answer == bill_bytes()
    assert gzip.compress(b"") not in stand_ins.recorded[1].answer


def test_chunked_body_is_put_together() -> None:
    with StandIns({}, 1.0) as stand_ins:
        parts = [JOB[:100], JOB[100:]]
        status, _, body = send(
            stand_ins.url(SERVICE), body=iter(parts), **{"Transfer-Encoding": "chunked"}
        )
        assert (status, body) == (200, bill_bytes())
    assert stand_ins.recorded[0].body == JOB


def test_script_goes_request_by_request_and_leaves_the_rest_alone() -> None:
    acts = script({"status": 503, "code": "price_book_faulty", "headers": {"Retry-After": "1"}})
    with StandIns(acts, 1.0) as stand_ins:
        url = stand_ins.url(SERVICE)
        assert send(url, "/v1/price-books", None, "GET")[0] == 200
        assert send(url, method="OPTIONS", body=None)[0] < 400
        status, headers, body = send(url)
        assert (status, headers["Retry-After"]) == (503, "1")
        assert json.loads(body)["code"] == "price_book_faulty"
        assert send(url)[0] == 200
    assert stand_ins.recorded[2].retry_after_s == 1.0
    assert stand_ins.recorded[3].retry_after_s is None


def test_lasting_act_is_done_for_ever() -> None:
    with StandIns(script({"status": 502, "lasting": True}), 1.0) as stand_ins:
        for _ in range(3):
            status, headers, _ = send(stand_ins.url(SERVICE))
            assert (status, headers["Content-Type"]) == (502, "text/html")


def changed(act: dict[str, Any]) -> Any:
    with StandIns(script(act), 1.0) as stand_ins:
        return json.loads(send(stand_ins.url(SERVICE))[2])


def test_additions_stand_at_every_level_and_change_nothing_else() -> None:
    def stripped(value: Any) -> Any:
        if isinstance(value, dict):
            assert {"x_later", "later"} <= set(value)
            return {
                name: stripped(entry)
                for name, entry in value.items()
                if name not in ("x_later", "later")
            }
        return [stripped(entry) for entry in value] if isinstance(value, list) else value

    assert stripped(changed({"add_members": True})) == json.loads(bill_bytes())


def test_order_is_turned_and_nothing_else() -> None:
    document = changed({"reverse_members": True})
    right = json.loads(bill_bytes())
    assert document == right
    assert list(document) == list(reversed(right))
    assert list(document["lines"][0]) == list(reversed(right["lines"][0]))


def test_edits_are_those_of_the_operation() -> None:
    of_bills = [{"at": "/verdict", "set": "incomplete"}]
    document = changed({"edits": {"build-bill-of-materials": of_bills, "*": []}})
    assert document["verdict"] == "incomplete"
    assert changed({"edits": {"size-fuse": of_bills}}) == json.loads(bill_bytes())


def test_broken_and_cut_answers_are_none() -> None:
    with StandIns(script({"break": True}, {"cut": True}), 1.0) as stand_ins:
        with pytest.raises((http.client.RemoteDisconnected, ConnectionError)):
            send(stand_ins.url(SERVICE))
        with pytest.raises(http.client.IncompleteRead):
            send(stand_ins.url(SERVICE))
    assert [entry.status for entry in stand_ins.recorded] == [0, 0]


def test_held_request_is_measured_until_the_caller_gives_up() -> None:
    with StandIns(script({"hold": True, "lasting": True}), 30.0) as stand_ins:
        connection = http.client.HTTPConnection(
            urlsplit(stand_ins.url(SERVICE)).netloc, timeout=0.3
        )
        connection.request("POST", BILL_OPERATION, JOB)
        with pytest.raises(TimeoutError):
            connection.getresponse()
        connection.close()
        # The time is there once the stand-in has seen the connection close.
        while stand_ins.recorded[0].held_s is None:
            time.sleep(0.01)
        assert 0.2 < stand_ins.recorded[0].held_s < 10.0


def test_end_of_a_case_frees_what_is_held() -> None:
    stand_ins = StandIns(script({"hold": True}), 600.0)
    with stand_ins:
        connection = http.client.HTTPConnection(urlsplit(stand_ins.url(SERVICE)).netloc, timeout=30)
        connection.request("POST", BILL_OPERATION, JOB)
        while not stand_ins.recorded:
            time.sleep(0.01)
    with pytest.raises((http.client.RemoteDisconnected, ConnectionError)):
        connection.getresponse()
    connection.close()


def test_redirect_leads_to_the_stranger() -> None:
    with StandIns(script({"redirect": 307}), 1.0) as stand_ins:
        status, headers, _ = send(stand_ins.url(SERVICE))
        assert (status, headers["Location"]) == (307, stand_ins.url(STRANGER) + BILL_OPERATION)
        assert send(stand_ins.url(STRANGER))[0] == 200
    assert [entry.place for entry in stand_ins.recorded] == [SERVICE, STRANGER]


def test_receiver_records_once() -> None:
    with StandIns({}, 1.0) as stand_ins:
        url = stand_ins.url(RECEIVER)
        answers = [send(url, "/quotes/1", body, "PUT")[0] for body in (b"1", b"1", b"2", b"1")]
        assert json.loads(send(url, "/capabilities", None, "GET")[2])["roles"] == ["receiver"]
    assert answers == [201, 200, 409, 200]


def test_deliveries_at_once_are_recorded_once() -> None:
    with StandIns({}, 1.0) as stand_ins:
        url = stand_ins.url(RECEIVER)
        statuses: list[int] = []
        threads = [
            threading.Thread(target=lambda: statuses.append(send(url, "/quotes/1", b"1", "PUT")[0]))
            for _ in range(8)
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert sorted(statuses) == [200] * 7 + [201]
