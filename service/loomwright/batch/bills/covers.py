"""Covers that were found, by what decides them."""

from collections.abc import Hashable, Mapping, Sequence
from typing import NamedTuple

from loomwright.batch.bills.pieces import PartNeed

# Distinct requirements that are kept; each takes some 1 kB.
GREATEST_KNOWN_COVERS = 50_000
GREATEST_KNOWN_SCOPES = 256


class CoverLine(NamedTuple):
    """A line of a cover: its place on a bill, and how many of its part stand before it."""

    place: int
    number: int
    category: str
    key: str


# List total and discount of each line.
AmountsOfCover = dict[CoverLine, tuple[int, int]]


class Covers:
    """Covers of needs alike, by what decides them."""

    def __init__(self) -> None:
        self.by_requirement: dict[tuple[int, ...], AmountsOfCover] = {}

    def forget_too_many(self) -> None:
        """Forget all where there are more than the greatest number."""
        if len(self.by_requirement) > GREATEST_KNOWN_COVERS:
            self.by_requirement.clear()


class KnownCovers:
    """Covers that were found so far, of any jobs and cases."""

    def __init__(self) -> None:
        self._by_scope: dict[Hashable, Covers] = {}

    def of(self, scope: Hashable) -> Covers:
        """Return the covers whose requirements are stated by the same figures."""
        if scope not in self._by_scope:
            if len(self._by_scope) >= GREATEST_KNOWN_SCOPES:
                self._by_scope.clear()
            self._by_scope[scope] = Covers()
        return self._by_scope[scope]


class Structures:
    """Numbers for which parts serve needs, the same for all jobs of a price book."""

    def __init__(self) -> None:
        self._known: dict[tuple[tuple[str, ...], ...], int] = {(): 0}

    def of(self, by_case: Mapping[int, Sequence[PartNeed]]) -> dict[int, int]:
        """Return a number for each case of a piece, the same where the same parts serve.

        It is 0 where none do.
        """
        known = self._known
        return {
            case: known.setdefault(
                tuple(tuple(part.key for part in need.parts) for need in needs), len(known)
            )
            for case, needs in by_case.items()
        }
