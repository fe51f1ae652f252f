"""The table about signal paths as frozen records, checked on load."""

from collections.abc import Mapping
from functools import cache
from importlib.resources.abc import Traversable
from types import MappingProxyType

from loomwright.tables.read import package_folder, provenance_of, read_sources, read_table
from loomwright.tables.records import Source
from loomwright.tables.signal_records import SignalFactor
from loomwright.tables.signal_specs import SIGNAL_FACTORS
from loomwright.tables.specs import required_number


@cache
def signal_factors() -> Mapping[str, SignalFactor]:
    """Return the figures of the installed package by key, read once in a process."""
    folder = package_folder()
    return load_signal_factors(folder, read_sources(folder))


def load_signal_factors(
    folder: Traversable, sources: Mapping[str, Source]
) -> Mapping[str, SignalFactor]:
    """Return the figures about signal paths of a folder.

    Parameters
    ----------
    folder
        Holds the CSV file.
    sources
        Known sources by key.

    Returns
    -------
    Mapping
        Records by key.

    Raises
    ------
    TableError
        Where the file breaks its spec.
    """
    return MappingProxyType(
        {
            str(row["key"]): SignalFactor(
                str(row["key"]), required_number(row, "value"), provenance_of(row)
            )
            for row in read_table(folder, SIGNAL_FACTORS, sources)
        }
    )
