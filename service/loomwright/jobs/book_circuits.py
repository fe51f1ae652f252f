"""What circuits of any jobs have in common by a price book, kept with the book."""

from collections.abc import Hashable
from dataclasses import dataclass

from loomwright.jobs.circuit_bundle import CircuitBundle
from loomwright.jobs.part_texts import RuleTexts
from loomwright.pricing.kept import Kept
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.requirements import Requirement
from loomwright.tables.records import ConductorSize

# Each takes some 1 kB.
_GREATEST_KNOWN_BUNDLES = 256
# Each takes some 8 kB; the largest demo job has a dozen in its three plans.
_GREATEST_KNOWN_STEADY_PARTS = 256


@dataclass(frozen=True, slots=True)
class SteadyParts:
    """Parts of a circuit that no length and no current of it decides, in the order of its parts."""

    labels: tuple[Requirement, ...]
    ends: tuple[Requirement, ...]
    grommets: tuple[Requirement, ...]
    loom_ends: tuple[Requirement, ...]


class BookCircuits:
    """Bundles and parts of circuits, by what decides them beside the price book.

    Parameters
    ----------
    book
        Price book.
    """

    def __init__(self, book: PriceBook) -> None:
        #: The quantity rules as they are read.
        self.texts = RuleTexts.of(book.rules)
        #: Parts, by what ``circuit_parts`` makes them of.
        self.steady: Kept[Hashable, SteadyParts] = Kept(_GREATEST_KNOWN_STEADY_PARTS)
        self._bundles: Kept[tuple[ConductorSize, int], CircuitBundle] = Kept(
            _GREATEST_KNOWN_BUNDLES
        )

    def bundle(self, conductor: ConductorSize, count: int, book: PriceBook) -> CircuitBundle:
        """Return conductors of a size side by side.

        Parameters
        ----------
        conductor
            The size of each.
        count
            How many lie along the route.
        book
            The price book, which is not held here.

        Returns
        -------
        CircuitBundle
            The same object as long as it is kept.
        """
        known = self._bundles.get((conductor, count))
        if known is None:
            known = CircuitBundle(conductor, count, book)
            self._bundles.keep((conductor, count), known)
        return known
