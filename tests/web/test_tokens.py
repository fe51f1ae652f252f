"""Tokens: who gets in with one, and every way of forging one that is known to us."""

import base64
import hashlib
import hmac
import http.server
import json
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import jwt
import pytest
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec, ed25519, rsa
from flask.testing import FlaskClient

from loomwright.web import jwks
from loomwright.web.jwks import AddressKeys, KeySetError, fetched, keys_of_document
from set_up import create_with, key_entry

ISSUER, AUDIENCE = "https://issuer.example", "loomwright"
SIZE, BOOKS = "/v1/size-conductor", "/v1/price-books"
CONDUCTOR = {"series": "awg", "load_current": 20, "supply_voltage": 12.6, "length": 4.5}
RSA = rsa.generate_private_key(65537, 2048)
OTHER = rsa.generate_private_key(65537, 2048)
CURVE = ec.generate_private_key(ec.SECP256R1())
EDWARDS = ed25519.Ed25519PrivateKey.generate()


def jwk(key: Any, identifier: str, **more: Any) -> dict[str, Any]:
    """Return the public half of a key as a JWK."""
    algorithm = {rsa.RSAPrivateKey: "RS256", ec.EllipticCurvePrivateKey: "ES256"}
    name = next((name for kind, name in algorithm.items() if isinstance(key, kind)), "EdDSA")
    made = jwt.get_algorithm_by_name(name).to_jwk(key.public_key(), as_dict=True)
    return {**made, "kid": identifier, **more}


def key_set(*entries: dict[str, Any]) -> str:
    return json.dumps({"keys": list(entries)})


def claims(**changed: Any) -> dict[str, Any]:
    now = int(time.time())
    plain = {
        "iss": ISSUER,
        "aud": AUDIENCE,
        "exp": now + 300,
        "sub": "till",
        "scope": "calculate openid",
        **changed,
    }
    return {name: value for name, value in plain.items() if value is not None}


def token(key: Any = RSA, algorithm: str = "RS256", kid: str | None = "a", **changed: Any) -> str:
    head = {} if kid is None else {"kid": kid}
    return jwt.encode(claims(**changed), key, algorithm=algorithm, headers=head)


@pytest.fixture
def keys(tmp_path: Path) -> Path:
    path = tmp_path / "keys.json"
    entries = (jwk(RSA, "a"), jwk(CURVE, "b"), jwk(EDWARDS, "c"))
    path.write_text(key_set(*entries), "utf-8")
    return path


def client_of(jwt_keys: str, **settings: Any) -> FlaskClient:
    app = create_with(jwt_issuer=ISSUER, jwt_audience=AUDIENCE, jwt_keys=jwt_keys, **settings)
    return app.test_client()


@pytest.fixture
def client(keys: Path) -> FlaskClient:
    return client_of(str(keys))


def ask(client: FlaskClient, token: str, path: str = SIZE) -> tuple[int, str | None]:
    headers = {"Authorization": f"Bearer {token}"}
    if path == SIZE:
        response = client.post(path, json=CONDUCTOR, headers=headers)
    else:
        response = client.get(path, headers=headers)
    return response.status_code, response.get_json().get("code")


@pytest.mark.parametrize(
    ("key", "algorithm", "kid"),
    [(RSA, "RS256", "a"), (CURVE, "ES256", "b"), (EDWARDS, "EdDSA", "c")],
)
def test_a_token_of_the_issuer_gets_in(
    client: FlaskClient, key: Any, algorithm: str, kid: str
) -> None:
    assert ask(client, token(key, algorithm, kid)) == (200, None)


def test_an_audience_may_be_one_of_several(client: FlaskClient) -> None:
    assert ask(client, token(aud=["other", AUDIENCE])) == (200, None)


def test_a_token_opens_what_its_scopes_say(client: FlaskClient) -> None:
    for scope in ("price", "", None, "spreadsheet", "Calculate", ["calculate"], 5):
        assert ask(client, token(scope=scope)) == (403, "key_not_permitted")
    assert ask(client, token(scope="price"), BOOKS) == (200, None)
    assert ask(client, token(), BOOKS) == (403, "key_not_permitted")


def refused_claims() -> dict[str, dict[str, Any]]:
    return {
        "other issuer": {"iss": f"{ISSUER}/"},
        "no issuer": {"iss": None},
        "other audience": {"aud": "other"},
        "no audience": {"aud": None},
        "no end": {"exp": None},
        "end that is no time": {"exp": "soon"},
    }


@pytest.mark.parametrize("changed", refused_claims().values(), ids=refused_claims())
def test_a_token_with_another_claim_is_refused(
    client: FlaskClient, changed: dict[str, Any]
) -> None:
    # The library would refuse to write some of these, so they are signed by hand.
    text = signed({"alg": "RS256", "kid": "a"}, claims(**changed))
    assert ask(client, text) == (401, "key_not_accepted")


def test_a_token_out_of_its_time_is_told_so(client: FlaskClient) -> None:
    now = int(time.time())
    assert ask(client, token(exp=now - 60)) == (401, "key_expired")
    assert ask(client, token(nbf=now + 600)) == (401, "key_expired")
    # Clocks differ by a little.
    assert ask(client, token(exp=now - 5)) == (200, None)


def part(value: dict[str, Any]) -> str:
    return base64.urlsafe_b64encode(json.dumps(value).encode()).rstrip(b"=").decode()


def signed(head: dict[str, Any], body: dict[str, Any]) -> str:
    """Return a token signed by the issuer's own key whatever it says."""
    text = f"{part(head)}.{part(body)}"
    signature = jwt.get_algorithm_by_name("RS256").sign(text.encode(), RSA)
    return f"{text}.{base64.urlsafe_b64encode(signature).rstrip(b'=').decode()}"


def with_hmac(secret: bytes, head: dict[str, Any]) -> str:
    text = f"{part(head)}.{part(claims())}"
    signature = hmac.new(secret, text.encode(), hashlib.sha256).digest()
    return f"{text}.{base64.urlsafe_b64encode(signature).rstrip(b'=').decode()}"


def forgeries() -> dict[str, str]:
    public = RSA.public_key()
    pem = public.public_bytes(
        serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo
    )
    der = public.public_bytes(
        serialization.Encoding.DER, serialization.PublicFormat.SubjectPublicKeyInfo
    )
    good = token()
    head, body, signature = good.split(".")
    other_body = part(claims(scope="price calculate cost"))
    own = {"alg": "RS256", "kid": "a", "jwk": jwk(OTHER, "a"), "jku": "https://x.example"}
    own_text = f"{part(own)}.{part(claims())}"
    own_signature = jwt.get_algorithm_by_name("RS256").sign(own_text.encode(), OTHER)
    return {
        # RFC 8725, 2.1: the two attacks on the algorithm.
        "algorithm none": f"{part({'alg': 'none', 'kid': 'a'})}.{body}.",
        "algorithm None": f"{part({'alg': 'None', 'kid': 'a'})}.{body}.",
        "algorithm none, signature kept": f"{part({'alg': 'none', 'kid': 'a'})}.{body}.{signature}",
        "public key as secret, PEM": with_hmac(pem, {"alg": "HS256", "kid": "a"}),
        "public key as secret, DER": with_hmac(der, {"alg": "HS256", "kid": "a"}),
        "empty secret": with_hmac(b"", {"alg": "HS256", "kid": "a"}),
        "public key as secret, said to be RS256": with_hmac(pem, {"alg": "RS256", "kid": "a"}),
        "no signature": f"{head}.{body}.",
        "another signature": f"{head}.{body}.{signature[:-8]}AAAAAAAA",
        "another body": f"{head}.{other_body}.{signature}",
        "key of another": token(OTHER),
        "key of another, given in the head": (
            f"{own_text}.{base64.urlsafe_b64encode(own_signature).rstrip(b'=').decode()}"
        ),
        "unknown key identifier": token(kid="z"),
        "no key identifier": token(kid=None),
        "key identifier that is a path": token(kid="../../../dev/null"),
        "key of another kind": token(CURVE, "ES256", "a"),
        "algorithm that is not taken": token(algorithm="RS512"),
        "algorithm other than the key's": token(algorithm="PS256"),
        "critical extension": signed(
            {"alg": "RS256", "kid": "a", "crit": ["exp"], "exp": 1}, claims()
        ),
        "no claims": signed({"alg": "RS256", "kid": "a"}, {}),
        "not base64": "!.!.!",
        "empty": "..",
    }


@pytest.mark.parametrize("name", forgeries())
def test_a_forgery_is_refused(client: FlaskClient, name: str) -> None:
    assert ask(client, forgeries()[name]) == (401, "key_not_accepted")


def test_a_token_in_the_address_is_no_key(client: FlaskClient) -> None:
    response = client.get(SIZE, query_string={**CONDUCTOR, "key": token()})
    assert (response.status_code, response.get_json()["code"]) == (401, "key_not_accepted")


def test_a_token_sees_cost_with_the_scope(client: FlaskClient) -> None:
    body = {"price_book_name": "x", "show_cost": True}
    headers = {"Authorization": f"Bearer {token(scope='price')}"}
    response = client.post("/v1/check-price-book", json=body, headers=headers)
    assert response.get_json()["code"] == "unknown_price_book"


def test_keys_and_tokens_serve_side_by_side(keys: Path, tmp_path: Path) -> None:
    listed = tmp_path / "listed.toml"
    listed.write_text(key_entry("the-key", "calculate"), "utf-8")
    client = client_of(str(keys), keys_file=listed)
    assert ask(client, "the-key") == (200, None)
    assert ask(client, token()) == (200, None)
    assert ask(client, "other-key") == (401, "key_not_accepted")


def test_the_issuer_s_keys_rotate_without_a_restart(client: FlaskClient, keys: Path) -> None:
    new = token(OTHER, kid="new")
    assert ask(client, new) == (401, "key_not_accepted")
    keys.write_text(key_set(jwk(RSA, "a"), jwk(OTHER, "new")), "utf-8")
    assert ask(client, new) == ask(client, token()) == (200, None)
    keys.write_text(key_set(jwk(OTHER, "new")), "utf-8")
    assert ask(client, token()) == (401, "key_not_accepted")


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"keys": 5}', '{"keys": [5]}'])
def test_keys_that_cannot_be_read_let_nobody_in(client: FlaskClient, keys: Path, text: str) -> None:
    keys.write_text(text, "utf-8")
    assert ask(client, token()) == (503, "access_unavailable")


def test_keys_that_must_not_verify_are_left_out() -> None:
    small = rsa.generate_private_key(65537, 1024)
    secret = {"kty": "oct", "kid": "s", "k": "c2VjcmV0", "alg": "HS256"}
    unnamed = jwk(RSA, "x")
    del unnamed["kid"]
    document = key_set(
        secret,
        unnamed,
        jwk(small, "small"),
        jwk(RSA, "enc", use="enc"),
        jwk(RSA, "rs512", alg="RS512"),
        {"kty": "unheard of", "kid": "u"},
        jwk(RSA, "good", use="sig"),
    )
    assert list(keys_of_document(document.encode())) == ["good"]


# --- keys from an address ---

Answer = Callable[[http.server.BaseHTTPRequestHandler], None]


@pytest.fixture
def issuer() -> Iterator[dict[str, Any]]:
    """An issuer on the loopback: what it answers, and how often it was asked."""
    state: dict[str, Any] = {"asked": 0, "status": 200, "body": key_set(jwk(RSA, "a")).encode()}

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            state["asked"] += 1
            self.send_response(state["status"])
            if state["status"] == 302:
                self.send_header("Location", f"{state['address']}/elsewhere")
            self.send_header("Content-Length", str(len(state["body"])))
            self.end_headers()
            self.wfile.write(state["body"])

        def log_message(self, *_: Any) -> None:
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    state["address"] = f"http://127.0.0.1:{server.server_address[1]}"
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    try:
        yield state
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def test_keys_of_an_address_are_fetched_once(issuer: dict[str, Any]) -> None:
    client = client_of(f"{issuer['address']}/once")
    for _ in range(3):
        assert ask(client, token()) == (200, None)
    for number in range(3):
        assert ask(client, token(kid=f"unknown {number}")) == (401, "key_not_accepted")
    # A caller cannot make the service ask the issuer again and again.
    assert issuer["asked"] == 1


def test_a_new_key_of_the_issuer_is_fetched(
    issuer: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    keys = AddressKeys(f"{issuer['address']}/new")
    assert keys.key("new") is None
    issuer["body"] = key_set(jwk(OTHER, "new")).encode()
    assert keys.key("new") is None
    monkeypatch.setattr(jwks, "ASKED_AT_MOST_EVERY_S", 0.0)
    assert keys.key("new") is not None
    assert keys.key("a") is None


def test_keys_do_not_outlive_an_issuer_that_is_gone(
    issuer: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    client = client_of(f"{issuer['address']}/gone")
    assert ask(client, token()) == (200, None)
    issuer["status"] = 500
    assert ask(client, token()) == (200, None)
    monkeypatch.setattr(jwks, "KEPT_FOR_S", 0.0)
    assert ask(client, token()) == (503, "access_unavailable")
    monkeypatch.setattr(jwks, "ASKED_AT_MOST_EVERY_S", 0.0)
    assert ask(client, token()) == (503, "access_unavailable")
    issuer["status"] = 200
    assert ask(client, token()) == (200, None)


def test_no_redirect_is_followed(issuer: dict[str, Any]) -> None:
    issuer["status"] = 302
    with pytest.raises(KeySetError, match="status 302"):
        fetched(f"{issuer['address']}/keys?x=1")
    assert issuer["asked"] == 1


def test_too_much_is_refused(issuer: dict[str, Any]) -> None:
    issuer["body"] = b" " * (jwks.GREATEST_BYTES + 1)
    with pytest.raises(KeySetError, match="more than"):
        fetched(issuer["address"])


def test_an_issuer_that_cannot_be_reached_is_told(issuer: dict[str, Any]) -> None:
    # The port answers in plain text, which is no TLS.
    with pytest.raises(KeySetError, match="could not be reached: SSLError"):
        fetched(issuer["address"].replace("http:", "https:"))
