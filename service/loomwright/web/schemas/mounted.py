"""Answer of price-books."""

from marshmallow import fields

from loomwright.web.schemas.base import Answer, describe

DIGEST = describe("SHA-256 of its canonical JSON.", pattern="^[0-9a-f]{64}$")


class MountedBookAnswer(Answer):
    """A mounted price book; what it says of itself is null where it cannot be read."""

    name = fields.String(required=True, metadata=describe("As price_book_name takes it."))
    is_readable = fields.Boolean(
        required=True,
        metadata=describe("Whether it serves; check-price-book lists what is wrong if not."),
    )
    title = fields.String(
        required=True, allow_none=True, metadata=describe("What the book calls itself.")
    )
    digest = fields.String(required=True, allow_none=True, metadata=DIGEST)
    currency = fields.String(required=True, allow_none=True, metadata=describe("ISO 4217 code."))
    valid_from = fields.Date(required=True, allow_none=True)
    valid_until = fields.Date(required=True, allow_none=True)


class PriceBooksAnswer(Answer):
    """The price books that the operator mounted, and the providers that have others."""

    price_books = fields.List(fields.Nested(MountedBookAnswer), required=True)
    providers = fields.List(
        fields.String(), required=True, metadata=describe("Names as price_book_from takes them.")
    )
    engine_version = fields.String(required=True)
