"""The clock of the system is set forward and back while the service runs.

The system's own clock cannot be set in a test, so it is exchanged where the code and its libraries
look at it.
"""

import json
import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from loomwright.jobs.demo_library import demo_price_book
from loomwright.web import access, jwks, mounted_books
from loomwright.web.app import create_app
from set_up import change_settings, create_with, key_entry

DAY_S = 86_400.0
SIZE = "/v1/size-conductor"
CONDUCTOR = {"series": "awg", "load_current": 20, "supply_voltage": 12.6, "length": 4.5}
SetClock = Callable[[float], None]


@pytest.fixture
def set_clock(monkeypatch: pytest.MonkeyPatch) -> SetClock:
    """Set the clock to so many seconds beside the true one; what only ever goes on stays."""
    real, real_ns = time.time, time.time_ns
    shift = [0.0]
    # One module, whoever imported it.
    monkeypatch.setattr(time, "time", lambda: real() + shift[0])
    monkeypatch.setattr(time, "time_ns", lambda: real_ns() + int(shift[0] * 1e9))

    def set_to(seconds: float) -> None:
        shift[0] = seconds

    return set_to


@pytest.mark.parametrize(
    "jump_s", [-3650 * DAY_S, -DAY_S, -3601.5, -30.0, 30.0, DAY_S, 3650 * DAY_S]
)
def test_nobody_waits_longer_than_a_window_of_the_quota(set_clock: SetClock, jump_s: float) -> None:
    client = create_with(rate_limit="2/hour").test_client()

    def asked() -> Any:
        return client.get(SIZE, query_string=CONDUCTOR)

    assert [asked().status_code for _ in range(3)] == [200, 200, 429]
    set_clock(jump_s)
    statuses = []
    for _ in range(4):
        answer = asked()
        statuses.append(answer.status_code)
        if answer.status_code == 429:
            assert 1 <= int(answer.headers["Retry-After"]) <= 3600
    # Set back, or forward beyond its end, a new window begins; within it the count goes on.
    begins_anew = jump_s < 0 or jump_s > 3600
    assert statuses == ([200, 200, 429, 429] if begins_anew else [429] * 4)
    set_clock(jump_s + int(answer.headers["Retry-After"]) + 1)
    assert asked().status_code == 200


@pytest.mark.parametrize("jump_s", [-10 * DAY_S, 10 * DAY_S])
def test_a_mounted_book_is_kept_and_its_change_is_seen(
    set_clock: SetClock, jump_s: float, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    application = create_app()
    change_settings(application, price_books=tmp_path)
    file = tmp_path / "spring.json"
    read: list[object] = []
    plainly = mounted_books.price_book_from_document
    monkeypatch.setattr(
        mounted_books,
        "price_book_from_document",
        lambda document: read.append(document) or plainly(document),
    )

    def digest() -> str:
        (entry,) = application.test_client().get("/v1/price-books").get_json()["price_books"]
        found: str = entry["digest"]
        return found

    file.write_text(json.dumps(demo_price_book()), "utf-8")
    set_clock(jump_s)
    first = digest()
    assert [digest() for _ in range(3)] == [first] * 3
    # Read once and kept, although by the clock it is from the future or long settled.
    assert len(read) == 1
    changed = demo_price_book() | {"name": "Changed"}
    other = tmp_path / "other"
    other.write_text(json.dumps(changed), "utf-8")
    os.replace(other, file)
    assert digest() != first


def test_a_key_is_judged_by_the_clock_of_the_moment(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "keys.toml"
    file.write_text(
        key_entry(
            "till",
            "calculate",
            more="not_before = 2031-01-01T00:00:00Z\nexpires = 2031-12-31T00:00:00Z",
        ),
        "utf-8",
    )
    client = create_with(keys_file=file).test_client()

    class Clock(access.datetime):  # type: ignore[name-defined, misc]
        moment = "2031-06-01T00:00:00+00:00"

        @classmethod
        def now(cls, tz: Any = None) -> Any:
            return access.datetime.fromisoformat(cls.moment).astimezone(tz)

    plain = access.datetime
    found = []
    for moment in ("2031-06-01", "2030-06-01", "2031-06-01", "2041-06-01", "2031-06-01"):
        Clock.moment = f"{moment}T00:00:00+00:00"
        monkeypatch.setattr(access, "datetime", Clock)
        answer = client.get(SIZE, query_string=CONDUCTOR, headers={"Authorization": "Bearer till"})
        monkeypatch.setattr(access, "datetime", plain)
        found.append(answer.status_code)
    assert found == [200, 401, 200, 401, 200]


def test_keys_of_an_issuer_age_by_time_that_only_goes_on(
    set_clock: SetClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []
    document = b'{"keys":[]}'
    monkeypatch.setattr(jwks, "fetched", lambda address: asked.append(address) or document)
    gone_on = [1000.0]
    monkeypatch.setattr(jwks.time, "monotonic", lambda: gone_on[0])
    keys = jwks.AddressKeys("https://issuer.example/keys")
    for jump_s in (0.0, -3650 * DAY_S, 3650 * DAY_S):
        set_clock(jump_s)
        assert keys.key("a") is None
    assert len(asked) == 1
    gone_on[0] += jwks.KEPT_FOR_S
    assert keys.key("a") is None
    assert len(asked) == 2
