"""Tables of amplifiers and programmes as frozen records, checked on load."""

from collections.abc import Mapping
from functools import cache
from importlib.resources.abc import Traversable
from types import MappingProxyType

from loomwright.tables import audio_specs as specs
from loomwright.tables.audio_records import (
    AmplifierClass,
    AudioTables,
    EfficiencyBand,
    Programme,
)
from loomwright.tables.read import (
    package_folder,
    provenance_of,
    read_sources,
    read_table,
    second_provenance_of,
)
from loomwright.tables.records import Source
from loomwright.tables.specs import Row, required_number


@cache
def audio_tables() -> AudioTables:
    """Return the audio tables of the installed package, read once in a process."""
    folder = package_folder()
    return load_audio_tables(folder, read_sources(folder))


def load_audio_tables(folder: Traversable, sources: Mapping[str, Source]) -> AudioTables:
    """Return the audio tables of a folder.

    Parameters
    ----------
    folder
        Holds the CSV files.
    sources
        Known sources by key.

    Returns
    -------
    AudioTables
        Records by key.

    Raises
    ------
    TableError
        Where a file breaks its spec, or the practice columns name an unknown source.
    """
    classes = [
        _amplifier_class(row, sources)
        for row in read_table(folder, specs.AMPLIFIER_CLASSES, sources)
    ]
    programmes = [_programme(row) for row in read_table(folder, specs.PROGRAMMES, sources)]
    return AudioTables(
        amplifier_classes=MappingProxyType({kind.key: kind for kind in classes}),
        programmes=MappingProxyType({programme.key: programme for programme in programmes}),
    )


def _amplifier_class(row: Row, sources: Mapping[str, Source]) -> AmplifierClass:
    def fraction(column: str) -> float:
        return required_number(row, column) / 100.0

    def band(prefix: str) -> EfficiencyBand | None:
        if row[f"{prefix}_low_percent"] is None:
            return None
        return EfficiencyBand(fraction(f"{prefix}_low_percent"), fraction(f"{prefix}_high_percent"))

    return AmplifierClass(
        key=str(row["key"]),
        name=str(row["name"]),
        theoretical_efficiency=fraction("theoretical_efficiency_percent"),
        efficiency=band("efficiency"),
        efficiency_with_converter=band("efficiency_with_converter"),
        delivers_from_supply=row["stage"] == "switching",
        idle_share=fraction("idle_share_percent"),
        square_root_share=fraction("square_root_share_percent"),
        fuse_loading_low=fraction("fuse_loading_low_percent"),
        fuse_loading_likely=fraction("fuse_loading_likely_percent"),
        rail_utilisation_low=fraction("rail_utilisation_low_percent"),
        rail_utilisation_likely=fraction("rail_utilisation_likely_percent"),
        rail_utilisation_high=fraction("rail_utilisation_high_percent"),
        provenance=provenance_of(row),
        practice_provenance=second_provenance_of(row, "practice", specs.AMPLIFIER_CLASSES, sources),
    )


def _programme(row: Row) -> Programme:
    return Programme(
        key=str(row["key"]),
        name=str(row["name"]),
        crest_factor_db=required_number(row, "crest_factor_db"),
        crest_factor_low_db=required_number(row, "crest_factor_low_db"),
        crest_factor_high_db=required_number(row, "crest_factor_high_db"),
        provenance=provenance_of(row),
    )
