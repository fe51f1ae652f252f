"""What a comparison of two runs of a batch finds."""

from collections import Counter
from dataclasses import dataclass, field
from decimal import Decimal
from typing import NamedTuple

from loomwright.batch.runs.compared_circuits import SizeChange


class PriceChange(NamedTuple):
    """A pair whose total changed, complete in both runs.

    Parameters
    ----------
    difference
        New total minus earlier total.
    package, vehicle
        Keys of the pair.
    earlier, new
        Totals.
    """

    difference: Decimal
    package: str
    vehicle: str
    earlier: Decimal
    new: Decimal


@dataclass(slots=True)
class PackageChanges:
    """Changes of one package.

    Parameters
    ----------
    both
        Pairs in both runs.
    new, gone
        Pairs of one run alone.
    priced
        Pairs with a complete quote in both runs.
    dearer, cheaper
        Those whose total rose or fell.
    earlier_total, new_total
        Sums over ``priced``.
    """

    both: int = 0
    new: int = 0
    gone: int = 0
    priced: int = 0
    dearer: int = 0
    cheaper: int = 0
    earlier_total: Decimal = Decimal(0)
    new_total: Decimal = Decimal(0)


@dataclass(slots=True)
class Comparison:
    """Changes from an earlier run to this one.

    Parameters
    ----------
    currency, earlier_currency
        Of the amounts; none where no row has any. Amounts of unlike currencies are not compared.
    changed
        Pairs of both runs in which anything but the wording of a refusal differs.
    other_figures
        Those of them with the same total, verdict, code and sizes.
    newly_quoted, newly_refused
        Pairs that have a quote now, or have none any more.
    verdicts
        Pairs by earlier and new verdict, where they differ.
    codes
        Pairs by earlier and new code of refusal, where they differ.
    resized
        Pairs with a changed conductor or fuse.
    sizes
        Circuits by what changed.
    other_circuits
        Pairs whose circuits are not the same ones.
    rises, falls
        Greatest changes of totals, greatest first.
    packages
        By package, in the order of this run, those of the earlier one alone at the end.
    """

    currency: str | None = None
    earlier_currency: str | None = None
    changed: int = 0
    other_figures: int = 0
    newly_quoted: int = 0
    newly_refused: int = 0
    verdicts: Counter[tuple[str, str]] = field(default_factory=Counter)
    codes: Counter[tuple[str, str]] = field(default_factory=Counter)
    resized: int = 0
    sizes: Counter[SizeChange] = field(default_factory=Counter)
    other_circuits: int = 0
    rises: list[PriceChange] = field(default_factory=list)
    falls: list[PriceChange] = field(default_factory=list)
    packages: dict[str, PackageChanges] = field(default_factory=dict)

    @property
    def has_amounts(self) -> bool:
        """Whether totals could be compared."""
        return None in (self.currency, self.earlier_currency) or (
            self.currency == self.earlier_currency
        )

    @property
    def total(self) -> PackageChanges:
        """Changes of all packages together."""
        every = self.packages.values()
        return PackageChanges(
            **{name: sum(getattr(each, name) for each in every) for name in _SUMMED},
            earlier_total=sum((each.earlier_total for each in every), Decimal(0)),
            new_total=sum((each.new_total for each in every), Decimal(0)),
        )


_SUMMED = ("both", "new", "gone", "priced", "dearer", "cheaper")
