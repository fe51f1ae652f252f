"""The members of the pricing part of a request, and their reading."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from loomwright.pricing.faults import DocumentError, Fault
from loomwright.pricing.kinds import KINDS
from loomwright.pricing.members import (
    Choice,
    DateText,
    DecimalText,
    Member,
    Record,
    Records,
    Text,
    Truth,
)
from loomwright.pricing.minor_units import Units, percent_of
from loomwright.pricing.money import (
    Money,
    minor_unit_digits,
    money_from_minor_units,
    rounded_money,
)
from loomwright.pricing.reading import ObjectReader

LABOUR = "labour"
_HUNDRED = Decimal(100)
_LINE_DISCOUNT: dict[str, Member] = {
    "kind": Choice((*KINDS, LABOUR), required=False, about="All lines of a kind; instead of key."),
    "key": Text(about="The line with this key; instead of kind.", required=False),
    "percent": DecimalText(Decimal(0), _HUNDRED, about="Off the line [%]."),
}
_SHARE: dict[str, Member] = {
    "percent": DecimalText(Decimal(0), _HUNDRED, required=False, about="Instead of amount [%]."),
    "amount": DecimalText(required=False, about="In the currency of the book."),
}
_PACKAGE: dict[str, Member] = {
    "name": Text(about="Name of the package, as it is printed."),
    "price": DecimalText(about="Price of all lines together, on the price basis of the book."),
}
_COST = "show_cost"
PRICING: dict[str, Member] = {
    "as_of": DateText(
        required=False,
        about="Day of the quote. Prices that do not hold on it are left out; without it no "
        "validity is judged, and no clock is ever read.",
    ),
    "line_discounts": Records(
        "LineDiscount", _LINE_DISCOUNT, 0, 1000, about="A key outweighs a kind."
    ),
    "document_discount": Record(
        "DocumentDiscount",
        _SHARE,
        required=False,
        about="Off the sum of the lines, shared over them; not with package.",
    ),
    "package": Record(
        "PackagePrice",
        _PACKAGE,
        required=False,
        about="One price for the whole bill; the difference is shared over the lines.",
    ),
    "deposit": Record("Deposit", _SHARE, required=False, about="Due at once, off the total."),
    _COST: Truth(default=False, about="Add cost and margin; for a key that may see them only."),
}
PRICING_RECORD = Record(
    "PricingOptions", PRICING, required=False, about="Day, discounts, package price, deposit."
)
# Of the rows of a batch, none of which tells cost.
BATCH_PRICING_RECORD = replace(
    PRICING_RECORD,
    name="BatchPricingOptions",
    members={name: member for name, member in PRICING.items() if name != _COST},
)


@dataclass(frozen=True, slots=True)
class AmountOrShare:
    """A stated amount, or a percentage of another; one of both is none."""

    percent: Decimal | None
    amount: Money | None

    def of(self, base: Money, rounding: str) -> Money:
        """Return the amount, or the share of a base rounded to the minor unit."""
        if self.amount is not None:
            return self.amount
        units = self.of_units(base.minor_units, rounding)
        return money_from_minor_units(int(units), base.currency)

    def of_units(self, base: Units, rounding: str) -> Units:
        """Return the amount, or the share of a base, in minor units of one bill or of many."""
        if self.amount is not None:
            # Of each bill of a column.
            return base * 0 + self.amount.minor_units
        assert self.percent is not None
        return percent_of(base, self.percent, rounding)


@dataclass(frozen=True, slots=True)
class Package:
    """One price for a whole bill."""

    name: str
    price: Money


@dataclass(frozen=True, slots=True)
class PricingOptions:
    """How a bill is priced beyond the book.

    ``line_discounts`` are percentages [%] by key of the line or by kind; a key outweighs a kind.
    """

    as_of: date | None = None
    discounts_by_key: Mapping[str, Decimal] | None = None
    discounts_by_kind: Mapping[str, Decimal] | None = None
    document_discount: AmountOrShare | None = None
    package: Package | None = None
    deposit: AmountOrShare | None = None
    show_cost: bool = False

    @property
    def changes_lines(self) -> bool:
        """Whether a line may come to anything else than its list price."""
        return bool(
            self.discounts_by_key
            or self.discounts_by_kind
            or self.document_discount is not None
            or self.package is not None
        )

    def discount_percent(self, kind: str, key: str) -> Decimal:
        """Return the discount on a line [%]."""
        by_kind = (self.discounts_by_kind or {}).get(kind, Decimal(0))
        return (self.discounts_by_key or {}).get(key, by_kind)


def pricing_from_document(document: object, currency: str) -> PricingOptions:
    """Return the pricing options that a plain JSON document states.

    Parameters
    ----------
    document
        The options as plain JSON values.
    currency
        Of the price book; amounts have its decimals.

    Returns
    -------
    PricingOptions
        The checked options.

    Raises
    ------
    DocumentError
        Anything is wrong; ``faults`` lists all of it by JSON pointer.
    """
    return _checked(document, currency, [])


def batch_pricing_from_document(document: object, currency: str) -> PricingOptions:
    """Return the pricing options of a batch, which has no cost to show.

    Parameters
    ----------
    document
        The options as plain JSON values.
    currency
        Of the price book; amounts have its decimals.

    Returns
    -------
    PricingOptions
        The checked options.

    Raises
    ------
    DocumentError
        Anything is wrong, ``show_cost`` among it; ``faults`` lists all of it by JSON pointer.
    """
    faults: list[Fault] = []
    if isinstance(document, Mapping) and _COST in document:
        document = {name: value for name, value in document.items() if name != _COST}
        message = "Cost is in no row; leave this out, or ask build-bill-of-materials for one pair."
        faults.append(Fault(f"/{_COST}", message))
    return _checked(document, currency, faults)


def _checked(document: object, currency: str, faults: list[Fault]) -> PricingOptions:
    """Return the options of a document, of which some faults may be known already."""
    options = _pricing(ObjectReader(document, "", faults, PRICING), currency)
    if faults:
        raise DocumentError("pricing", faults)
    return options


def _pricing(reader: ObjectReader, currency: str) -> PricingOptions:
    if reader.has("document_discount") and reader.has("package"):
        reader.fault("package", "State either document_discount or package, not both.")
    by_key: dict[str, Decimal] = {}
    by_kind: dict[str, Decimal] = {}
    for item in reader.objects("line_discounts"):
        _read_discount(item, by_key, by_kind)
    return PricingOptions(
        as_of=reader.date("as_of"),
        discounts_by_key=by_key,
        discounts_by_kind=by_kind,
        document_discount=_amount_or_share(reader, "document_discount", currency),
        package=_package(reader, currency),
        deposit=_amount_or_share(reader, "deposit", currency),
        show_cost=reader.truth(_COST),
    )


def _read_discount(
    reader: ObjectReader, by_key: dict[str, Decimal], by_kind: dict[str, Decimal]
) -> None:
    percent = reader.decimal("percent")
    if reader.has("key") == reader.has("kind"):
        reader.fault("key", "State either key or kind, not both and not neither.")
    for name, found in (("key", by_key), ("kind", by_kind)):
        if reader.has(name):
            wanted = reader.text(name) if name == "key" else reader.choice(name)
            if wanted in found:
                reader.fault(name, "It has a discount already.")
            found[wanted] = percent


def _on_grid(reader: ObjectReader, name: str, stated: Decimal, currency: str) -> Money:
    money = rounded_money(stated, currency)
    if money.amount != stated:
        digits = minor_unit_digits(currency)
        reader.fault(name, f"An amount in {currency} has at most {digits} decimals.")
    return money


def _amount_or_share(reader: ObjectReader, name: str, currency: str) -> AmountOrShare | None:
    if not reader.has(name):
        return None
    own = reader.object(name)
    if own.has("percent") == own.has("amount"):
        own.fault("percent", "State either percent or amount, not both and not neither.")
    percent, stated = own.optional_decimal("percent"), own.optional_decimal("amount")
    return AmountOrShare(
        percent, None if stated is None else _on_grid(own, "amount", stated, currency)
    )


def _package(reader: ObjectReader, currency: str) -> Package | None:
    if not reader.has("package"):
        return None
    own = reader.object("package")
    return Package(own.text("name"), _on_grid(own, "price", own.decimal("price"), currency))
