"""Which ready-made parts serve a length, told apart by the lengths where that changes."""

from decimal import Decimal
from math import ceil, floor

import numpy as np

from loomwright.batch.bills.lengths import MICROMETRES, CircuitStretch, RowLengths
from loomwright.jobs.job import Circuit
from loomwright.jobs.requirements_of_job import lead_parts
from loomwright.pricing.kinds import KINDS, Comparison
from loomwright.pricing.minor_units import Units
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.requirements import Requirement


class Thresholds:
    """Lengths at which other parts serve the leads of a circuit.

    A part serves what is at most, at least or exactly as long as it says, so that between two such
    figures of the price book the same parts serve.

    Parameters
    ----------
    circuit
        The circuit.
    book
        Price book, with what holds on the day.
    """

    def __init__(self, circuit: Circuit, book: PriceBook) -> None:
        self._leads = [
            (CircuitStretch(circuit.key, asked.measured.stretch), *_turns(asked, book))
            for asked in lead_parts(circuit, book.rules)
            if asked.measured is not None and asked.measured.attribute
        ]

    def of(self, lengths: RowLengths) -> list[Units]:
        """Return a number for each lead in each row; the same parts serve where it is the same.

        Parameters
        ----------
        lengths
            Lengths of the rows.

        Returns
        -------
        list of int or ndarray
            One for each lead that is chosen by its length.
        """
        found: list[Units] = []
        for at, below, up_to in self._leads:
            length = lengths.micrometres(at)
            passed = np.searchsorted(below, length) + np.searchsorted(up_to, length, "right")
            found.append(passed if isinstance(passed, np.ndarray) else int(passed))
        return found


def _turns(asked: Requirement, book: PriceBook) -> tuple[list[int], list[int]]:
    """Return the greatest whole micrometres not above the figures, and the least not below."""
    assert asked.measured is not None
    names = [
        rule.name
        for rule in KINDS[asked.what].rules
        if rule.needed == asked.measured.attribute and rule.comparison is not Comparison.DESCRIBED
    ]
    stated = {part.attributes[name] for part in book.parts.get(asked.what, ()) for name in names}
    figures = sorted(Decimal(figure) * MICROMETRES for figure in stated)
    return [floor(figure) for figure in figures], [ceil(figure) for figure in figures]
