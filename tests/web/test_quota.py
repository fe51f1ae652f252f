"""Quotas: counted for each caller, told in headers, and never in the way when counting fails."""

import re
import socket
from pathlib import Path
from typing import Any

import pytest
from fakeredis import FakeRedis, FakeServer
from flask.testing import FlaskClient

from drawn_requests import validator
from loomwright.web import quota
from set_up import create_with, key_entry

CONDUCTOR = {"series": "awg", "load_current": 20, "supply_voltage": 12.6, "length": 4.5}
SIZE = "/v1/size-conductor"


def limited(rate: str = "3/hour", **settings: Any) -> FlaskClient:
    return create_with(rate_limit=rate, **settings).test_client()


def get(client: FlaskClient, **more: Any) -> Any:
    return client.get(SIZE, query_string=CONDUCTOR, **more)


def test_nothing_is_counted_unless_configured() -> None:
    response = get(create_with().test_client())
    assert "RateLimit" not in response.headers


def test_requests_above_the_limit_are_refused_until_the_count_begins_anew() -> None:
    client = limited()
    for left in (2, 1, 0):
        response = get(client)
        assert response.status_code == 200
        # draft-ietf-httpapi-ratelimit-headers-10, 3 and 4.
        found = re.fullmatch(r'"3-per-3600s";r=(\d+);t=(\d+)', response.headers["RateLimit"])
        assert int(found[1]) == left
        assert 0 < int(found[2]) <= 3600
        assert response.headers["RateLimit-Policy"] == '"3-per-3600s";q=3;w=3600'
    refused = get(client)
    problem = refused.get_json()
    validator("Problem").validate(problem)
    assert (refused.status_code, problem["code"]) == (429, "too_many_requests")
    # RFC 9110, 10.2.3: whole seconds.
    assert re.fullmatch(r"[1-9]\d*", refused.headers["Retry-After"])
    assert int(refused.headers["Retry-After"]) <= 3600
    assert ";r=0;" in refused.headers["RateLimit"]
    assert client.post(SIZE, json=CONDUCTOR).status_code == 429


def test_waiting_as_told_is_enough(monkeypatch: pytest.MonkeyPatch) -> None:
    client = limited("1/minute")
    assert get(client).status_code == 200
    wait_s = int(get(client).headers["Retry-After"])
    real = quota.time.time
    for module in ("limits.storage.memory", "limits.strategies"):
        monkeypatch.setattr(f"{module}.time.time", lambda: real() + wait_s)
    assert get(client).status_code == 200


def test_the_limit_that_is_nearest_is_told() -> None:
    client = limited("2/hour, 100/day")
    assert '"2-per-3600s"' in get(client).headers["RateLimit"]
    get(client)
    assert '"2-per-3600s"' in get(client).headers["RateLimit"]
    client = limited("1000/minute, 5/day")
    assert get(client).headers["RateLimit"].startswith('"5-per-86400s";r=4;')


def test_health_and_options_are_never_counted() -> None:
    client = limited("1/hour")
    assert get(client).status_code == 200
    assert get(client).status_code == 429
    for _ in range(5):
        assert client.get("/v1/health").status_code == 200
        assert client.options(SIZE).status_code == 200
    assert "RateLimit" not in client.get("/v1/health").headers


def test_head_costs_get_nothing_and_never_fails() -> None:
    client = limited("2/hour")
    heads = [client.head(SIZE, query_string=CONDUCTOR) for _ in range(4)]
    assert [head.status_code for head in heads] == [200] * 4
    assert [head.data for head in heads] == [b""] * 4
    assert get(client).status_code == get(client).status_code == 200
    assert get(client).status_code == 429


def test_each_address_is_counted_for_itself() -> None:
    client = limited("1/hour")
    for address in ("192.0.2.1", "192.0.2.2"):
        place = {"REMOTE_ADDR": address}
        assert get(client, environ_base=place).status_code == 200
        assert get(client, environ_base=place).status_code == 429
        # What a caller says of himself does not help him.
        forged = {"X-Forwarded-For": "192.0.2.9"}
        assert get(client, environ_base=place, headers=forged).status_code == 429


def test_each_key_is_counted_for_itself(tmp_path: Path) -> None:
    path = tmp_path / "keys.toml"
    entries = [key_entry(name, "calculate", identifier=name) for name in ("one", "two")]
    path.write_text("".join(entries), "utf-8")
    client = limited("1/hour", keys_file=path)
    for name in ("one", "two"):
        headers = {"Authorization": f"Bearer {name}"}
        assert get(client, headers=headers).status_code == 200
        assert get(client, headers=headers).status_code == 429
    # Who is not let in is told so, and uses up nobody's quota.
    assert get(client).status_code == 401


def test_processes_count_together_in_redis(monkeypatch: pytest.MonkeyPatch) -> None:
    # The client of a stand-in takes the place of the real one; the address goes to it unused.
    asked = []
    storage = FakeServer()

    def from_url(address: str, **options: Any) -> FakeRedis:
        asked.append((address, options["socket_timeout"]))
        return FakeRedis(server=storage)

    monkeypatch.setattr("redis.from_url", from_url)
    address = "redis://counts.example:6379/0"
    one, other = (limited("2/hour", rate_limit_storage=address) for _ in range(2))
    assert get(one).status_code == get(other).status_code == 200
    assert get(one).status_code == get(other).status_code == 429
    assert asked == [(address, 0.25)] * 2


def test_a_storage_that_fails_stops_nobody(
    caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    with socket.socket() as holder:
        holder.bind(("127.0.0.1", 0))  # bound, but nobody listens
        address = f"redis://127.0.0.1:{holder.getsockname()[1]}/0"
        client = limited("1/hour", rate_limit_storage=address)
        for _ in range(3):
            response = get(client)
            assert response.status_code == 200
            assert "RateLimit" not in response.headers
        # It is tried once and then left alone for a while.
        assert caplog.text.count("requests are served uncounted") == 1
        monkeypatch.setattr(quota, "LEFT_ALONE_S", 0.0)
        get(client)
        assert caplog.text.count("requests are served uncounted") == 2
