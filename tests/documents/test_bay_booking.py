"""Calendar entries, read back by the library and against RFC 5545."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from answers import demo_answer, drawn_answer
from icalendar import Calendar

from drawn_bills import LAY, book_of
from loomwright.documents.bay_booking import bay_booking, timedelta_of
from loomwright.documents.paperwork import NO_PAPERWORK, Booking, Paperwork, PaperworkError
from loomwright.jobs.demo_library import DEMO_JOBS

START = datetime(2031, 5, 6, 8, 0, tzinfo=timezone(timedelta(hours=2)))
BOOKED = Paperwork(number="0017", booking=Booking(START, "Bay 2, left; deep"))


def entry_of(text):
    calendar = Calendar.from_ical(text)
    (entry,) = calendar.walk("VEVENT")
    return entry


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_demo_booking_lasts_as_long_as_its_labour(name):
    answer = demo_answer(name)
    entry = entry_of(bay_booking(answer, BOOKED))
    hours = sum(float(line["quantity"]) for line in answer["lines"] if line["kind"] == "labour")
    lasts = entry.decoded("duration").total_seconds()
    # Hundredths of an hour are written in whole minutes, rounded up once.
    assert 0 <= lasts - 3600 * hours < 60
    assert entry.decoded("dtstart") == START
    assert str(entry["location"]) == "Bay 2, left; deep"
    assert str(entry["summary"]) == f"0017: {answer['title']}"
    assert entry.decoded("dtstamp") == datetime(2031, 4, 30, tzinfo=UTC)
    assert str(entry["status"]) == "TENTATIVE"
    for line in answer["lines"]:
        assert (line["description"] in str(entry["description"])) == (line["kind"] == "labour")


def test_lines_of_the_file_are_short_and_end_as_the_standard_says():
    text = bay_booking(demo_answer(DEMO_JOBS[0]), BOOKED)
    # RFC 5545, 3.1: lines end in CR LF and have at most 75 octets without it.
    lines = text.split(b"\r\n")
    assert lines[-1] == b""
    assert b"\n" not in text.replace(b"\r\n", b"")
    assert max(map(len, lines)) <= 75
    assert lines[0] == b"BEGIN:VCALENDAR"
    # 3.6: both are required, and so are UID and DTSTAMP in an entry.
    for name in (b"PRODID:", b"VERSION:2.0", b"UID:", b"DTSTAMP:"):
        assert sum(line.startswith(name) for line in lines) == 1


def test_same_bill_and_booking_give_the_same_bytes_and_another_bay_another_identifier():
    answer = demo_answer(DEMO_JOBS[0])
    assert bay_booking(answer, BOOKED) == bay_booking(answer, BOOKED)
    other = Paperwork(number="0017", booking=Booking(START, "Bay 3"))
    identifiers = {str(entry_of(bay_booking(answer, each))["uid"]) for each in (BOOKED, other)}
    assert len(identifiers) == 2


def test_without_booking_and_day_no_entry_is_made():
    answer = {**demo_answer(DEMO_JOBS[0]), "as_of": None}
    with pytest.raises(PaperworkError) as refused:
        bay_booking(answer, NO_PAPERWORK)
    assert refused.value.code == "paperwork_missing"
    pointers = [fault.pointer for fault in refused.value.faults]
    assert pointers == ["/paperwork/booking", "/pricing/as_of"]


def test_without_labour_there_is_nothing_to_book():
    book = {**book_of(["10"]), "labour": [{**LAY, "tax_category": "none"}]}
    book["tax_categories"] = [{"key": "none", "taxes": []}]
    book["parts"][0]["tax_category"] = "none"
    with pytest.raises(PaperworkError, match="no labour"):
        bay_booking(drawn_answer(book, {}, 0), BOOKED)
    # By hand: 3 pieces of half an hour.
    entry = entry_of(bay_booking(drawn_answer(book, {}, 3), BOOKED))
    assert entry.decoded("duration") == timedelta(hours=1, minutes=30)


def test_an_incomplete_bill_is_not_booked():
    with pytest.raises(PaperworkError, match="incomplete"):
        bay_booking({**demo_answer(DEMO_JOBS[0]), "verdict": "incomplete"}, BOOKED)


@pytest.mark.parametrize(
    ("text", "minutes"), [("PT0M", 0), ("PT45M", 45), ("PT2H", 120), ("PT26H5M", 1565)]
)
def test_durations_are_read(text, minutes):
    assert timedelta_of(text) == timedelta(minutes=minutes)


@pytest.mark.parametrize("text", ["P1D", "PT1.5H", "1:30", "PT1H "])
def test_other_durations_are_refused(text):
    with pytest.raises(ValueError, match="no duration"):
        timedelta_of(text)
