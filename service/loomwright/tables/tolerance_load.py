"""The table of tolerances as frozen records, checked on load."""

from collections.abc import Mapping
from functools import cache
from importlib.resources.abc import Traversable
from types import MappingProxyType

from loomwright.tables import tolerance_specs as specs
from loomwright.tables.read import package_folder, provenance_of, read_sources, read_table
from loomwright.tables.records import Source
from loomwright.tables.specs import required_number
from loomwright.tables.tolerance_records import Tolerance


@cache
def tolerances() -> Mapping[str, Tolerance]:
    """Return the tolerances of the installed package by key, read once in a process."""
    folder = package_folder()
    return load_tolerances(folder, read_sources(folder))


def load_tolerances(folder: Traversable, sources: Mapping[str, Source]) -> Mapping[str, Tolerance]:
    """Return the tolerances of a folder.

    Parameters
    ----------
    folder
        Holds the CSV file.
    sources
        Known sources by key.

    Returns
    -------
    Mapping
        Tolerances by key, shares as fractions of 1.

    Raises
    ------
    TableError
        Where the file breaks its spec.
    """
    found = {}
    for row in read_table(folder, specs.TOLERANCES, sources):
        is_share = row["unit"] == specs.PERCENT
        scale = 0.01 if is_share else 1.0
        found[str(row["key"])] = Tolerance(
            key=str(row["key"]),
            is_share=is_share,
            below=required_number(row, "below", scale),
            above=required_number(row, "above", scale),
            provenance=provenance_of(row),
        )
    return MappingProxyType(found)
