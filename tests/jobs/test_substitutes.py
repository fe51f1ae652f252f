"""Substitutes: offered where something lacks, and only after every check has passed with them."""

import copy
from collections.abc import Callable
from typing import Any

import pytest

from loomwright.engineering.protection.fuse_answer import FUSE_FOUND
from loomwright.jobs.demo_library import demo_price_book
from loomwright.jobs.priced_job import PricedJob
from loomwright.jobs.substitutes import CONDUCTOR, FUSE, NOT_LISTED, OUT_OF_STOCK
from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.price_book import PriceBook

Document = dict[str, Any]
Price = Callable[..., PricedJob]


def book_where(keeps: Callable[[Document], bool], **changes: Any) -> PriceBook:
    """The demo book with the parts that are kept, each changed as its key says."""
    document = {**demo_price_book(), "kits": []}
    document["parts"] = [
        {**part, **changes.get(part["key"].replace("-", "_").replace(".", "_"), {})}
        for part in document["parts"]
        if keeps(part)
    ]
    return price_book_from_document(document)


def is_not_wire(size: str) -> Callable[[Document], bool]:
    return lambda part: part["kind"] != "conductor" or part["attributes"]["size"] != size


def test_nothing_is_offered_where_nothing_lacks(small_job: Document, priced: Price) -> None:
    assert priced(small_job).substitutes == ()


def test_the_next_thicker_conductor_is_offered_for_one_not_listed(
    small_job: Document, priced: Price
) -> None:
    plain = priced(small_job)
    (entry,) = plain.circuits
    assert entry.conductor is not None
    assert entry.conductor.key == "2.5 mm2"
    short = priced(small_job, book_where(is_not_wire("2.5 mm2")))
    (offer,) = short.substitutes
    assert (offer.kind, offer.reason) == (CONDUCTOR, NOT_LISTED)
    assert (offer.replaced, offer.offered) == ("2.5 mm2", "4 mm2")
    # The bill of a job that asks for the thicker size at once is the one that was promised.
    thicker = copy.deepcopy(small_job)
    thicker["conductors"]["smallest_size"] = "4 mm2"
    asked = priced(thicker, book_where(is_not_wire("2.5 mm2")))
    assert offer.total == asked.bill.totals.total
    assert offer.total - offer.total_difference == short.bill.totals.total
    (again,) = asked.circuits
    assert again.fuse_answer is not None
    assert again.fuse_answer.verdict == FUSE_FOUND


def test_a_conductor_out_of_stock_is_on_the_bill_and_a_substitute_is_offered(
    small_job: Document, priced: Price
) -> None:
    short = priced(small_job, book_where(lambda _: True, WIRE_2_5_R={"stock": "1"}))
    assert short.verdict == "complete"
    (line,) = [line for line in short.bill.lines if line.key == "WIRE-2.5-R"]
    assert line.in_stock is False
    (offer,) = short.substitutes
    assert (offer.kind, offer.reason, offer.offered) == (CONDUCTOR, OUT_OF_STOCK, "4 mm2")


def test_a_conductor_whose_terminals_lack_is_passed_over(
    small_job: Document, priced: Price
) -> None:
    def keeps(part: Document) -> bool:
        of_4_mm2 = part["attributes"].get("size") == "4 mm2"
        return is_not_wire("2.5 mm2")(part) and not (part["kind"] == "ring_terminal" and of_4_mm2)

    (offer,) = priced(small_job, book_where(keeps)).substitutes
    assert offer.offered == "6 mm2"


def test_another_fuse_type_is_offered_for_the_same_conductor(
    small_job: Document, priced: Price
) -> None:
    def keeps(part: Document) -> bool:
        return part["kind"] != "fuse" or part["attributes"]["fuse_type"] != "iso_8820_3_c"

    small_job["equipment"][0]["load_current"] = 6
    short = priced(small_job, book_where(keeps))
    offers = [offer for offer in short.substitutes if offer.kind == FUSE]
    assert [offer.reason for offer in offers] == [NOT_LISTED]
    fuse_type, rating = offers[0].offered.split(" ")[:2]
    assert (fuse_type, offers[0].replaced) != ("iso_8820_3_c", offers[0].offered)
    other = copy.deepcopy(small_job)
    other["circuits"][0]["fuse_types"] = [fuse_type]
    (entry,) = priced(other, book_where(keeps)).circuits
    assert entry.conductor is not None
    assert (entry.conductor.key, entry.rated_current_a) == ("4 mm2", float(rating))
    assert entry.verdict == "sized"


@pytest.mark.parametrize("kind", ["conductor", "fuse"])
def test_nothing_is_offered_where_nothing_passes(
    small_job: Document, priced: Price, kind: str
) -> None:
    short = priced(small_job, book_where(lambda part: part["kind"] != kind))
    assert short.verdict == "incomplete"
    assert short.substitutes == ()
