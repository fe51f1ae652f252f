"""The supply tables load, and refuse rows that break their spec."""

import shutil
from pathlib import Path

import pytest

from loomwright.jobs.supply_members import BATTERY_KINDS, OTHER_KIND
from loomwright.tables.read import TableError, package_folder, read_sources
from loomwright.tables.supply_load import load_supply_tables, supply_tables

FILES = ("battery_kinds.csv", "open_circuit_voltages.csv", "supply_factors.csv", "sources.toml")


@pytest.fixture
def folder(tmp_path):
    for name in FILES:
        shutil.copy(Path(str(package_folder())) / name, tmp_path / name)
    return tmp_path


def test_kinds_of_the_request_are_those_of_the_table_and_another():
    assert set(BATTERY_KINDS) == set(supply_tables().battery_kinds) | {OTHER_KIND}


@pytest.mark.parametrize(
    ("file", "old", "new", "fault"),
    [
        ("battery_kinds.csv", "1.25,1.2,1.3", "1.35,1.2,1.3", "outside peukert_low"),
        ("battery_kinds.csv", "1.25,1.2,1.3", "1.15,1.2,1.3", "outside peukert_low"),
        ("battery_kinds.csv", "1.25,1.2,1.3", "2.25,1.2,1.3", "outside 1.0 to 2.0"),
        ("battery_kinds.csv", "flooded,", "gel,", "not the kinds of"),
        ("open_circuit_voltages.csv", "flooded,0,11.89", "flooded,1,11.89", "from 0 to 100"),
        ("open_circuit_voltages.csv", "flooded,100,", "flooded,99,", "from 0 to 100"),
        ("open_circuit_voltages.csv", "flooded,50,12.24", "flooded,50,12.5", "does not rise"),
        ("open_circuit_voltages.csv", "flooded,50,", "flooded,25,", "duplicate key"),
        ("open_circuit_voltages.csv", "bci_tables", "hearsay", "unknown source"),
        ("supply_factors.csv", "peak_time_s,", "peak_time,", "does not end in a unit"),
        ("supply_factors.csv", "hot_output_percent,80", "hot_output_percent,101", "above 100"),
    ],
)
def test_broken_row_is_refused(folder, file, old, new, fault):
    text = (folder / file).read_text("utf-8")
    assert old in text
    (folder / file).write_text(text.replace(old, new), "utf-8")
    with pytest.raises(TableError, match=fault):
        load_supply_tables(folder, read_sources(folder))


def test_percentage_of_exactly_one_hundred_is_a_percentage(folder):
    text = (folder / "supply_factors.csv").read_text("utf-8")
    changed = text.replace("hot_output_percent,80", "hot_output_percent,100")
    (folder / "supply_factors.csv").write_text(changed, "utf-8")
    found = load_supply_tables(folder, read_sources(folder))
    assert found.factors["hot_output_percent"].value == 100.0
