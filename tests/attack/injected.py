"""A job, a price book and paperwork in which every free text says the same, or one of many."""

import itertools
from collections.abc import Iterable
from typing import Any

from public_lists import naughty_strings

from loomwright.jobs.demo_library import demo_job, demo_price_book

PLAN, BILL = "/v1/plan-installation", "/v1/build-bill-of-materials"
PLAIN = "Plain words"
# Free texts of a job by the lists that they stand in; no key and no reference is one.
_DESCRIBED = ("power_sources", "equipment", "circuits")
_DESCRIBED_IN_BOOK = ("parts", "kits", "labour", "difficulty")
_LONGEST = 200


def request_body(texts: Iterable[str], job: str = "van_second_battery") -> dict[str, Any]:
    """Return a request for a bill or plans whose free texts are these in turn."""
    turn = itertools.cycle(texts)
    stated, book = demo_job(job), demo_price_book()
    stated["title"] = next(turn)
    stated["vehicle"]["description"] = next(turn)
    for name in _DESCRIBED:
        for entry in stated[name]:
            entry["description"] = next(turn)
    for entry in stated.get("labour", ()):
        entry["reason"] = next(turn)
    book["name"] = next(turn)
    book["taxes"][0]["name"] = next(turn)
    for name in _DESCRIBED_IN_BOOK:
        for entry in book.get(name, ()):
            entry["description"] = next(turn)
    return {
        "job": stated,
        "price_book": book,
        "pricing": {"as_of": "2031-04-30"},
        "paperwork": {
            "number": next(turn),
            "seller": next(turn),
            "customer": next(turn),
            "booking": {"start": "2031-05-06T08:00:00+02:00", "bay": next(turn)},
        },
    }


def is_taken(text: str) -> bool:
    """Tell whether every free text may be this one."""
    return 0 < len(text) <= _LONGEST and text.isprintable() and not text[0].isspace()


def naughty_bodies(job: str = "van_second_battery", each: int = 40) -> list[dict[str, Any]]:
    """Return requests that together hold every string of the public list that a text may be."""
    strings = [text for text in naughty_strings() if is_taken(text)]
    pieces = [strings[start : start + each] for start in range(0, len(strings), each)]
    return [request_body(piece, job) for piece in pieces]
