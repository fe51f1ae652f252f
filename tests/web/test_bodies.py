"""Bodies that come compressed: what is taken, what is refused, and what a small one may become."""

import gzip
import io
import tracemalloc
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st
from werkzeug.test import EnvironBuilder

from loomwright.web.app import create_app
from loomwright.web.bodies import inflated_body
from loomwright.web.problems import ProblemError

GREATEST = 100_000


APPLICATION = create_app()


def body_of(data, coding=None, greatest=GREATEST, **environ):
    headers = {} if coding is None else {"Content-Encoding": coding}
    builder = EnvironBuilder(method="POST", data=data, headers=headers)
    with APPLICATION.request_context(builder.get_environ() | environ) as context:
        return inflated_body(context.request, greatest)


def refused(code, *arguments, **named):
    with pytest.raises(ProblemError) as caught:
        body_of(*arguments, **named)
    assert caught.value.code == code
    return caught.value


@pytest.mark.parametrize("coding", [None, "", "identity", "Identity"])
def test_body_that_is_not_coded_is_taken_as_it_is(coding):
    assert body_of(b"packages", coding) == b"packages"


@pytest.mark.parametrize("coding", ["gzip", "GZIP", " gzip ", "x-gzip"])
def test_gzip_is_inflated(coding):
    # RFC 9110, 8.4.1: codings are compared without regard to case; x-gzip is gzip.
    assert body_of(gzip.compress(b"packages"), coding) == b"packages"


@pytest.mark.parametrize("coding", ["br", "deflate", "gzip, gzip", "zstd", "x" * 500])
def test_other_coding_is_refused_with_what_is_taken(coding):
    error = refused("unsupported_coding", b"packages", coding)
    # RFC 9110, 15.5.16: the answer says which coding would have been taken.
    assert error.headers == {"Accept-Encoding": "gzip"}
    assert len(error.detail) < 120


@given(st.lists(st.binary(max_size=300), min_size=1, max_size=4))
def test_several_members_are_one_body(texts):
    # RFC 1952, 2.2: a gzip file is a series of members.
    coded = b"".join(gzip.compress(text) for text in texts)
    assert body_of(coded, "gzip") == b"".join(texts)


CODED = gzip.compress(b"packages and vehicles" * 20)
BROKEN = {
    "nothing": b"",
    "no gzip": b"packages",
    "zlib": zlib.compress(b"packages"),
    "half": CODED[: len(CODED) // 2],
    "without its length": CODED[:-4],
    "wrong sum": CODED[:-8] + bytes(4) + CODED[-4:],
    "more behind it": CODED + b"packages",
    "half a second member": CODED + CODED[:20],
}


@pytest.mark.parametrize("data", BROKEN.values(), ids=BROKEN)
def test_what_is_no_gzip_is_refused(data):
    refused("malformed_coding", data, "gzip")


@pytest.mark.parametrize("coding", [None, "gzip"])
def test_body_of_the_greatest_size_is_taken_and_no_larger_one(coding):
    for length in (GREATEST, GREATEST + 1):
        data = b"x" * length
        sent = data if coding is None else gzip.compress(data)
        if length == GREATEST:
            assert body_of(sent, coding) == data
        else:
            assert "0.0953674 MiB" in refused("body_too_large", sent, coding).detail


def test_many_small_members_do_not_get_around_the_limit():
    refused("body_too_large", gzip.compress(b"x" * 1000) * 101, "gzip")


def test_body_of_no_stated_length_is_held_to_the_limit():
    endless = {"CONTENT_LENGTH": "", "wsgi.input_terminated": True}
    refused("body_too_large", b"", **endless, **{"wsgi.input": io.BytesIO(b"x" * (GREATEST + 1))})
    assert body_of(b"", **endless, **{"wsgi.input": io.BytesIO(b"x" * GREATEST)}) == b"x" * GREATEST


def test_small_body_that_stands_for_a_huge_one_takes_no_room():
    huge = 500 * 1024 * 1024
    deflater = zlib.compressobj(9, zlib.DEFLATED, 31)
    block = bytes(1024 * 1024)
    bomb = b"".join(deflater.compress(block) for _ in range(huge // len(block)))
    bomb += deflater.flush()
    assert len(bomb) < 1024 * 1024
    tracemalloc.start()
    try:
        refused("body_too_large", bomb, "gzip", greatest=1024 * 1024)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < 8 * 1024 * 1024


class Stalled(io.RawIOBase):
    """A body that never arrives in full, as the server's socket gives it up."""

    def readable(self):
        return True

    def readinto(self, _buffer):
        raise TimeoutError


@pytest.mark.parametrize("coding", [None, "gzip"])
def test_body_that_does_not_arrive_is_a_timeout(coding):
    refused("request_timeout", b"", coding, CONTENT_LENGTH="10", **{"wsgi.input": Stalled()})
    short = io.BytesIO(gzip.compress(b"packages")[:5])
    refused("request_timeout", b"", coding, CONTENT_LENGTH="10", **{"wsgi.input": short})
