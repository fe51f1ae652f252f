"""The fuse tables load, and refuse rows that break their spec."""

import shutil
from pathlib import Path

import pytest

from loomwright.tables.fuse_load import fuse_tables, load_fuse_tables
from loomwright.tables.read import TableError, package_folder, read_sources


@pytest.fixture
def folder(tmp_path):
    source = Path(str(package_folder()))
    for path in [*source.glob("fuse_*.csv"), source / "sources.toml"]:
        shutil.copy(path, tmp_path / path.name)
    return tmp_path


def test_every_type_but_one_has_a_curve():
    tables = fuse_tables()
    without = [key for key, fuse_type in tables.types.items() if not fuse_type.opening_times]
    assert without == ["iso_8820_6_single_bolt"]
    assert set(tables.curve_provenance) == set(tables.types) - set(without)
    assert all(fuse_type.ratings_a for fuse_type in tables.types.values())


@pytest.mark.parametrize(
    ("file", "old", "new", "fault"),
    [
        ("fuse_opening_times.csv", "c,160,0.25,50", "c,160,60,50", "not below|does not fall"),
        ("fuse_opening_times.csv", "c,160,0.25,50", "c,160,0.25,700", "does not fall"),
        ("fuse_opening_times.csv", "c,160,0.25,50", "c,130,0.25,50", "does not rise"),
        ("fuse_opening_times.csv", "8820_3_c,160", "8820_3_x,160", "same fuse types"),
        (
            "fuse_opening_times.csv",
            "c,110,360000,,",
            "c,110,360000,400000,",
            "greatest time is",
        ),
        ("fuse_ratings.csv", "iso_8820_3_c,3,", "iso_8820_3_c,4,", "duplicate key"),
        ("fuse_ratings.csv", "iso_8820_3_c,3,", "iso_8820_3_c,300,", "does not rise"),
        ("fuse_types.csv", "plug_in_holder,32;58", "on_the_floor,32;58", "mounting"),
        ("fuse_types.csv", "plug_in_holder,32;58", "plug_in_holder,58;32", "do not rise"),
        ("fuse_types.csv", ",iso_8820_6,scope", ",hearsay,scope", "unknown source"),
        ("fuse_factors.csv", "loading_factor,0.75", "loading_factor,1.2", "loading factor < 1"),
        ("fuse_position_limits.csv", "no,no,7,,", "no,no,7,200,", "one of the two"),
        ("fuse_interrupting_capacities.csv", "650,1100", "700,1100", "gap"),
        ("fuse_interrupting_capacities.csv", "2200,,20000", "2200,9000,20000", "upper end"),
        ("fuse_interrupting_capacities.csv", "650,1500,750", "650,1500,1600", "main below"),
        ("fuse_system_voltages.csv", "48,54", "48,49", "out of band"),
    ],
)
def test_broken_row_is_refused(folder, file, old, new, fault):
    text = (folder / file).read_text("utf-8")
    assert old in text
    (folder / file).write_text(text.replace(old, new, 1), "utf-8")
    with pytest.raises(TableError, match=fault):
        load_fuse_tables(folder, read_sources(folder))
