"""What the OpenAPI document says of access and of headers, beside the operations themselves."""

from types import MappingProxyType
from typing import Any

from loomwright.web.key_file import SCOPES

QUERY_KEY = "key"
# What tells the state of this moment: for everybody, uncounted, never to be kept.
LIVE_PATH, READY_PATH, HEALTH_PATH = "/v1/live", "/v1/ready", "/v1/health"
OPENAPI_PATH = "/v1/openapi.json"
PROBE_PATHS = frozenset({LIVE_PATH, READY_PATH, HEALTH_PATH})
REQUEST_ID = "X-Request-Id"
# Methods of RFC 9110 and PATCH (RFC 5789).
KNOWN_METHODS = frozenset(
    {"CONNECT", "DELETE", "GET", "HEAD", "OPTIONS", "PATCH", "POST", "PUT", "TRACE"}
)
# Problems that every operation can meet where keys and limits are configured.
ACCESS_STATUSES = (401, 403, 429, 503)
BEARER, SPREADSHEET_KEY = "bearer", "spreadsheetKey"

SECURITY_SCHEMES: MappingProxyType[str, dict[str, Any]] = MappingProxyType(
    {
        BEARER: {
            "type": "http",
            "scheme": "bearer",
            "description": "A key of the operator, or a token (JWT) of the configured issuer. "
            "Scopes: " + "; ".join(f"`{name}`: {text}" for name, text in SCOPES.items()) + ".",
        },
        SPREADSHEET_KEY: {
            "type": "apiKey",
            "in": "query",
            "name": QUERY_KEY,
            "description": "A key with the scope `spreadsheet` alone, for programs that can set no "
            "header; for GET of the engineering operations only.",
        },
    }
)

# Name, description and an example of each header.
RESPONSE_HEADERS: MappingProxyType[str, tuple[str, str]] = MappingProxyType(
    {
        REQUEST_ID: (
            "The request's own `X-Request-Id` where it is 1 to 128 letters, digits or `._~+/=:@-`, "
            "else a new one.",
            "5f0c954e8f0d4b52a4fd7a7f3f8a1d20",
        ),
        "ETag": (
            "Strong validator of the bytes sent, on answers to GET and HEAD; send it back as "
            "`If-None-Match` for a 304.",
            '"9c1185a5c5e9fc54612808977ee8f548"',
        ),
        "Cache-Control": ("How long the answer may be kept.", "public, max-age=300"),
        "Vary": ("Request headers that the answer depends on.", "Accept-Encoding"),
        "RateLimit": (
            "Requests left (`r`) and seconds until the count begins anew (`t`), where a limit is "
            "set.",
            '"600-per-60s";r=599;t=60',
        ),
        "RateLimit-Policy": (
            "The limit: requests (`q`) in seconds (`w`), where one is set.",
            '"600-per-60s";q=600;w=60',
        ),
        "Retry-After": ("Whole seconds to wait, on 429 and some 503.", "30"),
        "Deprecation": ("When this version was deprecated (RFC 9745), once it is.", "@1924988399"),
        "Sunset": (
            "When this version ends (RFC 8594), once that is known.",
            "Wed, 31 Dec 2031 23:59:59 GMT",
        ),
        "WWW-Authenticate": ("How to send a key (RFC 6750), on 401 and 403.", "Bearer"),
        "Allow": ("The methods of the path, on 405 and to OPTIONS.", "GET, HEAD, OPTIONS"),
    }
)
