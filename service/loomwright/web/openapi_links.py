"""Links of the OpenAPI document: which answer gives what the next operation asks for."""

from types import MappingProxyType
from typing import Any

# By operation and method.
_LINKS: MappingProxyType[tuple[str, str], dict[str, dict[str, Any]]] = MappingProxyType(
    {
        ("size-conductor", "post"): {
            "fuse_of_the_conductor": {
                "operationId": "size_fuse",
                "description": "The fuse of the circuit whose conductor was chosen.",
                "requestBody": {
                    "series": "$request.body#/series",
                    "size": "$response.body#/conductor/size",
                    "load_current": "$request.body#/load_current",
                    "source_voltage": "$request.body#/supply_voltage",
                    "length": "$request.body#/length",
                },
            },
            "likely_output_behind_the_conductor": {
                "operationId": "estimate_real_output",
                "description": "What an amplifier can put out at the voltage that reaches it.",
                "requestBody": {"supply_voltage": "$response.body#/conductor/load_voltage_v"},
            },
        },
        ("size-conductor", "get"): {
            "fuse_of_the_conductor": {
                "operationId": "size_fuse_by_query",
                "description": "The fuse of the circuit whose conductor was chosen.",
                "parameters": {
                    "series": "$request.query.series",
                    "size": "$response.body#/conductor/size",
                    "load_current": "$request.query.load_current",
                    "source_voltage": "$request.query.supply_voltage",
                },
            },
        },
        ("price-books", "get"): {
            "bill_by_the_first_book": {
                "operationId": "build_bill_of_materials",
                "description": "A bill of materials priced by the first of the books.",
                "requestBody": {"price_book_name": "$response.body#/price_books/0/name"},
            },
            "check_of_the_first_book": {
                "operationId": "check_price_book",
                "description": "What is wrong with the first of the books.",
                "requestBody": {"price_book_name": "$response.body#/price_books/0/name"},
            },
        },
        ("build-bill-of-materials", "post"): {
            "check_of_the_book_for_the_job": {
                "operationId": "check_price_book",
                "description": "What the price book lacks for the job that was billed.",
                "requestBody": {"jobs": ["$request.body#/job"]},
            },
            "work_order_of_the_job": {
                "operationId": "build_work_order",
                "description": "The work that was billed, in a safe order: the same request.",
                "requestBody": "$request.body",
            },
        },
    }
)


def links_of(operation: str, method: str) -> dict[str, dict[str, Any]]:
    """Return the links of the answer of an operation.

    Parameters
    ----------
    operation
        Name of the operation.
    method
        In small letters.

    Returns
    -------
    dict
        Link objects of OpenAPI by name; empty where nothing follows.
    """
    return _LINKS.get((operation, method), {})
