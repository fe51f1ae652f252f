"""What a business document states besides the bill: its number, its parties, a booking."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from loomwright.jobs.priced_job import COMPLETE
from loomwright.pricing.faults import DocumentError, Fault
from loomwright.pricing.members import InstantText, Member, Record, Text
from loomwright.pricing.reading import ObjectReader

_BOOKING: dict[str, Member] = {
    "start": InstantText(about="When the vehicle is handed over."),
    "bay": Text(required=False, about="Where the work is done, as the shop calls it."),
}
PAPERWORK: dict[str, Member] = {
    "number": Text(required=False, about="Number of the document in the shop's own count."),
    "seller": Text(required=False, about="Who quotes; a quotation needs it."),
    "customer": Text(required=False, about="Whom the quotation is for."),
    "booking": Record(
        "Booking", _BOOKING, required=False, about="When and where; a calendar entry needs it."
    ),
}
PAPERWORK_RECORD = Record(
    "Paperwork",
    PAPERWORK,
    required=False,
    about="What a quotation or a calendar entry states besides the bill; it changes no price.",
)


@dataclass(frozen=True, slots=True)
class Booking:
    """When a vehicle is handed over, and the bay that it goes to."""

    start: datetime
    bay: str | None


@dataclass(frozen=True, slots=True)
class Paperwork:
    """What a business document states besides the bill; none where it is not stated."""

    number: str | None = None
    seller: str | None = None
    customer: str | None = None
    booking: Booking | None = None


NO_PAPERWORK = Paperwork()


class PaperworkError(ValueError):
    """A business document cannot be made of a bill.

    Parameters
    ----------
    code
        Stable key of the error: ``bill_not_complete`` or ``paperwork_missing``.
    faults
        Each thing that stands in the way, by JSON pointer into the request.
    """

    def __init__(self, code: str, faults: list[Fault]) -> None:
        super().__init__(" ".join(fault.message for fault in faults))
        self.code = code
        self.faults = tuple(faults)


def paperwork_from_document(document: object) -> Paperwork:
    """Return the paperwork that a plain JSON document states.

    Parameters
    ----------
    document
        Plain JSON values.

    Returns
    -------
    Paperwork
        Checked.

    Raises
    ------
    DocumentError
        Anything is wrong; ``faults`` lists all of it by JSON pointer.
    """
    faults: list[Fault] = []
    reader = ObjectReader(document, "", faults, PAPERWORK)
    texts = {name: reader.text(name) or None for name in ("number", "seller", "customer")}
    booking = _booking(reader.object("booking")) if reader.has("booking") else None
    if faults:
        raise DocumentError("paperwork", faults)
    return Paperwork(**texts, booking=booking)


def _booking(reader: ObjectReader) -> Booking | None:
    start, bay = reader.instant("start"), reader.text("bay") or None
    return None if start is None else Booking(start, bay)


def paperwork_document(paperwork: Paperwork) -> dict[str, Any] | None:
    """Return paperwork as plain JSON values, none where nothing is stated.

    ``paperwork_from_document`` reads it back.
    """
    booking = paperwork.booking
    stated = {
        "number": paperwork.number,
        "seller": paperwork.seller,
        "customer": paperwork.customer,
        "booking": None
        if booking is None
        else {"start": booking.start.isoformat(), "bay": booking.bay},
    }
    return stated if paperwork != NO_PAPERWORK else None


def paperwork_of_answer(answer: Mapping[str, Any]) -> Paperwork:
    """Return the paperwork that an answer carries."""
    stated = answer["paperwork"]
    return NO_PAPERWORK if stated is None else paperwork_from_document(_without_nulls(stated))


def _without_nulls(stated: Mapping[str, Any]) -> dict[str, Any]:
    return {
        name: _without_nulls(value) if isinstance(value, Mapping) else value
        for name, value in stated.items()
        if value is not None
    }


def require_complete(answer: Mapping[str, object]) -> None:
    """Refuse to make a document of a bill that leaves something open.

    Parameters
    ----------
    answer
        Answer document of a priced job.

    Raises
    ------
    PaperworkError
        ``bill_not_complete``: a circuit is not sized, something is not priced, or a source is asked
        for more than it can give.
    """
    if answer["verdict"] != COMPLETE:
        message = (
            f"The verdict on this bill is {answer['verdict']}; a document that binds the shop is "
            "made of a complete bill only. Ask for JSON or CSV to see what is open."
        )
        raise PaperworkError("bill_not_complete", [Fault("", message)])
