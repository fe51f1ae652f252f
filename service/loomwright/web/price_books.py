"""The list of mounted price books, and the operation check-price-book."""

from typing import Any

from flask import Blueprint, Response

from loomwright.web.answers import ENGINE_VERSION, json_response
from loomwright.web.mounted_books import MountedBook, mounted_book, mounted_names

blueprint = Blueprint("price_books", __name__)


@blueprint.get("/price-books")
def price_books_view() -> Response:
    """Answer price-books."""
    mounted = (mounted_book(name) for name in mounted_names())
    # A book that went between the list and the look is not there.
    listed = [_listed(book) for book in mounted if book is not None]
    return json_response({"price_books": listed, "engine_version": ENGINE_VERSION})


def _listed(mounted: MountedBook) -> dict[str, Any]:
    book = mounted.book
    return {
        "name": mounted.name,
        "is_readable": book is not None,
        "title": book and book.name,
        "digest": book and book.digest,
        "currency": book and book.currency,
        "valid_from": book and book.validity.first,
        "valid_until": book and book.validity.last,
    }
