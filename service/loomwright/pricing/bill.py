"""From requirements and a price book to a priced bill of materials."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from loomwright.engineering.errors import EngineeringError
from loomwright.pricing.cover import ClusterCover
from loomwright.pricing.labour_lines import labour_lines
from loomwright.pricing.lines import Line, Unpriced
from loomwright.pricing.part_lines import part_lines
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.pricing_options import PricingOptions
from loomwright.pricing.requirements import LabourRequirement, Requirement
from loomwright.pricing.totals import Margin, Totals, margin_of, priced_lines, totals_of

NO_OPTIONS = PricingOptions()


@dataclass(frozen=True, slots=True)
class Bill:
    """A priced bill of materials.

    ``valid_until`` is the last day on which every price of it holds, none where nothing limits it.
    ``shop_tax_codes`` are the shop's own by tax category. ``covers`` say how the articles were
    chosen. ``margin`` is for the shop, never for its customer.
    """

    price_book: str
    price_book_digest: str
    currency: str
    prices_include_tax: bool
    as_of: date | None
    valid_until: date | None
    package: str | None
    lines: tuple[Line, ...]
    unpriced: tuple[Unpriced, ...]
    totals: Totals
    margin: Margin
    shop_tax_codes: Mapping[str, str]
    covers: tuple[ClusterCover, ...]


def bill_of_materials(
    requirements: Sequence[Requirement],
    labour: Sequence[LabourRequirement],
    book: PriceBook,
    options: PricingOptions = NO_OPTIONS,
    difficulty: str | None = None,
) -> Bill:
    """Return the priced lines that serve all requirements.

    Amounts are rounded to the minor unit at the line, at its discount and at the tax, nowhere else;
    what is off the whole bill is shared over its lines to the last minor unit.

    Parameters
    ----------
    requirements
        Parts needed; the order of needs within a line follows it.
    labour
        Operations needed.
    book
        Price book.
    options
        Day, discounts, package price, deposit.
    difficulty
        Key of a difficulty factor of the book.

    Returns
    -------
    Bill
        Lines by kind and, within a kind, in the order of the book; what could not be priced; taxes
        and totals.

    Raises
    ------
    EngineeringError
        ``price_book_not_valid`` on the day; ``unknown_difficulty``; ``discount_above_total``,
        ``package_without_lines``, ``deposit_above_total``.
    CoverError
        The solver of the cheapest articles gave no proof.
    """
    _refuse_invalid_day(book, options.as_of)
    if difficulty is not None and difficulty not in book.difficulty:
        raise EngineeringError(
            "unknown_difficulty",
            f"The price book has no difficulty factor {difficulty!r}; it has: "
            f"{', '.join(book.difficulty) or 'none'}.",
            field="job/vehicle/difficulty",
        )
    holding = book.on_day(options.as_of)
    parts = part_lines(requirements, holding)
    work, missing_work = labour_lines(labour, holding, difficulty)
    lines = priced_lines((*parts.lines, *work), holding, options)
    totals = totals_of(lines, holding, options)
    return Bill(
        price_book=book.name,
        price_book_digest=book.digest,
        currency=book.currency,
        prices_include_tax=book.prices_include_tax,
        as_of=options.as_of,
        valid_until=_valid_until(lines, holding, options.as_of),
        package=None if options.package is None else options.package.name,
        lines=lines,
        unpriced=(*parts.unpriced, *missing_work),
        totals=totals,
        margin=margin_of(lines, totals),
        shop_tax_codes=book.shop_tax_codes,
        covers=parts.covers,
    )


def _refuse_invalid_day(book: PriceBook, day: date | None) -> None:
    if not book.validity.holds_on(day):
        first, last = book.validity.first or "the beginning", book.validity.last or "further notice"
        raise EngineeringError(
            "price_book_not_valid",
            f"The price book {book.name!r} holds from {first} until {last}, not on {day}.",
            field="pricing/as_of",
        )


def _valid_until(lines: Sequence[Line], book: PriceBook, as_of: date | None) -> date | None:
    """Return the last day of the book, of every article used, and of the quote itself."""
    ends = [book.validity.last, *(book.last_days.get(line.key) for line in lines)]
    if as_of is not None and book.quote_days is not None:
        ends.append(as_of + timedelta(days=book.quote_days))
    return min((end for end in ends if end is not None), default=None)
