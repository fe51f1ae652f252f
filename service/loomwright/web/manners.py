"""What every answer carries as HTTP wants it: request id, validators, caching, compression.

This runs in each request, so that its fixed cost is kept small: an answer to POST, which no cache
may reuse, gets four headers and no digest.
"""

import gzip
import hashlib
import re
from collections.abc import Iterable

from flask import Flask, Request, Response
from flask.globals import request_ctx
from flask_cors import CORS

from loomwright.web.described_http import PROBE_PATHS, REQUEST_ID, RESPONSE_HEADERS
from loomwright.web.openapi import Operation
from loomwright.web.request_ids import request_id
from loomwright.web.settings import Settings
from loomwright.web.signals.exchange import RESPONSE
from loomwright.web.versions import VERSIONS

# Below that a compressed answer saves no packet.
LEAST_COMPRESSED_BYTES = 1400
# Level 4 of zlib: a fifth larger than level 9 at a third of its time (measured on answers).
_LEVEL = 4
KEPT_FOR_S = 300
# What is the same for the same request until the service is exchanged, beside the calculators.
_FIXED_PATHS = frozenset({"/v1/openapi.json", "/v1/problems"})
_READS = frozenset({"GET", "HEAD"})


def register_manners(app: Flask, settings: Settings, operations: Iterable[Operation]) -> None:
    """Make every answer of an application carry what HTTP wants of it.

    Parameters
    ----------
    app
        The application.
    settings
        Whether answers are for the caller alone, and which origins may read them.
    operations
        All operations.
    """
    fixed = _FIXED_PATHS | {each.url for each in operations if each.with_query}
    visibility = "private" if settings.needs_keys else "public"
    kept, asked = f"{visibility}, max-age={KEPT_FOR_S}", f"{visibility}, no-cache"
    varies = "Accept-Encoding, Origin" if settings.cors_origins else "Accept-Encoding"
    ending = {f"/{version.name}/": tuple(version.headers().items()) for version in VERSIONS}
    ending = {path: headers for path, headers in ending.items() if headers}

    @app.after_request
    def finish(response: Response) -> Response:
        request = request_ctx.request
        # For those who watch.
        request.environ[RESPONSE] = response
        headers = response.headers
        # What nobody has set is added, which needs no look at the fields that are there.
        headers.add(REQUEST_ID, request_id(request))
        # No answer is to be taken for anything but what its media type says.
        headers.add("X-Content-Type-Options", "nosniff")
        for path, stated in ending.items():
            if request.path.startswith(path):
                headers.extend(stated)
        if (request.method == "OPTIONS" or response.status_code == 405) and "Allow" in headers:
            # From a set, whose order changes from one process to the next.
            headers["Allow"] = ", ".join(sorted(re.split(r",\s*", headers["Allow"])))
        if response.direct_passthrough:
            return response
        known = headers.get("Vary")
        if known:
            headers["Vary"] = f"{known}, {varies}"
        else:
            headers.add("Vary", varies)
        # A stream would have to be kept until its end.
        if not response.is_streamed:
            _compress(request, response)
        if "Cache-Control" in headers:
            return response
        path = request.url_rule.rule if request.url_rule is not None else ""
        if response.status_code != 200 or path in PROBE_PATHS or request.method not in _READS:
            # Also what is refused: the same request may be answered as soon as a key is sent.
            headers.add("Cache-Control", "no-store")
            return response
        headers.add("Cache-Control", kept if path in fixed else asked)
        # An answer to HEAD for which nothing was computed has no bytes to make a validator of.
        if response.automatically_set_content_length:
            _validate(request, response)
        return response

    if settings.cors_origins:
        # Registered last and so run first: it sees the bare answer.
        CORS(
            app,
            origins=list(settings.cors_origins),
            methods=["GET", "HEAD", "OPTIONS", "POST"],
            allow_headers=["Authorization", "Content-Type", "If-None-Match", REQUEST_ID],
            expose_headers=[name for name in RESPONSE_HEADERS if name != "Vary"],
            max_age=600,
            # It would leave Origin out where there is one origin only.
            vary_header=False,
        )


def takes_gzip(request: Request) -> bool:
    """Tell whether an answer may be compressed."""
    # Most callers send no such header, and parsing one takes longer than looking.
    if "gzip" not in request.environ.get("HTTP_ACCEPT_ENCODING", "").lower():
        return False
    return request.accept_encodings["gzip"] > 0


def _compress(request: Request, response: Response) -> None:
    if not takes_gzip(request) or "Content-Encoding" in response.headers:
        return
    body = response.get_data()
    if len(body) < LEAST_COMPRESSED_BYTES:
        return
    # Without a time within, so that the same answer gives the same bytes.
    response.set_data(gzip.compress(body, _LEVEL, mtime=0))
    response.headers["Content-Encoding"] = "gzip"


def _validate(request: Request, response: Response) -> None:
    """Add the validator of the bytes sent, and send none where the caller has them."""
    tag = hashlib.blake2b(response.get_data(), digest_size=16).hexdigest()
    response.set_etag(tag)
    if "HTTP_IF_NONE_MATCH" in request.environ and request.if_none_match.contains_weak(tag):
        response.status_code = 304
        response.set_data(b"")
        for name in ("Content-Length", "Content-Type", "Content-Encoding"):
            response.headers.pop(name, None)
