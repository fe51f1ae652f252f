"""What the rows of a batch come to, added up while they pass by."""

from collections import Counter
from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from loomwright.batch.rows import Rows
from loomwright.engineering.record import record
from loomwright.jobs.priced_job import COMPLETE

ABOUT_TOTALS = "Of complete quotes; others have no price to compare."


@record
class Totals:
    """Totals of the complete quotes of a package, in the currency of the batch.

    Parameters
    ----------
    quotes
        How many there are, at least 1.
    least, greatest, sum
        Of their totals.
    """

    quotes: int
    least: Decimal
    greatest: Decimal
    sum: Decimal

    def with_others(self, other: "Totals") -> "Totals":
        """Return the totals of these quotes and of others."""
        return Totals(
            self.quotes + other.quotes,
            min(self.least, other.least),
            max(self.greatest, other.greatest),
            self.sum + other.sum,
        )


class Summary:
    """Counts and price ranges of rows, exact and as large as there are packages.

    There is no median: it would need all totals at once.

    Parameters
    ----------
    currency
        ISO 4217 code of all amounts.
    """

    def __init__(self, currency: str) -> None:
        self.currency = currency
        self.rows = 0
        self.verdicts: Counter[str] = Counter()
        self.refusals: Counter[str] = Counter()
        self.totals: dict[str, Totals] = {}

    def add(self, rows: Rows) -> None:
        """Add rows.

        Parameters
        ----------
        rows
            Of this currency.
        """
        flat = rows.flat
        self.rows += flat.num_rows
        self.verdicts.update(_counts(flat.column("verdict")))
        self.refusals.update(_counts(flat.column("code")))
        complete = pc.equal(flat.column("verdict"), COMPLETE)
        priced = pa.table(
            {name: flat.column(name).filter(complete) for name in ("package", "total")}
        )
        functions = ("count", "min", "max", "sum")
        grouped = priced.group_by("package").aggregate([("total", each) for each in functions])
        columns = [grouped.column(f"total_{each}").to_pylist() for each in functions]
        for package, *totals in zip(grouped.column("package").to_pylist(), *columns, strict=True):
            self._add_totals(package, Totals(*totals))

    def merge(self, other: "Summary") -> None:
        """Add what other rows come to.

        Parameters
        ----------
        other
            Summary of rows that are not in this one, of the same currency.
        """
        self.rows += other.rows
        self.verdicts.update(other.verdicts)
        self.refusals.update(other.refusals)
        for package, totals in other.totals.items():
            self._add_totals(package, totals)

    def passing(self, rows: Iterator[Rows]) -> Iterator[Rows]:
        """Yield rows as they come, each added before it is passed on.

        Parameters
        ----------
        rows
            Of this currency.

        Yields
        ------
        Rows
            The same.
        """
        for each in rows:
            self.add(each)
            yield each

    def document(self) -> dict[str, Any]:
        """Return the summary as plain JSON values, packages in the order in which they came."""
        return {
            "rows": self.rows,
            "verdicts": dict(sorted(self.verdicts.items())),
            "refusals": dict(sorted(self.refusals.items())),
            "currency": self.currency,
            "totals": [
                {
                    "package": package,
                    "quotes": totals.quotes,
                    "least": f"{totals.least:f}",
                    "greatest": f"{totals.greatest:f}",
                    "sum": f"{totals.sum:f}",
                }
                for package, totals in self.totals.items()
            ],
        }

    def _add_totals(self, package: str, totals: Totals) -> None:
        known = self.totals.get(package)
        self.totals[package] = totals if known is None else known.with_others(totals)


def summary_from_document(document: Mapping[str, Any]) -> Summary:
    """Return the summary that ``Summary.document`` gave.

    Parameters
    ----------
    document
        Plain JSON values.

    Returns
    -------
    Summary
        To be merged with others.
    """
    summary = Summary(document["currency"])
    summary.rows = document["rows"]
    summary.verdicts.update(document["verdicts"])
    summary.refusals.update(document["refusals"])
    for each in document["totals"]:
        amounts = (Decimal(each[name]) for name in ("least", "greatest", "sum"))
        summary.totals[each["package"]] = Totals(each["quotes"], *amounts)
    return summary


def _counts(column: pa.Array) -> dict[str, int]:
    return {
        each["values"]: each["counts"]
        for each in pc.value_counts(column).to_pylist()
        if each["values"] is not None
    }
