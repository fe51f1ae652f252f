"""What the server refuses by itself is answered as the application answers what it refuses."""

import itertools
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.web.app import create_app
from loomwright.web.refusing import Refusing
from loomwright.web.settings import Settings

ORIGIN, OTHER = "https://till.example", "https://other.example"
PATH = "/v1/nowhere"
SETTINGS = [Settings(), Settings(cors_origins=(ORIGIN,)), Settings(cors_origins=("*",))]
# Of one answer and one connection.
OWN = {"connection", "content-length", "x-request-id"}
REFUSING = Refusing(SETTINGS[1])


def parsed(method="GET", path=PATH, query="", **fields):
    """Return a request as the server has parsed it."""
    headers = [(name.upper().replace("_", "-"), text) for name, text in fields.items()]
    return SimpleNamespace(method=method, path=path, query=query, headers=headers)


def split(message):
    head, _, body = message.partition(b"\r\n\r\n")
    first, *lines = head.decode("latin-1").split("\r\n")
    fields = sorted(tuple(line.split(": ", 1)) for line in lines)
    return int(first.split()[1]), [(name.lower(), text) for name, text in fields], body


@pytest.mark.parametrize("settings", SETTINGS, ids=["no origin", "one origin", "all origins"])
def test_status_fields_and_form_are_those_of_the_application(settings):
    client = create_app(settings).test_client()
    refusing = Refusing(settings)
    methods = ("GET", "HEAD", "POST")
    queries = ("", "errors=text", "as=csv", "as=xml&errors=text", "errors=status", "field=x")
    accepts = ("", "text/plain", "application/xml;q=0.5, text/csv", "*/*")
    for asked in itertools.product(methods, queries, accepts, ("", ORIGIN, OTHER)):
        method, query, accept, origin = asked
        fields = {"accept": accept, "origin": origin}
        fields = {name: text for name, text in fields.items() if text}
        response = client.open(PATH, method=method, query_string=query, headers=fields)
        message = refusing.unread(404, "Not Found", parsed(method, query=query, **fields))
        status, found, body = split(message)
        assert status == response.status_code, asked
        expected = sorted(response.headers.items())
        assert [pair for pair in found if pair[0] not in OWN] == [
            (name.lower(), text) for name, text in expected if name.lower() not in OWN
        ], asked
        # Both say in their own words what is wrong, and in the same what to do.
        assert (body == b"") is (method == "HEAD")
        assert body[:7] == response.data[:7], asked


def test_under_overload_a_sheet_shows_a_line_and_a_page_may_read_it():
    request = parsed(query="errors=text", origin=ORIGIN, x_request_id="till-4711")
    message = REFUSING.overloaded("Too much is to do.", 7, request, keeps=True)
    status, found, body = split(message)
    assert status == 200
    fields = dict(found)
    assert fields["access-control-allow-origin"] == ORIGIN
    assert fields["cache-control"] == "no-store"
    assert fields["retry-after"] == "7"
    assert fields["connection"] == "keep-alive"
    assert fields["x-request-id"] == "till-4711"
    assert fields["content-length"] == str(len(body))
    assert body == b"Error: Too much is to do. Wait for Retry-After, then send again."


def test_each_answer_has_an_identifier_of_its_own():
    found = [dict(split(REFUSING.unread(400, "Bad Request"))[1]) for _ in range(2)]
    assert found[0]["x-request-id"] != found[1]["x-request-id"]
    assert {fields["connection"] for fields in found} == {"close"}


# As the server's parser lets them through: no control characters (RFC 9110, 5.5), bytes as Latin-1.
WRITTEN = st.text(st.characters(max_codepoint=255, exclude_categories=["Cc"]), max_size=40)


@given(
    method=st.sampled_from(["GET", "HEAD", "POST", "OPTIONS", "x" * 20]),
    path=st.sampled_from(["/v1/x", "/", "", "//", "*", "\xff/\xff/"]),
    query=WRITTEN.map(lambda text: f"as={text}"),
    accept=WRITTEN,
    origin=WRITTEN,
    identifier=WRITTEN,
)
def test_whatever_callers_write_the_answer_is_whole(
    method, path, query, accept, origin, identifier
):
    request = parsed(method, path, query, accept=accept, origin=origin, x_request_id=identifier)
    message = REFUSING.overloaded("Too much is to do.", 1, request, keeps=False)
    status, found, body = split(message)
    assert status == 503
    fields = dict(found)
    assert len(fields) == len(found)
    assert method == "HEAD" or fields["content-length"] == str(len(body))
    assert fields.get("access-control-allow-origin", ORIGIN).lower() == ORIGIN
