"""The bundle of a circuit's conductors: what of its parts one conductor decides for any circuit."""

from decimal import Decimal

from loomwright.jobs.bundles import bundle_diameter_m
from loomwright.jobs.part_texts import exact_number, millimetres
from loomwright.pricing.kinds import Attribute
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.requirements import exact_length_m
from loomwright.tables.records import ConductorSize

# Crest of a corrugated loom over its inner wall, on each side; common practice, no source.
_LOOM_WALL_M = Decimal("0.0015")
# A tube slides over the crimped barrel and still grips the insulation; common practice, no source.
_TUBE_OVER = 1.2
_TUBE_GRIP = 0.8


class CircuitBundle:
    """One or two conductors of a size side by side.

    Parameters
    ----------
    conductor
        The size of each.
    count
        How many lie along the route.
    book
        Price book: its quantity rules and its looms.
    """

    def __init__(self, conductor: ConductorSize, count: int, book: PriceBook) -> None:
        diameter_m = conductor.outside_diameter_m
        rules = book.rules
        #: Nominal cross-section of one conductor [mm2].
        self.cross_section_mm2 = exact_number(conductor.cross_section_m2 * 1e6)
        #: Over the insulation of one conductor [mm].
        self.diameter_mm = millimetres(diameter_m)
        self.diameter_m = exact_length_m(bundle_diameter_m([diameter_m] * count))
        self.bundle_mm = millimetres(self.diameter_m)
        #: What heat shrink is chosen by.
        self.tube_needed: dict[str, Attribute] = {
            "slides_over_mm": millimetres(diameter_m * _TUBE_OVER),
            "grips_mm": millimetres(diameter_m * _TUBE_GRIP),
        }
        inner_m = rules.loom_inner_diameter_m(self.diameter_m)
        #: What the loom is chosen by.
        self.loom_needed: dict[str, Attribute] = {"least_inner_diameter_mm": millimetres(inner_m)}
        loom = book.part_for("split_loom", self.loom_needed)
        if loom is not None:
            inner_m = Decimal(loom.attributes["inner_diameter_mm"]) / 1000
        #: Diameter over the loom [m]; that of the least one where the book has none.
        self.over_loom_m = inner_m + 2 * _LOOM_WALL_M
        self.over_loom_mm = millimetres(self.over_loom_m)
