"""From requirements and a price book to a priced bill of materials."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from loomwright.engineering.errors import EngineeringError
from loomwright.pricing.cover import ClusterCover
from loomwright.pricing.labour_lines import labour_lines
from loomwright.pricing.lines import Line, Unpriced
from loomwright.pricing.part_lines import PartPricing
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.pricing_options import PricingOptions
from loomwright.pricing.requirements import LabourRequirement, Requirement
from loomwright.pricing.totals import Margin, Totals, margin_of, priced_lines, totals_of

NO_OPTIONS = PricingOptions()
# Lines for labour, and what is not priced.
Work = tuple[list[Line], list[Unpriced]]


@dataclass(frozen=True, slots=True)
class Bill:
    """A priced bill of materials.

    ``valid_until`` is the last day on which every price of it holds, none where nothing limits it.
    ``shop_tax_codes`` are the shop's own by tax category. ``covers`` say how articles
    that compete were chosen.
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
    shop_tax_codes: Mapping[str, str]
    covers: tuple[ClusterCover, ...]

    @property
    def margin(self) -> Margin:
        """What it leaves to the shop: for the shop, never for its customer."""
        return margin_of(self.lines, self.totals)


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
    return Bills(book, options, difficulty).of(requirements, labour)


class Bills:
    """Bills of one price book and of the same options, which may have much in common.

    Parameters
    ----------
    book
        Price book.
    options
        Day, discounts, package price, deposit.
    difficulty
        Key of a difficulty factor of the book.

    Raises
    ------
    EngineeringError
        ``price_book_not_valid`` on the day; ``unknown_difficulty``.
    """

    def __init__(self, book: PriceBook, options: PricingOptions, difficulty: str | None) -> None:
        _refuse_invalid_day(book, options.as_of)
        if difficulty is not None and difficulty not in book.difficulty:
            raise EngineeringError(
                "unknown_difficulty",
                f"The price book has no difficulty factor {difficulty!r}; it has: "
                f"{', '.join(book.difficulty) or 'none'}.",
                field="job/vehicle/difficulty",
            )
        self._options = options
        self._difficulty = difficulty
        self._holding = book.on_day(options.as_of)
        self._parts = PartPricing(self._holding)
        self._labour: list[tuple[Sequence[LabourRequirement], Work]] = []

    def of(self, requirements: Sequence[Requirement], labour: Sequence[LabourRequirement]) -> Bill:
        """Return the bill of what is needed, as ``bill_of_materials`` does.

        Parameters
        ----------
        requirements
            Parts needed; those that a bill before this one had too are best the same objects.
        labour
            Operations needed.

        Returns
        -------
        Bill
            The same as for these requirements alone.

        Raises
        ------
        EngineeringError
            ``discount_above_total``, ``package_without_lines``, ``deposit_above_total``.
        CoverError
            The solver of the cheapest articles gave no proof.
        """
        book, options = self._holding, self._options
        parts = self._parts.lines(requirements)
        work, missing_work = self._work(labour)
        lines = priced_lines((*parts.lines, *work), book, options)
        return Bill(
            price_book=book.name,
            price_book_digest=book.digest,
            currency=book.currency,
            prices_include_tax=book.prices_include_tax,
            as_of=options.as_of,
            valid_until=valid_until(lines, book, options.as_of),
            package=None if options.package is None else options.package.name,
            lines=lines,
            unpriced=(*parts.unpriced, *missing_work),
            totals=totals_of(lines, book, options),
            shop_tax_codes=book.shop_tax_codes,
            covers=parts.covers,
        )

    def _work(self, labour: Sequence[LabourRequirement]) -> Work:
        """Return the lines for labour; circuits of other sizes mostly ask for the same."""
        for known, work in self._labour:
            if known == labour:
                return work
        work = labour_lines(labour, self._holding, self._difficulty)
        self._labour.append((labour, work))
        return work


def _refuse_invalid_day(book: PriceBook, day: date | None) -> None:
    if not book.validity.holds_on(day):
        first, last = book.validity.first or "the beginning", book.validity.last or "further notice"
        raise EngineeringError(
            "price_book_not_valid",
            f"The price book {book.name!r} holds from {first} until {last}, not on {day}.",
            field="pricing/as_of",
        )


def valid_until(lines: Sequence[Line], book: PriceBook, as_of: date | None) -> date | None:
    """Return the last day of the book, of every article used, and of the quote itself.

    Parameters
    ----------
    lines
        Lines of the bill.
    book
        Price book.
    as_of
        Day of the quote, if it is stated.

    Returns
    -------
    date or None
        None where nothing limits it.
    """
    ends = [book.validity.last]
    if book.last_days:
        ends += [book.last_days.get(line.key) for line in lines]
    if as_of is not None and book.quote_days is not None:
        ends.append(as_of + timedelta(days=book.quote_days))
    return min((end for end in ends if end is not None), default=None)
