"""Amounts of the lines of a price book, each made when first asked for."""

from collections.abc import Callable, Hashable

from loomwright.batch.bills.covers import Covers, KnownCovers
from loomwright.batch.bills.line_amounts import LineAmounts, LineDiscounts
from loomwright.pricing.cover import Cluster
from loomwright.pricing.labour_lines import operation_line
from loomwright.pricing.lines import KIT, LABOUR, Line
from loomwright.pricing.money import money_from_minor_units
from loomwright.pricing.part_lines import PartPricing
from loomwright.pricing.price_book import Article, LabourOperation, Part, PriceBook
from loomwright.pricing.pricing_options import PricingOptions


class BookAmounts:
    """Amounts of the lines of a price book under any options.

    Lines with the same percentage off are the same under all of them.

    Parameters
    ----------
    book
        Price book, with what holds on the day.
    """

    def __init__(self, book: PriceBook) -> None:
        self.book = book
        self._pricing = PartPricing(book)
        self._nothing = money_from_minor_units(0, book.currency)
        self._known: dict[Hashable, LineAmounts] = {}
        #: Covers that were found so far.
        self.covers = KnownCovers()

    def of_part(self, part: Part, discounts: LineDiscounts) -> LineAmounts:
        """Return the amounts of a part that is sold loose at one price, by its increments."""

        def line(steps: int) -> Line:
            return self._pricing.loose_line(part, steps * part.sale_increment)

        return self._kept(part.kind, part.key, line, discounts)

    def of_labour(self, operation: LabourOperation, discounts: LineDiscounts) -> LineAmounts:
        """Return the amounts of an operation, by the increments of labour."""
        increment_h = self.book.rules.labour_increment_h

        def line(steps: int) -> Line:
            return operation_line(operation, steps * increment_h, self.book, self._nothing)

        return self._kept(LABOUR, operation.key, line, discounts)

    def _kept(
        self, kind: str, key: str, line: Callable[[int], Line], discounts: LineDiscounts
    ) -> LineAmounts:
        known = kind, key, discounts.percent(kind, key)
        if known not in self._known:
            self._known[known] = LineAmounts(line, discounts)
        return self._known[known]


class KnownAmounts:
    """Amounts of the lines of a price book under the options of a bill.

    Parameters
    ----------
    of_book
        Those of the book under any options.
    options
        Pricing options.
    """

    def __init__(self, of_book: BookAmounts, options: PricingOptions) -> None:
        self._of_book = of_book
        #: Line discounts.
        self.discounts = LineDiscounts(of_book.book, options)
        self._parts: dict[str, LineAmounts] = {}
        self._labour: dict[str, LineAmounts] = {}

    def of_part(self, part: Part) -> LineAmounts:
        """Return the amounts of a part that is sold loose at one price, by its increments."""
        found = self._parts.get(part.key)
        if found is None:
            found = self._parts[part.key] = self._of_book.of_part(part, self.discounts)
        return found

    def of_labour(self, operation: LabourOperation) -> LineAmounts:
        """Return the amounts of an operation, by the increments of labour."""
        found = self._labour.get(operation.key)
        if found is None:
            found = self._of_book.of_labour(operation, self.discounts)
            self._labour[operation.key] = found
        return found

    def covers(self, scope: Hashable, cluster: Cluster) -> Covers:
        """Return the covers by the parts and articles of a cluster.

        Parameters
        ----------
        scope
            What tells the figures apart by which their requirements are stated.
        cluster
            Parts and articles.

        Returns
        -------
        Covers
            Those that were found so far.
        """
        off = tuple(self.discounts.percent(*_kind_and_key(each)) for each in cluster.articles)
        return self._of_book.covers.of((scope, off))


def _kind_and_key(article: Article) -> tuple[str, str]:
    """Return what the discount of an article goes by."""
    if article.kit is not None:
        return KIT, article.kit.key
    assert article.part is not None
    return article.part.kind, article.part.key
