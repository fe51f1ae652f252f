"""Probes: the process answers, and what requests rest on is in order, for whoever asks."""

import json
import logging
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from flask.testing import FlaskClient

from drawn_requests import validator
from loomwright.jobs.demo_library import demo_price_book
from loomwright.web import probes
from loomwright.web.app import create_app
from loomwright.web.described_http import PROBE_PATHS
from set_up import change_settings, create_with, key_entry

SECRET = "S3cret"


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """The time of the probes [s], to be put on."""
    times = [100.0]
    monkeypatch.setattr(probes, "time", SimpleNamespace(monotonic=lambda: times[0]))
    return times


def ready(client: FlaskClient, clock: list[float]) -> Any:
    """What is answered once what was found before does not count any more."""
    clock[0] += probes.KEPT_FOR_S
    return client.get("/v1/ready")


def faults(response: Any) -> dict[str, str]:
    """Messages of a refusal by pointer."""
    problem = response.get_json()
    assert (response.status_code, problem["code"]) == (503, "not_ready")
    validator("Problem").validate(problem)
    assert response.headers["Retry-After"] == str(probes.RETRY_AFTER_S)
    assert response.headers["Cache-Control"] == "no-store"
    return {error["pointer"]: error["message"] for error in problem["errors"]}


def test_a_service_without_any_files_is_live_and_ready() -> None:
    client = create_app().test_client()
    assert client.get("/v1/live").get_json() == {"status": "live"}
    assert client.get("/v1/ready").get_json()["status"] == "ready"
    assert client.get("/v1/health").get_json()["status"] == "ready"
    assert client.get("/v1/live").headers["Cache-Control"] == "no-store"


def test_probes_need_no_key_and_are_not_counted(tmp_path: Path) -> None:
    keys = tmp_path / "keys.toml"
    keys.write_text(key_entry("k", "calculate"), "utf-8")
    client = create_with(keys_file=keys, rate_limit="1/hour").test_client()
    for path in sorted(PROBE_PATHS):
        for _ in range(3):
            response = client.get(path)
            assert response.status_code == 200
            assert "RateLimit" not in response.headers
    assert client.get("/v1/price-books").status_code == 401


@pytest.fixture
def files(tmp_path: Path) -> dict[str, Path]:
    """Files of every kind, all in order."""
    books = tmp_path / f"books-{SECRET}"
    books.mkdir()
    for name in ("autumn", "spring"):
        (books / f"{name}.json").write_text(json.dumps(demo_price_book()), "utf-8")
    keys = tmp_path / f"keys-{SECRET}.toml"
    keys.write_text(key_entry("k", "calculate"), "utf-8")
    issuer = tmp_path / f"issuer-{SECRET}.json"
    issuer.write_text('{"keys": []}', "utf-8")
    providers = tmp_path / f"providers-{SECRET}.toml"
    providers.write_text("", "utf-8")
    return {"books": books, "keys": keys, "issuer": issuer, "providers": providers}


def client_of(files: dict[str, Path], **more: Any) -> FlaskClient:
    return create_with(
        keys_file=files["keys"],
        jwt_issuer="https://issuer.example",
        jwt_audience="loomwright",
        jwt_keys=str(files["issuer"]),
        price_books=files["books"],
        providers_file=files["providers"],
        **more,
    ).test_client()


def spoil(files: dict[str, Path]) -> None:
    """Put every file at fault, with something in it that nobody may be told."""
    (files["books"] / "spring.json").write_text(json.dumps({"name": SECRET, SECRET: 1}), "utf-8")
    files["keys"].write_text(f'[[keys]]\nid = "{SECRET} "\n', "utf-8")
    files["issuer"].write_text(SECRET, "utf-8")
    files["providers"].write_text(f'{SECRET} = "x"\n[providers.x]\ny = "{SECRET}"\n', "utf-8")


def test_everything_at_fault_is_named_without_paths_and_contents(
    files: dict[str, Path], clock: list[float], caplog: pytest.LogCaptureFixture
) -> None:
    client = client_of(files)
    assert ready(client, clock).status_code == 200
    spoil(files)
    refused = ready(client, clock)
    told = faults(refused)
    assert list(told) == ["/keys_file", "/jwt_keys", "/price_books/2", "/providers_file"]
    assert told["/price_books/2"].startswith("Mounted price book 2 of 2 has ")
    for text in (SECRET, "spring", "autumn", str(files["books"].parent)):
        assert text not in refused.text
    # The process needs no restart for any of it.
    assert client.get("/v1/live").status_code == client.get("/v1/health").status_code == 200
    # The operator is told of each, once.
    ready(client, clock)
    logged = [record.getMessage() for record in caplog.records if record.levelno == logging.ERROR]
    assert [line.split(": ")[1] for line in logged] == list(told)
    assert "spring" in logged[2]


def test_what_is_mended_is_ready_again(
    files: dict[str, Path], clock: list[float], caplog: pytest.LogCaptureFixture
) -> None:
    client = client_of(files)
    kept = {name: path.read_bytes() for name, path in files.items() if path.is_file()}
    spoil(files)
    assert len(faults(ready(client, clock))) == 4
    for name, held in kept.items():
        files[name].write_bytes(held)
    assert list(faults(ready(client, clock))) == ["/price_books/2"]
    (files["books"] / "spring.json").unlink()
    assert ready(client, clock).status_code == 200
    assert caplog.messages[-1] == "ready again"


def test_an_open_service_names_its_price_books(tmp_path: Path, clock: list[float]) -> None:
    (tmp_path / "spring.json").write_text("{", "utf-8")
    client = create_with(price_books=tmp_path).test_client()
    assert list(faults(ready(client, clock))) == ["/price_books/spring"]


def test_missing_files_are_at_fault(tmp_path: Path, clock: list[float]) -> None:
    app = create_app()
    gone = tmp_path / "gone"
    change_settings(app, price_books=gone, keys_file=gone, providers_file=gone)
    told = faults(ready(app.test_client(), clock))
    assert list(told) == ["/keys_file", "/price_books", "/providers_file"]


def test_tables_that_cannot_be_loaded_are_at_fault(
    monkeypatch: pytest.MonkeyPatch, clock: list[float]
) -> None:
    client = create_app().test_client()

    def fails() -> None:
        raise ValueError(SECRET)

    monkeypatch.setattr(probes, "fuse_tables", fails)
    refused = ready(client, clock)
    assert list(faults(refused)) == ["/tables"]
    assert SECRET not in refused.text


def test_files_are_looked_at_once_in_a_while(
    files: dict[str, Path], clock: list[float], monkeypatch: pytest.MonkeyPatch
) -> None:
    client = client_of(files)
    looks = []
    looked_at = probes.mounted_names
    monkeypatch.setattr(probes, "mounted_names", lambda: looks.append(1) or looked_at())
    for _ in range(20):
        assert client.get("/v1/ready").status_code == 200
    assert len(looks) == 1
    assert ready(client, clock).status_code == 200
    assert len(looks) == 2


def test_an_issuer_at_an_address_is_not_asked(clock: list[float]) -> None:
    client = create_with(
        jwt_issuer="https://issuer.example",
        jwt_audience="loomwright",
        jwt_keys="https://issuer.invalid/keys",
        jwt_hosts=("issuer.invalid",),
    ).test_client()
    assert ready(client, clock).status_code == 200
