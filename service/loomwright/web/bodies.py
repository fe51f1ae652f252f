"""Bodies that may be larger than those of other operations, and compressed."""

import io

from flask import Request
from werkzeug.exceptions import ClientDisconnected, RequestEntityTooLarge

from loomwright.batch.forms.form_error import TOO_LARGE, FormError
from loomwright.batch.forms.streams import opened
from loomwright.web.problems import ProblemError

# What ``Content-Encoding`` may name; the second is another name of the first (RFC 9110, 8.4.1.3).
CODINGS = ("gzip", "x-gzip")
_IDENTITY = ("", "identity")


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
    body = sent_body(request, greatest_bytes)
    if coding not in CODINGS:
        return body
    if not body:
        raise ProblemError("malformed_coding", "The body is said to be gzip and is empty.")
    try:
        return opened(io.BytesIO(body), gzipped=True, most_bytes=greatest_bytes).read()
    except FormError as error:
        if error.code == TOO_LARGE:
            raise _too_large(greatest_bytes) from None
        raise ProblemError("malformed_coding", error.message) from None


def sent_body(request: Request, greatest_bytes: int) -> bytes:
    """Return the body of a request as it was sent.

    Parameters
    ----------
    request
        With a stated length, or in chunks.
    greatest_bytes
        Greatest length.

    Returns
    -------
    bytes
        The whole body.

    Raises
    ------
    ProblemError
        ``body_too_large`` or ``request_timeout``.
    """
    # Werkzeug ends a stream of unstated length at the greatest one, as if that had been all.
    request.max_content_length = greatest_bytes + 1
    try:
        body = request.get_data(cache=False)
    except RequestEntityTooLarge:
        raise _too_large(greatest_bytes) from None
    except (ClientDisconnected, OSError):
        # The server's socket gave up waiting for the rest of the body.
        raise ProblemError("request_timeout", "The body did not arrive in time.") from None
    if len(body) > greatest_bytes:
        raise _too_large(greatest_bytes)
    return body


def _too_large(greatest_bytes: int) -> ProblemError:
    size = f"{greatest_bytes / 2**20:g} MiB"
    return ProblemError("body_too_large", f"A body has at most {size} here, also when inflated.")
