"""What serves pages: one route for each, files by name, headers, and nothing beside."""

import gzip
from pathlib import Path

import pytest
from flask import Flask, Response
from flask.testing import FlaskClient

from loomwright.web.app import create_app
from loomwright.web.operations import OPERATIONS
from loomwright.web.pages.serving import (
    STRICT,
    page_paths,
    page_response,
    register_assets,
    register_page,
)
from loomwright.web.refusing import Refusing
from loomwright.web.settings import Settings
from set_up import create_with

LONG = "p { margin: 0 }\n" * 500


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = tmp_path / "assets"
    folder.mkdir()
    (folder / "sheet.css").write_text(LONG, "utf-8")
    (folder / "emblem.svg").write_text("<svg/>", "utf-8")
    (tmp_path / "secret.txt").write_text("not listed", "utf-8")
    return folder


@pytest.fixture
def app(folder: Path) -> Flask:
    app = create_with(rate_limit="1/day")
    register_assets(app, folder)
    register_page(app, "/sheet/", lambda: page_response("<!DOCTYPE html><title>Sheet</title>"))
    return app


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    return app.test_client()


def test_files_have_their_media_type_and_a_validator(client: FlaskClient) -> None:
    for name, media_type in (
        ("sheet.css", "text/css; charset=utf-8"),
        ("emblem.svg", "image/svg+xml"),
    ):
        first = client.get(f"/assets/{name}")
        assert (first.status_code, first.content_type) == (200, media_type)
        assert first.headers["X-Content-Type-Options"] == "nosniff"
        assert first.headers["Cache-Control"] == "public, no-cache"
        second = client.get(f"/assets/{name}", headers={"If-None-Match": first.headers["ETag"]})
        assert (second.status_code, second.data) == (304, b"")
        head = client.head(f"/assets/{name}")
        assert (head.status_code, head.data) == (200, b"")
        assert head.headers["ETag"] == first.headers["ETag"]


def test_a_long_file_is_compressed_when_asked(client: FlaskClient) -> None:
    packed = client.get("/assets/sheet.css", headers={"Accept-Encoding": "gzip"})
    assert packed.headers["Content-Encoding"] == "gzip"
    assert gzip.decompress(packed.data).decode() == LONG
    assert "Accept-Encoding" in packed.headers["Vary"]
    assert client.get("/assets/sheet.css").text == LONG
    short = client.get("/assets/emblem.svg", headers={"Accept-Encoding": "gzip"})
    assert "Content-Encoding" not in short.headers


@pytest.mark.parametrize(
    "path",
    [
        "/assets/",
        "/assets/../secret.txt",
        "/assets/%2e%2e/secret.txt",
        "/assets/..%2fsecret.txt",
        "/assets/sheet.css%00",
        "/assets/SHEET.CSS",
        "/sheet/..",
    ],
)
def test_what_is_not_listed_is_not_there(folder: Path, path: str) -> None:
    app = create_app()
    register_assets(app, folder)
    response = app.test_client().get(path)
    assert response.status_code == 404
    assert response.content_type == "application/problem+json"


def test_a_page_is_strict_and_never_a_redirect(client: FlaskClient) -> None:
    for path in ("/sheet", "/sheet/"):
        response = client.get(path)
        assert (response.status_code, response.content_type) == (200, "text/html; charset=utf-8")
        policy = dict(
            each.split(" ", 1) for each in response.headers["Content-Security-Policy"].split("; ")
        )
        assert policy == STRICT
        assert policy["default-src"] == policy["frame-ancestors"] == "'none'"
        assert "unsafe" not in str(policy)
        assert response.headers["X-Content-Type-Options"] == "nosniff"
        assert response.headers["Referrer-Policy"] == "no-referrer"
        assert response.headers["Cross-Origin-Opener-Policy"] == "same-origin"
        assert "ETag" in response.headers


def test_pages_answer_get_head_and_options_alone(client: FlaskClient) -> None:
    client.get("/nothing")
    for path in ("/sheet/", "/assets/sheet.css"):
        # Above the limit of everything else.
        assert client.get(path).status_code == client.head(path).status_code == 200
        options = client.options(path)
        assert (options.status_code, options.headers["Allow"]) == (200, "GET, HEAD, OPTIONS")


def test_other_methods_are_refused(folder: Path) -> None:
    app = create_app()
    register_assets(app, folder)
    for method in ("POST", "PUT", "PATCH", "DELETE"):
        refused = app.test_client().open("/assets/sheet.css", method=method)
        assert (refused.status_code, refused.headers["Allow"]) == (405, "GET, HEAD, OPTIONS")
        assert refused.content_type == "application/problem+json"


def test_only_known_files_and_fixed_paths_are_registered(folder: Path) -> None:
    app = create_app()
    with pytest.raises(FileNotFoundError, match=r"missing\.css"):
        register_assets(app, folder, ["missing.css"])
    (folder / "program.exe").write_bytes(b"")
    with pytest.raises(ValueError, match=r"program\.exe"):
        register_assets(app, folder)
    with pytest.raises(ValueError, match="<name>"):
        register_page(app, "/sheet/<name>", Response)


def test_every_route_is_an_operation_or_a_page() -> None:
    app = create_app()
    paths = [rule.rule for rule in app.url_map.iter_rules()]
    operations = {each.url for each in OPERATIONS}
    assert not operations & page_paths(app)
    # The document that lists the operations is none of them.
    assert set(paths) == operations | page_paths(app) | {"/v1/openapi.json"}


@pytest.mark.parametrize("path", ["/v1/health", "/nothing", "/v1/problems", "/v1/size-fuse"])
def test_no_answer_is_to_be_sniffed(path: str) -> None:
    app = create_app()
    for method in ("GET", "HEAD", "OPTIONS", "POST"):
        response = app.test_client().open(path, method=method)
        assert response.headers.getlist("X-Content-Type-Options") == ["nosniff"]


def test_what_the_server_refuses_by_itself_is_not_to_be_sniffed() -> None:
    head, _, _ = Refusing(Settings()).unread(400, "Bad Request").partition(b"\r\n\r\n")
    assert b"X-Content-Type-Options: nosniff" in head.split(b"\r\n")
