"""Write what a provider serves over HTTP as OpenAPI, as YAML: run it with ``python -m``.

The price book in it is that of the service's own document, made from the same members.
"""

import sys
from typing import Any

from loomwright.delivery import VERSION
from loomwright.pricing.book_members import BOOK, PRICE_BOOK
from loomwright.pricing.members import Member, Records
from loomwright.providers.provided_book import (
    LABOUR_MEMBERS,
    MAPPING,
    STOCK,
    TAX_MEMBERS,
)
from loomwright.providers.provider import KINDS
from loomwright.web.openapi_file import as_yaml
from loomwright.web.schemas.documents import (
    components,
    member_schema,
    object_schema,
    reference,
)
from loomwright.web.schemas.price_book import BOOK_RULES

_NAME = {"type": "string", "pattern": "^[A-Za-z0-9][A-Za-z0-9_-]{0,63}$"}
_VERSION = {"type": "string", "pattern": r"^1\.(0|[1-9][0-9]*)$"}
_SUMMARIES = {
    "price_book": ("PriceBookDocument", "Serve a price book.", "P-010"),
    "labour_rates": ("LabourRates", "Serve the labour rates that go with a price book.", "P-011"),
    "tax_rules": ("TaxRules", "Serve the tax rules that go with a price book.", "P-012"),
    "stock": ("Stock", "Serve the stock of what a price book sells.", "P-014 and P-020 to P-022"),
    "mapping": ("Mapping", "Serve the shop's own numbers.", "P-030 to P-032"),
}
_ETAG = {
    "ETag": {
        "description": "Strong tag of the document (P-040).",
        "schema": {"type": "string"},
    }
}


def provider_openapi() -> dict[str, Any]:
    """Return the OpenAPI document of a provider over HTTP.

    Returns
    -------
    dict
        OpenAPI 3.1, of plain values.
    """
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "Provider of price books for Loomwright",
            "version": VERSION,
            "summary": "What a shop system serves so that bills are made of its own prices.",
            "description": "The plugin specification in provider.md and versions.md is the "
            "authority; this document says the same for programs.\n",
            "license": {"name": "MIT", "identifier": "MIT"},
        },
        "servers": [{"url": "https://shop.example/loomwright", "description": "An invented shop."}],
        "security": [{}, {"token": []}],
        "tags": [{"name": "provider", "description": "Capabilities and documents."}],
        "paths": {"/capabilities": {"get": _capabilities()}, **_paths()},
        "components": {
            "schemas": _schemas(),
            "responses": {"Refused": _refused()},
            "securitySchemes": {"token": {"type": "http", "scheme": "bearer"}},
        },
    }


def _capabilities() -> dict[str, Any]:
    return {
        "tags": ["provider"],
        "operationId": "capabilities",
        "summary": "Say what the provider serves and which version it follows.",
        "description": "Requirements V-001 to V-004, V-009 and P-006 to P-007.",
        "responses": _responses("Capabilities"),
    }


def _paths() -> dict[str, Any]:
    found = {}
    for kind, rest in KINDS.items():
        component, summary, requirements = _SUMMARIES[kind]
        found[f"/price-books/{{name}}{rest}"] = {
            "get": {
                "tags": ["provider"],
                "operationId": kind,
                "summary": summary,
                "description": f"Requirements P-001 to P-005, {requirements}, P-040 to P-045.",
                "parameters": [
                    {
                        "name": "name",
                        "in": "path",
                        "required": True,
                        "description": "Name of a price book of the capabilities.",
                        "schema": _NAME,
                    },
                    {
                        "name": "If-None-Match",
                        "in": "header",
                        "description": "Tag of the document that the service has.",
                        "schema": {"type": "string"},
                    },
                ],
                "responses": _responses(component)
                | {"304": {"description": "The document is the one the service has."}},
            }
        }
    return found


def _responses(component: str) -> dict[str, Any]:
    responses: dict[str, Any] = {
        "200": {
            "description": "The document.",
            "headers": _ETAG,
            "content": {"application/json": {"schema": reference(component)}},
        },
    }
    for status in ("401", "404", "405", "503"):
        responses[status] = {"$ref": "#/components/responses/Refused"}
    return responses


def _refused() -> dict[str, Any]:
    return {
        "description": "A problem document (RFC 9457); with 503, Retry-After says when to ask.",
        "headers": {"Retry-After": {"schema": {"type": "integer", "minimum": 0}}},
        "content": {
            "application/problem+json": {
                "schema": {
                    "type": "object",
                    "properties": {
                        "title": {"type": "string"},
                        "status": {"type": "integer"},
                        "detail": {"type": "string"},
                    },
                }
            }
        },
    }


def _schemas() -> dict[str, Any]:
    of_book = components(PRICE_BOOK, BOOK_RULES)
    return {
        "Capabilities": _document(
            {
                "roles": {"type": "array", "items": {"enum": ["provider", "receiver"]}},
                "name": {"type": "string", "minLength": 1},
                "serves": {
                    "type": "array",
                    "items": {"enum": list(KINDS)},
                    "uniqueItems": True,
                },
                "price_books": {"type": "array", "items": _NAME, "uniqueItems": True},
            }
        ),
        "PriceBookDocument": _document({"price_book": reference(PRICE_BOOK.name)}),
        "LabourRates": _document(
            {"currency": member_schema(BOOK["currency"]), "labour": _part_of_book(LABOUR_MEMBERS)}
        ),
        "TaxRules": _document({"tax_rules": _part_of_book(TAX_MEMBERS)}),
        "Stock": _document(_members(STOCK)),
        "Mapping": _document(_members(MAPPING)),
        **of_book,
        **_entries(),
    }


def _document(members: dict[str, Any]) -> dict[str, Any]:
    """Return the schema of a document; members that it does not name are ignored."""
    return {
        "type": "object",
        "properties": {"specification": _VERSION, **members},
        "required": ["specification", *members],
    }


def _part_of_book(names: tuple[str, ...]) -> dict[str, Any]:
    return {
        "type": "object",
        "properties": {name: member_schema(BOOK[name]) for name in names},
        "additionalProperties": False,
    }


def _members(members: dict[str, Member]) -> dict[str, Any]:
    return {name: member_schema(member) for name, member in members.items()}


def _entries() -> dict[str, Any]:
    listed = [*STOCK.values(), *MAPPING.values()]
    return {
        member.name: object_schema(member.members)
        for member in listed
        if isinstance(member, Records)
    }


if __name__ == "__main__":
    sys.stdout.write(as_yaml(provider_openapi()))
