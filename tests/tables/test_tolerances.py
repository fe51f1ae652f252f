"""The table of tolerances loads, and refuses rows that break its spec."""

import shutil
from pathlib import Path

import pytest

from loomwright.tables.load import tables
from loomwright.tables.read import TableError, package_folder, read_sources
from loomwright.tables.records import Provenance
from loomwright.tables.tolerance_load import load_tolerances, tolerances
from loomwright.tables.tolerance_records import Tolerance


@pytest.fixture
def folder(tmp_path):
    for name in ("tolerances.csv", "sources.toml"):
        shutil.copy(Path(str(package_folder())) / name, tmp_path / name)
    return tmp_path


def test_shares_are_fractions_and_temperatures_kelvins():
    found = tolerances()
    assert found["length"] == Tolerance(
        "length", True, 0.05, 0.05, Provenance("common_practice", "length of a route", "practice")
    )
    ambient = found["ambient_temperature"]
    assert (ambient.is_share, ambient.below, ambient.above) == (False, 10.0, 10.0)


def test_every_series_and_clad_metal_has_a_tolerance():
    metals = [key for key in tables().materials if key.startswith("cca")]
    assert metals
    wanted = {f"conductor_resistance_{key}" for key in (*tables().series, *metals)}
    assert {key for key in tolerances() if key.startswith("conductor_resistance")} == wanted


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ("length,percent,5,5", "length,percent,95,5", "outside"),
        ("length,percent,5,5", "length,percent,5,-1", "outside"),
        ("length,percent,5,5", "length,percent,,5", "empty|not a number"),
        ("length,percent,5,5", "load_current,percent,5,5", "duplicate key"),
        ("length,percent,5,5", "length,K,5,5", "unit is 'K', not percent"),
        ("length,percent,5,5", "length,percent,0,0", "no tolerance either way"),
        ("ambient_temperature,K", "ambient_temperature,percent", "unit is 'percent', not K"),
        ("astm_b3", "hearsay", "unknown source"),
        (",memory,", ",rumour,", "checked is"),
    ],
)
def test_broken_row_is_refused(folder, old, new, fault):
    text = (folder / "tolerances.csv").read_text("utf-8")
    assert old in text
    (folder / "tolerances.csv").write_text(text.replace(old, new, 1), "utf-8")
    with pytest.raises(TableError, match=fault):
        load_tolerances(folder, read_sources(folder))
