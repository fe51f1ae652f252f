"""Lines of packs, kits, price breaks and labour, each written out by hand."""

from decimal import Decimal
from typing import Any

import pytest

from loomwright.pricing.bill import Bill, Bills, bill_of_materials
from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.lines import Line
from loomwright.pricing.part_lines import PartPricing
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.pricing_options import PricingOptions
from loomwright.pricing.requirements import LabourRequirement, Requirement

Document = dict[str, Any]


def part(key: str, price: str, **changes: Any) -> Document:
    return {
        "key": key,
        "kind": "equipment",
        "description": f"The {key}",
        "attributes": {"reference": key},
        "unit": "EA",
        "unit_price": price,
        **changes,
    }


def kit(key: str, price: str, contents: dict[str, str], **changes: Any) -> Document:
    held = [{"part": name, "quantity": each} for name, each in contents.items()]
    return {
        "key": key,
        "description": f"The {key}",
        "contents": held,
        "unit_price": price,
        **changes,
    }


def book_of(*parts: Document, **changes: Any) -> PriceBook:
    return price_book_from_document(
        {"name": "Shop", "currency": "EUR", "parts": list(parts), **changes}
    )


def need(reference: str, quantity: str, circuit: str = "", unit: str = "EA") -> Requirement:
    return Requirement(
        "equipment", {"reference": reference}, Decimal(quantity), unit, "why", "rule", circuit
    )


def billed(book: PriceBook, *needs: Requirement, options: PricingOptions | None = None) -> Bill:
    return bill_of_materials(needs, [], book, options or PricingOptions())


def needed(line: Line) -> list[tuple[str, Decimal]]:
    return [(entry.circuit, entry.quantity) for entry in line.needs]


PACK = {"quantity": "100", "price": "6.00"}


def test_a_pack_stands_on_a_line_of_its_own_behind_the_loose_units() -> None:
    book = book_of(part("TIE", "0.10", packs=[PACK], cost="0.04", stock="250"), part("END", "1"))
    loose, pack, end = billed(book, need("END", "1"), need("TIE", "150", "feed")).lines
    assert (loose.key, loose.quantity, loose.unit, str(loose.total)) == ("TIE", 50, "EA", "5.00")
    assert (pack.key, pack.quantity, pack.unit, str(pack.total)) == ("TIE", 1, "EA", "6.00")
    assert end.key == "END"
    assert (loose.description, pack.description) == ("The TIE", "The TIE, pack of 100")
    assert (loose.note, pack.note) == ("", "cheaper in a pack of 100 EA")
    # The need stands on the first line that brings its part.
    assert (needed(loose), needed(pack)) == ([("feed", Decimal(150))], [])
    # 250 units hold two whole packs; 100 units at 0.04.
    assert (loose.stock, pack.stock) == (250, 2)
    assert (str(loose.cost), str(pack.cost)) == ("2.00", "4.00")


@pytest.mark.parametrize(
    ("costs", "expected"),
    [
        ({}, None),
        ({"cost": "0.04"}, "4.00"),
        ({"packs": [{**PACK, "cost": "3.50"}]}, "3.50"),
        ({"cost": "0.04", "packs": [{**PACK, "cost": "3.50"}]}, "3.50"),
    ],
)
def test_a_pack_costs_what_the_book_says_or_as_much_as_its_units(
    costs: Document, expected: str | None
) -> None:
    (line,) = billed(
        book_of(part("TIE", "0.10", **{"packs": [PACK], **costs})), need("TIE", "90")
    ).lines
    assert line.description == "The TIE, pack of 100"
    assert (None if line.cost is None else str(line.cost)) == expected
    assert line.stock is None
    assert line.in_stock is None


@pytest.mark.parametrize(
    ("quantity", "price", "note"),
    [
        ("9", "0.10", ""),
        ("10", "0.05", "price from 10 EA up"),
        ("19", "0.05", "price from 10 EA up"),
        ("20", "0.049", "price from 20 EA up"),
    ],
)
def test_a_price_break_is_named_on_the_line(quantity: str, price: str, note: str) -> None:
    # 9 at 0.10 are 0.90 and 10 at 0.095 would be 0.95; the breaks below never make more cheaper.
    breaks = [
        {"from_quantity": "10", "unit_price": "0.05"},
        {"from_quantity": "20", "unit_price": "0.049"},
    ]
    if quantity == "9":
        breaks = [{"from_quantity": "10", "unit_price": "0.095"}]
    (line,) = billed(book_of(part("TIE", "0.10", price_breaks=breaks)), need("TIE", quantity)).lines
    assert (line.quantity, line.unit_price) == (Decimal(quantity), Decimal(price))
    assert line.note == note
    assert line.reason == (f"{note}; why" if note else "why")


def test_kits_stand_last_and_hold_the_needs_of_their_parts() -> None:
    book = book_of(
        part("A", "10"),
        part("B", "3"),
        part("C", "5"),
        part("D", "7"),
        kits=[
            kit("K1", "20", {"A": "2", "B": "1"}, stock="3", cost="9"),
            kit("K2", "6", {"D": "1"}),
        ],
    )
    # Two of K1 are 40 where four A and two B are 46; C has no kit.
    bill = billed(
        book, need("D", "1"), need("A", "4", "one"), need("B", "2", "two"), need("C", "1")
    )
    assert [line.key for line in bill.lines] == ["C", "K1", "K2"]
    first = bill.lines[1]
    assert (first.kind, first.unit, first.unit_word, first.quantity) == ("kit", "SET", "set", 2)
    assert (str(first.total), str(first.cost), first.stock) == ("40.00", "18.00", 3)
    assert needed(first) == [("one", Decimal(4)), ("two", Decimal(2))]
    assert first.reason == "cheaper than its pieces; holds 2 x A, 1 x B; one, two (each): why"


def test_what_is_not_bought_has_no_line() -> None:
    book = book_of(
        part("A", "10", packs=[{"quantity": "5", "price": "49"}]),
        part("B", "10"),
        kits=[kit("DEAR", "19", {"A": "1", "B": "1"}), kit("CHEAP", "5", {"A": "1", "B": "1"})],
    )
    (line,) = billed(book, need("A", "1"), need("B", "1"), need("B", "0")).lines
    assert (line.key, line.quantity) == ("CHEAP", 1)
    assert [entry.quantity for entry in line.needs] == [1, 1, 0]


def test_lines_follow_the_book_whatever_the_order_of_the_needs() -> None:
    book = book_of(part("C", "1"), part("A", "1"), part("B", "1"))
    bill = billed(book, need("B", "1"), need("A", "1"), need("C", "1"))
    assert [line.key for line in bill.lines] == ["C", "A", "B"]


def test_a_need_of_nothing_has_a_line_of_nothing() -> None:
    book = book_of(part("TIE", "0.10", packs=[PACK]), part("PLAIN", "1"))
    bill = billed(book, need("TIE", "0", "feed"), need("PLAIN", "0", "feed"))
    assert [(line.key, line.quantity, needed(line)) for line in bill.lines] == [
        ("TIE", Decimal(0), [("feed", Decimal(0))]),
        ("PLAIN", Decimal(0), [("feed", Decimal(0))]),
    ]
    assert str(bill.totals.total) == "0.00"


def test_a_need_of_nothing_joins_the_line_that_another_need_makes() -> None:
    book = book_of(part("TIE", "0.10", packs=[PACK]))
    (loose,) = billed(book, need("TIE", "0", "one"), need("TIE", "3", "two")).lines
    assert needed(loose) == [("one", Decimal(0)), ("two", Decimal(3))]
    (pack,) = billed(book, need("TIE", "0", "one"), need("TIE", "90", "two")).lines
    assert pack.description == "The TIE, pack of 100"
    assert needed(pack) == [("one", Decimal(0)), ("two", Decimal(90))]


def test_what_no_part_serves_is_summed_where_it_is_the_same() -> None:
    loom = Requirement(
        "split_loom", {"bundle_diameter_mm": Decimal("8.50")}, Decimal(2), "MTR", "why", "rule", ""
    )
    bill = billed(
        book_of(),
        loom,
        need("Z", "1", "one"),
        need("A", "2"),
        need("Z", "3", "two"),
        need("Z", "1", unit="SET"),
    )
    assert [(entry.kind, entry.description, entry.quantity) for entry in bill.unpriced] == [
        ("equipment", "equipment: reference A", Decimal(2)),
        ("equipment", "equipment: reference Z", Decimal(4)),
        ("equipment", "equipment: reference Z", Decimal(1)),
        ("split_loom", "split loom: bundle diameter 8.5 mm", Decimal(2)),
    ]
    assert [entry.unit for entry in bill.unpriced] == ["EA", "EA", "SET", "MTR"]
    assert [entry.unit_word for entry in bill.unpriced] == ["each", "each", "set", "metre"]
    assert bill.unpriced[1].reason == "one, two (each): why"


def lead(unit: str, price: str, increment: str) -> Document:
    return {
        **part("LEAD", price, unit=unit, sale_increment=increment),
        "kind": "remote_lead",
        "attributes": {"cross_section_mm2": 0.75},
    }


@pytest.mark.parametrize(
    ("unit", "sold_in", "quantity", "expected"),
    [
        ("MTR", "MTR", "2", "2"),
        # 0.3048 m is one international foot; 1 m is 3.28083989... ft, up at the sixth decimal.
        ("MTR", "FOT", "1", "3.280840"),
        ("MTR", "FOT", "0.6096", "2"),
        ("FOT", "MTR", "10", "3.048"),
        # Pieces of a length are pieces; nothing is known of how long one is.
        ("EA", "FOT", "2", "2"),
    ],
)
def test_metres_and_feet_are_one_another_and_nothing_else(
    unit: str, sold_in: str, quantity: str, expected: str
) -> None:
    wanted = Requirement(
        "remote_lead",
        {"cross_section_mm2": Decimal("0.75")},
        Decimal(quantity),
        unit,
        "why",
        "rule",
        "",
    )
    (line,) = billed(book_of(lead(sold_in, "1", "0.000001")), wanted).lines
    assert line.quantity == Decimal(expected)
    assert [entry.quantity for entry in line.needs] == [Decimal(expected)]


@pytest.mark.parametrize(("stock", "enough"), [("2.9", False), ("3", True), ("4", True)])
def test_stock_covers_a_quantity_that_is_no_greater(stock: str, enough: bool) -> None:
    bill = billed(book_of(part("A", "1", stock=stock)), need("A", "3"))
    (line,) = bill.lines
    assert line.in_stock is enough
    # One part at one price leaves nothing to choose.
    assert bill.covers == ()


def test_lines_are_rounded_as_the_book_says() -> None:
    # 1.5 x 0.01 is 0.015, half a cent over.
    for mode, total in (("half_up", "0.02"), ("down", "0.01")):
        book = book_of(
            part("A", "0.01", sale_increment="0.5", cost="0.01"), rounding={"mode": mode}
        )
        (line,) = billed(book, need("A", "1.5")).lines
        assert (str(line.total), str(line.cost)) == (total, total)
        assert line.quantity == Decimal("1.5")


LAY = {
    "key": "lay",
    "description": "Lay",
    "charged_per": "metre",
    "standard_hours": "0.10",
    "hourly_rate": "60",
}


def worked(
    *wanted: LabourRequirement, difficulty: str | None = None, **changes: Any
) -> tuple[Line, ...]:
    factor = {"key": "tight", "description": "tight cabin", "factor": "1.50"}
    book = book_of(difficulty=[factor], labour=[{**LAY, **changes}], labour_minimum="30")
    return bill_of_materials([], wanted, book, difficulty=difficulty).lines


def work(pieces: int, metres: str, circuit: str = "feed") -> LabourRequirement:
    return LabourRequirement("lay", pieces, Decimal(metres), "laid", "rule", circuit)


@pytest.mark.parametrize(
    ("charged_per", "difficulty", "hours", "reason"),
    [
        ("job", None, "0.10", "feed: 0.1 h for the job, laid"),
        ("piece", None, "0.40", "feed: 4 x 0.1 h, laid"),
        ("metre", None, "0.25", "feed: 2.5 m x 0.1 h, laid"),
        ("job", "tight", "0.15", "feed: 0.1 h for the job x 1.5 (tight cabin), laid"),
        ("piece", "tight", "0.60", "feed: 4 x 0.1 h x 1.5 (tight cabin), laid"),
        # 0.375 h, up to the next 0.05 h.
        ("metre", "tight", "0.40", "feed: 2.5 m x 0.1 h x 1.5 (tight cabin), laid"),
    ],
)
def test_hours_are_standard_hours_by_count_and_difficulty(
    charged_per: str, difficulty: str | None, hours: str, reason: str
) -> None:
    line = worked(work(4, "2.50"), difficulty=difficulty, charged_per=charged_per)[0]
    assert (line.quantity, line.reason) == (Decimal(hours), reason)
    assert line.unit_price == 60
    assert line.list_total.amount == 60 * Decimal(hours)
    assert line.cost is None


def test_work_costs_its_hours() -> None:
    line = worked(work(5, "0"), charged_per="piece", hourly_cost="31")[0]
    # 0.5 h at 31.
    assert str(line.cost) == "15.50"


@pytest.mark.parametrize(
    ("pieces", "totals"),
    [(4, ["24.00", "6.00"]), (5, ["30.00"]), (6, ["36.00"])],
)
def test_the_least_charge_adds_what_lacks_and_nothing_more(pieces: int, totals: list[str]) -> None:
    lines = worked(work(pieces, "0"), charged_per="piece")
    assert [str(line.total) for line in lines] == totals
    for line in lines[1:]:
        assert (line.quantity, line.unit_word, line.unit_price) == (1, "one", Decimal(6))
        assert needed(line) == [("", Decimal(1))]
        assert line.reason == "the labour of a job is charged with 30.00 at least"
        assert line.cost is not None
        assert line.cost.amount == 0


def test_the_least_charge_is_met_to_the_last_cent() -> None:
    # 0.5 h at 59.99 are 29.995, rounded up 30.00; at 59.97 they are 29.985, rounded up 29.99.
    charged = [
        [str(line.total) for line in worked(work(5, "0"), charged_per="piece", hourly_rate=rate)]
        for rate in ("59.99", "59.97")
    ]
    assert charged == [["30.00"], ["29.99", "0.01"]]


def test_the_difference_to_the_least_charge_is_taxed_as_the_first_work() -> None:
    book = book_of(
        tax_categories=[{"key": "standard", "taxes": []}, {"key": "other", "taxes": []}],
        labour=[LAY, {**LAY, "key": "test", "tax_category": "other"}],
        labour_minimum="100",
    )
    wanted = [LabourRequirement(key, 1, Decimal(1), "why", "rule", "") for key in ("test", "lay")]
    lines = bill_of_materials([], wanted, book).lines
    assert [line.tax_category for line in lines] == ["standard", "other", "standard"]


def test_work_that_the_book_lacks_is_counted_in_pieces() -> None:
    wanted = [
        LabourRequirement("weld", 2, Decimal(0), "laid", "rule", "one"),
        LabourRequirement("bend", 1, Decimal(0), "laid", "rule", "one"),
        LabourRequirement("weld", 3, Decimal(0), "laid", "rule", "two"),
    ]
    bill = bill_of_materials([], wanted, book_of())
    assert [(entry.description, entry.quantity) for entry in bill.unpriced] == [
        ("labour operation: bend", Decimal(1)),
        ("labour operation: weld", Decimal(5)),
    ]
    assert [need.quantity for need in bill.unpriced[1].needs] == [2, 3]
    assert bill.lines == ()


def marker(key: str, smallest: str, price: str, **changes: Any) -> Document:
    sizes = {"greatest_cable_mm": 6, "smallest_cable_mm": float(smallest)}
    return {**part(key, price, **changes), "kind": "cable_marker", "attributes": sizes}


def marked(cable_mm: str, quantity: str, circuit: str) -> Requirement:
    attributes = {"cable_diameter_mm": Decimal(cable_mm)}
    return Requirement("cable_marker", attributes, Decimal(quantity), "EA", "why", "rule", circuit)


def test_a_part_that_serves_one_need_alone_still_competes_for_another() -> None:
    # Only A marks 3 mm and is sold by five, so that 5 mm is marked with what is left of them.
    book = book_of(marker("A", "2", "1", sale_increment="5"), marker("B", "4", "0.80"))
    thin, thick = marked("3", "2", "thin"), marked("5", "1", "thick")
    bills = Bills(book, PricingOptions(), None)
    (alone,) = bills.of([thin], []).lines
    assert (alone.key, needed(alone)) == ("A", [("thin", Decimal(2))])
    bill = bills.of([thin, thick], [])
    (line,) = bill.lines
    assert (line.key, line.quantity) == ("A", 5)
    assert needed(line) == [("thin", Decimal(2)), ("thick", Decimal(1))]
    assert len(bill.covers) == 1
    (other,) = bills.of([thick], []).lines
    assert (other.key, needed(other)) == ("B", [("thick", Decimal(1))])


def test_the_same_attributes_are_served_by_the_same_part_whatever_else_differs() -> None:
    book = book_of(marker("A", "2", "1"), marker("B", "4", "0.80"))
    lines = billed(
        book, marked("3", "2", "one"), marked("3.0", "1", "two"), marked("6.5", "1", "three")
    ).lines
    assert [(line.key, needed(line)) for line in lines] == [
        ("A", [("one", Decimal(2)), ("two", Decimal(1))])
    ]


def test_a_line_is_kept_for_the_same_needs_and_not_for_others_of_the_part() -> None:
    bills = Bills(book_of(part("A", "1")), PricingOptions(), None)
    one, other = need("A", "1", "one"), need("A", "2", "other")
    (first,) = bills.of([one], []).lines
    (both,) = bills.of([one, other], []).lines
    (again,) = bills.of([one], []).lines
    assert again is first
    assert (first.quantity, both.quantity) == (1, 3)


def test_the_next_cheapest_plan_is_told_unless_it_is_not_asked_for() -> None:
    book = book_of(part("A", "2"), part("B", "1"), kits=[kit("AB", "2.50", {"A": "1", "B": "1"})])
    needs = [need("A", "1"), need("B", "1")]
    told = PartPricing(book).lines(needs)
    (cover,) = told.covers
    # Two and one apart, where the kit costs two and a half.
    assert cover.runner_up is not None
    assert (cover.plan.price, cover.runner_up.price) == (Decimal("2.50"), 3)
    not_told = PartPricing(book, has_runners_up=False).lines(needs)
    assert [cover.runner_up for cover in not_told.covers] == [None]
    assert not_told.lines == told.lines
