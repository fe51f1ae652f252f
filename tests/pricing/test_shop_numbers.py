"""The shop's own part numbers and tax codes: read as they stand, and on the lines of a bill."""

from decimal import Decimal

from drawn_bills import VAT, Document, book_of
from loomwright.jobs.bill_answer import bill_document
from loomwright.pricing.bill import bill_of_materials
from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.requirements import LabourRequirement, Requirement

LABOUR = {
    "key": "lay",
    "description": "Lay",
    "charged_per": "job",
    "standard_hours": "1",
    "hourly_rate": "60",
    "tax_category": "work",
}


def book() -> Document:
    document = book_of(["10", "20", "30"], taxes=VAT)
    document["tax_categories"] = [
        {"key": "standard", "taxes": ["vat"], "shop_tax_code": "V20"},
        {"key": "work", "taxes": []},
    ]
    document["parts"][0]["shop_part_number"] = "00123"
    document["kits"] = [
        {
            "key": "K",
            "description": "Two of the third",
            "contents": [{"part": "P2", "quantity": "2"}],
            "unit_price": "40",
            "shop_part_number": "K-007",
        }
    ]
    document["labour"] = [LABOUR]
    return document


def test_numbers_are_read_as_they_stand() -> None:
    read = price_book_from_document(book())
    numbers = [part.shop_part_number for part in read.parts["equipment"]]
    assert numbers == ["00123", None, None]
    assert read.kits[0].shop_part_number == "K-007"
    assert read.shop_tax_codes == {"standard": "V20"}


def test_lines_carry_the_numbers_of_what_is_sold() -> None:
    needs = [
        Requirement("equipment", {"reference": f"part {index}"}, Decimal(each), "EA", "w", "r", "")
        for index, each in enumerate((1, 1, 2))
    ]
    labour = [LabourRequirement("lay", 1, Decimal(0), "why", "rule", "")]
    bill = bill_of_materials(needs, labour, price_book_from_document(book()))
    lines = bill_document(bill)["lines"]
    found = {line["key"]: (line["shop_part_number"], line["shop_tax_code"]) for line in lines}
    # Two of the third part cost 60 loose and 40 as the kit.
    assert found == {
        "P0": ("00123", "V20"),
        "P1": (None, "V20"),
        "K": ("K-007", "V20"),
        "lay": (None, None),
    }
