"""Answer of what business documents state besides the bill."""

from marshmallow import fields

from loomwright.web.schemas.base import Answer


class BookingAnswer(Answer):
    """When the vehicle is handed over, and where the work is done."""

    start = fields.String(required=True, metadata={"format": "date-time"})
    bay = fields.String(required=True, allow_none=True)


class PaperworkAnswer(Answer):
    """What documents of this bill state besides it, as the request did."""

    number = fields.String(required=True, allow_none=True)
    seller = fields.String(required=True, allow_none=True)
    customer = fields.String(required=True, allow_none=True)
    booking = fields.Nested(BookingAnswer, required=True, allow_none=True)
