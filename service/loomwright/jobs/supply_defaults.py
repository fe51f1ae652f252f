"""What readings of a supply share: figures that stand in, members that exclude each other."""

from loomwright.pricing.reading import ObjectReader
from loomwright.tables.records import Provenance
from loomwright.tables.supply_records import SupplyTables

NOMINAL_BATTERY_V = 12.0


class Defaults:
    """Figures of the tables that stand in for what is not stated, with where they come from."""

    def __init__(self, tables: SupplyTables) -> None:
        self._tables = tables
        self.used: dict[Provenance, None] = {}

    def factor(self, key: str) -> float:
        """Return a factor of the tables and note that the answer rests on it."""
        factor = self._tables.factors[key]
        self.used[factor.provenance] = None
        return factor.value


def one_of(reader: ObjectReader, first: str, second: str) -> bool:
    """Return whether one of two members is stated alone; the fault is noted otherwise."""
    if reader.has(first) == reader.has(second):
        reader.fault(first, f"State either {first} or {second}, not both and not neither.")
        return False
    return True


def not_both(reader: ObjectReader, first: str, second: str) -> None:
    """Note a fault where both of two members are stated."""
    if reader.has(first) and reader.has(second):
        reader.fault(first, f"State either {first} or {second}, not both.")
