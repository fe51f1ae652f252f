"""Response headers in the OpenAPI document. A header is described here and nowhere else."""

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class ResponseHeader:
    """A header, the statuses that carry it, and whether each answer with them does.

    No status stands for every one. ``negotiated`` holds it to answers that come in several forms.
    """

    name: str
    description: str
    schema: dict[str, Any]
    example: str
    statuses: frozenset[int] = frozenset()
    is_required: bool = False
    negotiated: bool = False


HEADERS: tuple[ResponseHeader, ...] = (
    ResponseHeader(
        "Vary",
        "The header of the request that the form of the answer depends on.",
        {"type": "string", "minLength": 1},
        "Accept",
        frozenset({200}),
        is_required=True,
        negotiated=True,
    ),
    ResponseHeader(
        "WWW-Authenticate",
        "The scheme by which a key is sent (RFC 9110, 11.6.1).",
        {"type": "string", "minLength": 1},
        'Bearer realm="cost and margin"',
        frozenset({401}),
        is_required=True,
    ),
)


def response_headers(status: int, *, negotiated: bool = False) -> dict[str, Any]:
    """Return the headers of a response.

    Parameters
    ----------
    status
        HTTP status.
    negotiated
        Whether the answer comes in several forms.

    Returns
    -------
    dict
        Header objects of OpenAPI by name.
    """
    return {
        header.name: {
            "description": header.description,
            "required": header.is_required,
            "schema": header.schema,
            "example": header.example,
        }
        for header in HEADERS
        if (not header.statuses or status in header.statuses)
        and (negotiated or not header.negotiated)
    }
