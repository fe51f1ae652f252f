"""Headers, validators, compression, cross-origin requests and versions, on every path."""

import gzip
import re
from datetime import UTC, datetime
from typing import Any

import pytest
from flask.testing import FlaskClient

from loomwright.web import manners
from loomwright.web.app import create_app
from loomwright.web.operations import OPERATIONS
from loomwright.web.versions import VERSIONS, Version
from set_up import create_with

CONDUCTOR = {"series": "awg", "load_current": 20, "supply_voltage": 12.6, "length": 4.5}
SIZE = "/v1/size-conductor"
READ = ["/v1/openapi.json", "/v1/problems", "/v1/price-books", SIZE]


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return create_app().test_client()


def get(client: FlaskClient, path: str, **headers: str) -> Any:
    query = CONDUCTOR if path == SIZE else {}
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return client.get(path, query_string=query, headers=named)


# --- validators ---


@pytest.mark.parametrize("path", READ)
@pytest.mark.parametrize("coding", ["identity", "gzip"])
def test_an_answer_that_the_caller_has_is_not_sent_again(
    client: FlaskClient, path: str, coding: str
) -> None:
    first = get(client, path, Accept_Encoding=coding)
    tag = first.headers["ETag"]
    # RFC 9110, 8.8.3: strong, so without W/.
    assert re.fullmatch(r'"[0-9a-f]{32}"', tag)
    for stated in (tag, f"W/{tag}", f'"other", {tag}', "*"):
        second = get(client, path, Accept_Encoding=coding, If_None_Match=stated)
        assert (second.status_code, second.data) == (304, b"")
        # RFC 9110, 15.4.5: what a 304 must repeat, and what it must not say.
        for name in ("ETag", "Cache-Control", "Vary"):
            assert second.headers[name] == first.headers[name]
        assert {"Content-Type", "Content-Encoding"} & set(dict(second.headers)) == set()
    for stated in ('"other"', 'W/"other"', ""):
        third = get(client, path, Accept_Encoding=coding, If_None_Match=stated)
        assert (third.status_code, third.data) == (200, first.data)


def test_another_answer_has_another_validator(client: FlaskClient) -> None:
    changed = client.get(SIZE, query_string={**CONDUCTOR, "length": 9})
    assert changed.headers["ETag"] != get(client, SIZE).headers["ETag"]


def test_the_validator_is_of_the_bytes_sent(client: FlaskClient) -> None:
    plain = get(client, SIZE)
    packed = get(client, SIZE, Accept_Encoding="gzip")
    assert plain.headers["ETag"] != packed.headers["ETag"]
    assert gzip.decompress(packed.data) == plain.data
    asked = get(client, SIZE, Accept_Encoding="gzip", If_None_Match=plain.headers["ETag"])
    assert asked.status_code == 200


def test_the_same_request_gives_the_same_bytes_in_another_process_s_place() -> None:
    for path in READ:
        for coding in ("identity", "gzip"):
            one, other = (
                get(create_app().test_client(), path, Accept_Encoding=coding) for _ in range(2)
            )
            assert one.data == other.data
            assert one.headers["ETag"] == other.headers["ETag"]
    posts = [create_app().test_client().post(SIZE, json=CONDUCTOR).data for _ in range(2)]
    assert posts[0] == posts[1] == get(create_app().test_client(), SIZE).data


# --- caching ---


def test_what_may_be_kept_is_told(client: FlaskClient) -> None:
    calculators = [each.url for each in OPERATIONS if each.with_query]
    assert SIZE in calculators
    for path in ("/v1/openapi.json", "/v1/problems", SIZE):
        assert get(client, path).headers["Cache-Control"] == "public, max-age=300"
    # The operator's files may change at any time.
    assert get(client, "/v1/price-books").headers["Cache-Control"] == "public, no-cache"
    for response in (
        get(client, "/v1/health"),
        client.get(SIZE),
        client.get("/nothing"),
        client.put(SIZE),
        client.post(SIZE, json=CONDUCTOR),
        client.post(SIZE, json={}),
    ):
        assert response.headers["Cache-Control"] == "no-store"
        assert "ETag" not in response.headers


# --- compression ---


@pytest.mark.parametrize("accepted", ["gzip", "br, gzip;q=0.5", "GZIP", "*, gzip"])
def test_a_long_answer_is_compressed_when_asked(client: FlaskClient, accepted: str) -> None:
    response = client.post(SIZE, json=CONDUCTOR, headers={"Accept-Encoding": accepted})
    assert response.headers["Content-Encoding"] == "gzip"
    assert int(response.headers["Content-Length"]) == len(response.data)
    assert gzip.decompress(response.data) == client.post(SIZE, json=CONDUCTOR).data


@pytest.mark.parametrize("accepted", ["", "identity", "br", "gzip;q=0", "gzip;q=0, identity"])
def test_nothing_is_compressed_unasked(client: FlaskClient, accepted: str) -> None:
    response = client.post(SIZE, json=CONDUCTOR, headers={"Accept-Encoding": accepted})
    assert "Content-Encoding" not in response.headers


def test_a_short_answer_is_not_compressed(client: FlaskClient) -> None:
    response = get(client, "/v1/health", Accept_Encoding="gzip")
    assert len(response.data) < manners.LEAST_COMPRESSED_BYTES
    assert "Content-Encoding" not in response.headers


def test_every_answer_says_that_it_depends_on_the_coding(client: FlaskClient) -> None:
    for response in (get(client, SIZE), client.get("/nothing"), get(client, "/v1/health")):
        assert "Accept-Encoding" in response.headers["Vary"]
    assert get(client, "/v1/problems").headers["Vary"] == "Accept, Accept-Encoding"


# --- request ids ---


@pytest.mark.parametrize("stated", ["a", "0f-8._~+/=:@", "x" * 128])
def test_a_request_id_comes_back(client: FlaskClient, stated: str) -> None:
    for path in ("/v1/health", "/nothing"):
        assert get(client, path, X_Request_Id=stated).headers["X-Request-Id"] == stated


@pytest.mark.parametrize("stated", ["", "x" * 129, "a b", "<b>", "é", "a,b", "a;b", '"', "$(x)"])
def test_an_unsafe_request_id_is_replaced(client: FlaskClient, stated: str) -> None:
    given = get(client, "/v1/health", X_Request_Id=stated).headers["X-Request-Id"]
    assert re.fullmatch(r"[0-9a-f]{32}", given)


def test_each_request_gets_an_id_of_its_own(client: FlaskClient) -> None:
    given = {get(client, "/v1/health").headers["X-Request-Id"] for _ in range(50)}
    assert len(given) == 50


# --- HEAD and OPTIONS ---


@pytest.mark.parametrize("path", [*READ, "/v1/health"])
def test_head_is_get_without_content(client: FlaskClient, path: str) -> None:
    query = CONDUCTOR if path == SIZE else {}
    head, full = (client.open(path, method=name, query_string=query) for name in ("HEAD", "GET"))
    assert (head.status_code, head.data) == (200, b"")
    differing = {"X-Request-Id"}
    if path == SIZE:
        # Nothing is computed for HEAD of a calculator; RFC 9110, 9.3.2 lets these be left out.
        assert not {"ETag", "Content-Length"} & set(head.headers.keys())
        differing |= {"ETag", "Content-Length"}
    told = [
        {name: value for name, value in each.headers.items() if name not in differing}
        for each in (head, full)
    ]
    assert told[0] == told[1]


def test_options_lists_the_methods_of_every_path(client: FlaskClient) -> None:
    for operation in OPERATIONS:
        response = client.options(operation.url)
        assert (response.status_code, response.data) == (200, b"")
        allowed = set(response.headers["Allow"].split(", "))
        assert "OPTIONS" in allowed
        assert ("HEAD" in allowed) == ("GET" in allowed)
        for method in allowed - {"OPTIONS"}:
            assert client.open(operation.url, method=method).status_code != 405


# --- other origins ---

ORIGIN = "https://till.example"


def test_pages_of_other_origins_may_not_read_unless_configured(client: FlaskClient) -> None:
    for response in (
        get(client, SIZE, Origin=ORIGIN),
        client.options(SIZE, headers={"Origin": ORIGIN, "Access-Control-Request-Method": "POST"}),
    ):
        assert not [name for name in dict(response.headers) if name.startswith("Access-Control")]


def test_configured_origins_may_read() -> None:
    client = create_with(cors_origins=(ORIGIN,)).test_client()
    response = get(client, SIZE, Origin=ORIGIN)
    assert response.headers["Access-Control-Allow-Origin"] == ORIGIN
    assert "ETag" in response.headers["Access-Control-Expose-Headers"]
    assert "Origin" in response.headers["Vary"]
    asked = {
        "Origin": ORIGIN,
        "Access-Control-Request-Method": "POST",
        "Access-Control-Request-Headers": "authorization, content-type",
    }
    preflight = client.options(SIZE, headers=asked)
    assert preflight.status_code == 200
    assert "POST" in preflight.headers["Access-Control-Allow-Methods"]
    assert "authorization" in preflight.headers["Access-Control-Allow-Headers"].lower()
    assert "Access-Control-Allow-Credentials" not in preflight.headers
    refused = get(client, "/nothing", Origin=ORIGIN)
    assert refused.headers["Access-Control-Allow-Origin"] == ORIGIN


@pytest.mark.parametrize(
    "origin", ["https://till.example.evil.example", "http://till.example", "null"]
)
def test_no_other_origin_may_read(origin: str) -> None:
    client = create_with(cors_origins=(ORIGIN,)).test_client()
    assert "Access-Control-Allow-Origin" not in get(client, SIZE, Origin=origin).headers


# --- versions ---


def test_the_version_that_is_served_is_current(client: FlaskClient) -> None:
    assert [version.name for version in VERSIONS] == ["v1"]
    response = get(client, SIZE)
    assert {"Deprecation", "Sunset", "Link"} & set(dict(response.headers)) == set()


def test_a_deprecated_version_says_so_on_every_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    # The example of RFC 9745, 2: 30 June 2023 23:59:59 UTC is @1688169599.
    old = Version(
        "v1",
        datetime(2023, 6, 30, 23, 59, 59, tzinfo=UTC),
        datetime(2024, 6, 30, 23, 59, 59, tzinfo=UTC),
        "v2",
    )
    monkeypatch.setattr(manners, "VERSIONS", (old,))
    client = create_app().test_client()
    for response in (get(client, SIZE), client.get("/v1/nothing"), client.post(SIZE, json={})):
        assert response.headers["Deprecation"] == "@1688169599"
        assert response.headers["Sunset"] == "Sun, 30 Jun 2024 23:59:59 GMT"
        assert response.headers["Link"] == '</v2/openapi.json>; rel="successor-version"'
    assert "Deprecation" not in client.get("/nothing").headers


def test_no_version_ends_without_a_year_s_notice() -> None:
    begun = datetime(2031, 1, 1, tzinfo=UTC)
    for deprecated, sunset in ((None, begun), (begun, datetime(2031, 12, 31, tzinfo=UTC))):
        with pytest.raises(ValueError, match="notice"):
            Version("v1", deprecated, sunset)
