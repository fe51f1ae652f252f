"""Bodies that may be larger than those of other operations, and compressed."""

import zlib
from collections.abc import Iterator

from flask import Request
from werkzeug.exceptions import ClientDisconnected, RequestEntityTooLarge

from loomwright.web.problems import ProblemError

# What ``Content-Encoding`` may name; the second is another name of the first (RFC 9110, 8.4.1.3).
CODINGS = ("gzip", "x-gzip")
_IDENTITY = ("", "identity")
# Told zlib that header and trailer of gzip (RFC 1952) stand around the data.
_GZIP_WINDOW = 16 + zlib.MAX_WBITS
_READ_BYTES = 64 * 1024


def inflated_body(request: Request, greatest_bytes: int) -> bytes:
    """Return the body of a request, inflated where it was sent compressed.

    It is inflated piece by piece, and given up as soon as there is more than it may come to: a
    small body that stands for a huge one costs no more than a body of the greatest size.

    Parameters
    ----------
    request
        With ``Content-Encoding: gzip`` or without any.
    greatest_bytes
        Greatest length, as sent and inflated alike.

    Returns
    -------
    bytes
        As it was before it was compressed.

    Raises
    ------
    ProblemError
        ``unsupported_coding``, ``malformed_coding``, ``body_too_large`` or ``request_timeout``.
    """
    coding = request.headers.get("Content-Encoding", "").strip().lower()
    if coding not in (*CODINGS, *_IDENTITY):
        raise ProblemError(
            "unsupported_coding",
            f"The body is coded as '{coding[:40]}'; it is taken as gzip, or as it is.",
            headers={"Accept-Encoding": CODINGS[0]},
        )
    # Werkzeug takes a stream of just the greatest length, whose end it has not seen, for too long.
    request.max_content_length = greatest_bytes + 1
    pieces = _pieces(request, greatest_bytes)
    if coding in CODINGS:
        pieces = inflated(pieces, greatest_bytes)
    try:
        return b"".join(pieces)
    except RequestEntityTooLarge:
        raise _too_large(greatest_bytes) from None
    except (ClientDisconnected, OSError):
        # The server's socket gave up waiting for the rest of the body.
        raise ProblemError("request_timeout", "The body did not arrive in time.") from None


def inflated(pieces: Iterator[bytes], greatest_bytes: int) -> Iterator[bytes]:
    """Yield what pieces of a gzip file stand for, as long as it is not too much.

    Parameters
    ----------
    pieces
        Of one or several gzip members in a row.
    greatest_bytes
        Greatest length of all that is yielded.

    Yields
    ------
    bytes
        In order.

    Raises
    ------
    ProblemError
        ``malformed_coding``, or ``body_too_large`` before more than that is yielded.
    """
    room = greatest_bytes
    member = zlib.decompressobj(_GZIP_WINDOW)
    for piece in pieces:
        left = piece
        while left:
            if member.eof:
                member = zlib.decompressobj(_GZIP_WINDOW)
            try:
                # One byte more than there is room for tells that it is too much.
                made = member.decompress(left, room + 1)
            except zlib.error as error:
                raise _malformed(str(error)) from None
            if len(made) > room:
                raise _too_large(greatest_bytes)
            room -= len(made)
            yield made
            left = member.unused_data if member.eof else member.unconsumed_tail
    if not member.eof:
        raise _malformed("it ends too soon")


def _pieces(request: Request, greatest_bytes: int) -> Iterator[bytes]:
    room = greatest_bytes
    while piece := request.stream.read(_READ_BYTES):
        room -= len(piece)
        if room < 0:
            raise _too_large(greatest_bytes)
        yield piece


def _malformed(what: str) -> ProblemError:
    return ProblemError("malformed_coding", f"The body is said to be gzip and is not: {what}.")


def _too_large(greatest_bytes: int) -> ProblemError:
    size = f"{greatest_bytes / 2**20:g} MiB"
    return ProblemError("body_too_large", f"A body has at most {size} here, also when inflated.")
