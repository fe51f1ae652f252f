"""Whether a request has arrived is told at its last byte, neither before nor after."""

import pytest

from loomwright.web.serving.arrival import Chunks, head_can_be_judged

LINE, WHOLE = 100, 1000
HEAD = b"POST /v1/size-fuse HTTP/1.1\r\nHost: x\r\n\r\n"
# RFC 9112, 7.1: chunk extensions, a quoted pair in one, and trailer fields behind the last chunk.
CHUNKED = [
    b"0\r\n\r\n",
    b"2\r\n{}\r\n0\r\n\r\n",
    b"2;a=b\r\n{}\r\n00A\r\n0123\r\n\r\n89\r\n0\r\nX: y\r\nZ: 1\r\n\r\n",
    b'1;a="b"\r\n0\r\n0;c\r\n\r\n',
]
BROKEN = [
    b"x\r\n",
    b"\r\n",
    b"-1\r\n",
    b"1\r\n{}{}",
    b"0x2\r\n",
    b"2" * 9000,
    b"0\r\n" + b"x" * 70_000,
]


@pytest.mark.parametrize("step", [1, 2, 3, 7])
def test_a_head_is_there_with_its_last_byte(step):
    seen = 0
    for length in range(step, len(HEAD), step):
        assert not head_can_be_judged(bytearray(HEAD[:length]), seen, LINE, WHOLE)
        seen = length
    assert head_can_be_judged(bytearray(HEAD + b"GET"), seen, LINE, WHOLE)


@pytest.mark.parametrize(
    "received",
    [b"GET /" + b"x" * LINE, HEAD[:-2] + b"X: " + b"x" * WHOLE, b"GET / HTTP/1.1\nHost: x\n"],
    ids=["line", "fields", "line feed"],
)
def test_what_can_be_no_head_is_judged_before_its_end(received):
    assert head_can_be_judged(bytearray(received), 0, LINE, WHOLE)


@pytest.mark.parametrize("body", CHUNKED)
@pytest.mark.parametrize("step", [1, 2, 5])
def test_a_body_in_chunks_is_there_with_its_last_byte(body, step):
    chunks = Chunks()
    for length in range(step, len(body), step):
        assert not chunks.are_there(bytearray(body[:length])), length
    assert chunks.are_there(bytearray(body + b"GET / HTTP/1.1"))


@pytest.mark.parametrize("body", BROKEN, ids=range(len(BROKEN)))
def test_what_is_not_in_chunks_is_not_waited_for(body):
    assert Chunks().are_there(bytearray(body))
