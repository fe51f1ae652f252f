"""A bill as an entry for the calendar of a workshop bay (iCalendar)."""

import hashlib
import re
from collections.abc import Mapping
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from icalendar import Calendar, Event, vDatetime, vDuration

from loomwright.documents.paperwork import Paperwork, PaperworkError, require_complete
from loomwright.pricing.faults import Fault
from loomwright.pricing.lines import LABOUR

PRODUCT = "-//Loomwright//build-bill-of-materials//EN"
_DURATION = re.compile(r"PT(?:([0-9]+)H)?(?:([0-9]+)M)?")


def bay_booking(answer: Mapping[str, Any], paperwork: Paperwork) -> bytes:
    """Return the hours of a complete bill as one tentative calendar entry.

    The entry lasts as long as all labour of the bill together, as one person works without a pause.

    Parameters
    ----------
    answer
        Answer document of a priced job, as plain JSON values.
    paperwork
        With the booking.

    Returns
    -------
    bytes
        iCalendar in UTF-8. The same answer and paperwork give the same bytes.

    Raises
    ------
    PaperworkError
        ``bill_not_complete``, also without any labour; ``paperwork_missing`` without a booking or
        the day of the quote, which is the time stamp.

    References
    ----------
    RFC 5545, 3.6.1 (VEVENT), 3.8.2.5 (DURATION), 3.8.7.2 (DTSTAMP).
    """
    require_complete(answer)
    booking = paperwork.booking
    if booking is None or answer["as_of"] is None:
        raise PaperworkError("paperwork_missing", _missing(answer, paperwork))
    lasts = timedelta_of(answer["labour_duration"])
    if not lasts:
        message = "The bill has no labour; there is nothing to book a bay for."
        raise PaperworkError("bill_not_complete", [Fault("/job", message)])
    entry = Event()
    summary = answer["title"]
    entry.add("summary", summary if paperwork.number is None else f"{paperwork.number}: {summary}")
    if booking.bay is not None:
        entry.add("location", booking.bay)
    entry["DTSTAMP"] = vDatetime(_start_of(answer["as_of"]))
    entry["DTSTART"] = vDatetime(booking.start.astimezone(UTC))
    entry["DURATION"] = vDuration(lasts)
    entry.add("description", _description(answer))
    # Booked is what the shop and its customer agree on, and not what a price was asked for.
    entry.add("status", "TENTATIVE")
    digest = hashlib.sha256(entry.to_ical()).hexdigest()
    entry.add("uid", f"{digest}@loomwright.invalid")
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add_component(entry)
    return bytes(calendar.to_ical())


def timedelta_of(duration: str) -> timedelta:
    """Return a duration of hours and minutes as text.

    Parameters
    ----------
    duration
        Such as ``"PT4H30M"``.

    Returns
    -------
    timedelta
        What it says.

    Raises
    ------
    ValueError
        It has another form.
    """
    found = _DURATION.fullmatch(duration)
    if found is None:
        raise ValueError(f"{duration!r} is no duration of hours and minutes")
    hours, minutes = (int(group or 0) for group in found.groups())
    return timedelta(hours=hours, minutes=minutes)


def _missing(answer: Mapping[str, Any], paperwork: Paperwork) -> list[Fault]:
    faults = []
    if paperwork.booking is None:
        faults.append(Fault("/paperwork/booking", "A calendar entry needs its start; give it."))
    if answer["as_of"] is None:
        faults.append(Fault("/pricing/as_of", "A calendar entry bears a day; give it."))
    return faults


def _start_of(day: str) -> datetime:
    return datetime.combine(date.fromisoformat(day), time(), UTC)


def _description(answer: Mapping[str, Any]) -> str:
    vehicle = answer["vehicle"]["description"]
    work = [
        f"{line['quantity']} {line['unit_word']} {line['description']}"
        for line in answer["lines"]
        if line["kind"] == LABOUR
    ]
    return "\n".join([vehicle, *work])
