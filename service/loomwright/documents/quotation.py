"""A bill as a quotation of the Universal Business Language (OASIS UBL).

The elements are those of UBL 2.1, in its order; minor versions of UBL only add optional ones, so
the document is valid under every later 2.x schema as well. Amounts are without taxes, as UBL has
them: where the prices of the book include taxes, each line is stated by its part of the net total.
"""

import hashlib
import re
import uuid
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any
from xml.etree import ElementTree  # writes, never parses  # nosec B405

from loomwright.documents.paperwork import Paperwork, PaperworkError, require_complete
from loomwright.pricing.faults import Fault
from loomwright.pricing.money import rounded_money, tax_within

VERSION = "2.1"
_FAMILY = "urn:oasis:names:specification:ubl:schema:xsd"
_ROOT = f"{_FAMILY}:Quotation-2"
# Prefixes are written out: those that the library registers hold for the whole process, and any
# other module may register the same one for its own documents, as one that writes SVG does.
_NAMESPACES = {
    "xmlns": _ROOT,
    "xmlns:cac": f"{_FAMILY}:CommonAggregateComponents-2",
    "xmlns:cbc": f"{_FAMILY}:CommonBasicComponents-2",
}
# XML 1.0, production 2: what texts of a request may hold and a document may not.
_NOT_IN_XML = re.compile("[\ufffe\uffff]")
_PREFIX_OF_UUID = "urn:loomwright:quotation:"


def ubl_quotation(answer: Mapping[str, Any], paperwork: Paperwork) -> bytes:
    """Return a complete bill as a UBL quotation.

    Parameters
    ----------
    answer
        Answer document of a priced job, as plain JSON values.
    paperwork
        Seller, and customer and number where there are any.

    Returns
    -------
    bytes
        XML in UTF-8. The same answer and paperwork give the same bytes.

    Raises
    ------
    PaperworkError
        ``bill_not_complete``; ``paperwork_missing`` without a seller or the day of the quote.

    References
    ----------
    OASIS, Universal Business Language Version 2.1 (2013), schema UBL-Quotation-2.1.
    """
    require_complete(answer)
    _require(answer, paperwork)
    # The identifier is made of what the document says, so that it is the same for the same.
    digest = hashlib.sha256(_document(answer, paperwork, "")).hexdigest()
    return _document(
        answer, paperwork, str(uuid.uuid5(uuid.NAMESPACE_URL, _PREFIX_OF_UUID + digest))
    )


def _require(answer: Mapping[str, Any], paperwork: Paperwork) -> None:
    faults = []
    if paperwork.seller is None:
        faults.append(Fault("/paperwork/seller", "A quotation names its seller; give it."))
    if answer["as_of"] is None:
        faults.append(Fault("/pricing/as_of", "A quotation bears its day; give it."))
    if faults:
        raise PaperworkError("paperwork_missing", faults)


class _Writer:
    """Writes elements below one parent, in the order of the calls."""

    def __init__(self, parent: ElementTree.Element, currency: str) -> None:
        self.parent = parent
        self.currency = currency

    def basic(self, name: str, text: str, **attributes: str) -> None:
        """Add an element that holds a text."""
        element = ElementTree.SubElement(self.parent, f"cbc:{name}", attrib=attributes)
        element.text = _NOT_IN_XML.sub("\ufffd", text)

    def amount(self, name: str, text: str) -> None:
        """Add an amount in the currency of the bill."""
        self.basic(name, text, currencyID=self.currency)

    def below(self, name: str) -> "_Writer":
        """Add an element that holds others, and return its writer."""
        element = ElementTree.SubElement(self.parent, f"cac:{name}")
        return _Writer(element, self.currency)


def _document(answer: Mapping[str, Any], paperwork: Paperwork, identifier: str) -> bytes:
    root = ElementTree.Element("Quotation", _NAMESPACES)
    quotation = _Writer(root, answer["currency"])
    quotation.basic("UBLVersionID", VERSION)
    if paperwork.number is not None:
        quotation.basic("ID", paperwork.number)
    if identifier:
        quotation.basic("UUID", identifier)
    quotation.basic("IssueDate", answer["as_of"])
    for note in _notes(answer):
        quotation.basic("Note", note)
    quotation.basic("PricingCurrencyCode", answer["currency"])
    quotation.basic("LineCountNumeric", str(len(answer["lines"])))
    validity = quotation.below("ValidityPeriod")
    validity.basic("StartDate", answer["as_of"])
    if answer["valid_until"] is not None:
        validity.basic("EndDate", answer["valid_until"])
    assert paperwork.seller is not None
    _party(quotation.below("SellerSupplierParty"), paperwork.seller)
    if paperwork.customer is not None:
        _party(quotation.below("BuyerCustomerParty"), paperwork.customer)
    for tax in answer["taxes"]:
        _tax_total(quotation.below("TaxTotal"), tax)
    _monetary_total(quotation.below("QuotedMonetaryTotal"), answer)
    for line in answer["lines"]:
        _line(quotation.below("QuotationLine"), line, answer)
    return bytes(ElementTree.tostring(root, encoding="UTF-8", xml_declaration=True))


def _notes(answer: Mapping[str, Any]) -> list[str]:
    notes = [answer["title"]]
    if answer["package"] is not None:
        notes.append(f"Package: {answer['package']}")
    if answer["deposit"] is not None:
        notes.append(
            f"Deposit {answer['deposit']} {answer['currency']}, balance {answer['balance_due']} "
            f"{answer['currency']}"
        )
    book = answer["price_book"]
    return [*notes, f"Prices: {book['name']}, SHA-256 {book['digest']}"]


def _party(supplier_or_customer: _Writer, name: str) -> None:
    supplier_or_customer.below("Party").below("PartyName").basic("Name", name)


def _tax_total(total: _Writer, tax: Mapping[str, Any]) -> None:
    total.amount("TaxAmount", tax["amount"])
    subtotal = total.below("TaxSubtotal")
    subtotal.amount("TaxableAmount", tax["base"])
    subtotal.amount("TaxAmount", tax["amount"])
    _tax_category(subtotal.below("TaxCategory"), tax)


def _tax_category(category: _Writer, tax: Mapping[str, Any]) -> None:
    category.basic("ID", tax["key"])
    category.basic("Percent", tax["percent"])
    scheme = category.below("TaxScheme")
    scheme.basic("ID", tax["key"])
    scheme.basic("Name", tax["name"])


def _monetary_total(total: _Writer, answer: Mapping[str, Any]) -> None:
    total.amount("LineExtensionAmount", answer["net_total"])
    total.amount("TaxExclusiveAmount", answer["net_total"])
    total.amount("TaxInclusiveAmount", answer["total"])
    total.amount("PayableAmount", answer["total"])


def _line(quoted: _Writer, line: Mapping[str, Any], answer: Mapping[str, Any]) -> None:
    taxes = [tax for tax in answer["taxes"] if line["tax_category"] in tax["tax_categories"]]
    list_net = line["list_total"]
    if answer["prices_include_tax"]:
        list_net = _without(list_net, answer["currency"], taxes)
    number = str(line["number"])
    quoted.basic("ID", number)
    quoted.basic("Quantity", line["quantity"], unitCode=line["unit"])
    quoted.amount("LineExtensionAmount", line["net_total"])
    item_line = quoted.below("LineItem")
    item_line.basic("ID", number)
    if line["reason"]:
        item_line.basic("Note", line["reason"])
    item_line.basic("Quantity", line["quantity"], unitCode=line["unit"])
    item_line.amount("LineExtensionAmount", line["net_total"])
    _reduction(item_line, list_net, line["net_total"])
    price = item_line.below("Price")
    if answer["prices_include_tax"]:
        # A net unit price need not end as a decimal; the net price of the quantity does.
        price.amount("PriceAmount", list_net)
        price.basic("BaseQuantity", line["quantity"], unitCode=line["unit"])
    else:
        price.amount("PriceAmount", line["unit_price"])
        price.basic("BaseQuantity", "1", unitCode=line["unit"])
    item = item_line.below("Item")
    item.basic("Name", line["description"])
    number = line["shop_part_number"] or line["key"]
    item.below("SellersItemIdentification").basic("ID", number)
    for tax in taxes:
        _tax_category(item.below("ClassifiedTaxCategory"), tax)


def _reduction(line: _Writer, list_net: str, net: str) -> None:
    """State what is off a line, or on it by a package price above the sum of its lines."""
    off = Decimal(list_net) - Decimal(net)
    if off:
        entry = line.below("AllowanceCharge")
        entry.basic("ChargeIndicator", "true" if off < 0 else "false")
        entry.basic("AllowanceChargeReason", "Discounts and share of a package price")
        entry.amount("Amount", f"{abs(off):f}")
        entry.amount("BaseAmount", list_net)


def _without(amount: str, currency: str, taxes: Sequence[Mapping[str, Any]]) -> str:
    """Return an amount without the taxes that it includes."""
    gross = rounded_money(Decimal(amount), currency)
    percent = sum((Decimal(tax["percent"]) for tax in taxes), Decimal(0))
    return str(gross - tax_within(gross, percent))
