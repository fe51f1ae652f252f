"""The table about signal paths loads, and refuses rows that break its spec."""

import shutil
from pathlib import Path

import pytest

from loomwright.tables.read import TableError, package_folder, read_sources
from loomwright.tables.signal_load import load_signal_factors, signal_factors

FILE = "signal_factors.csv"


@pytest.fixture
def folder(tmp_path):
    for name in (FILE, "sources.toml"):
        shutil.copy(Path(str(package_folder())) / name, tmp_path / name)
    return tmp_path


def test_a_figure_carries_its_value_and_its_source():
    factor = signal_factors()["release_fraction"]
    assert (factor.key, factor.value) == ("release_fraction", 0.1)
    assert (factor.provenance.source, factor.provenance.checked) == ("iec_61810_1", "memory")


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ("line_input_least_v,0.2", "line_input_least_v,2", "line_input_least_v is not below"),
        ("severe_db,50", "severe_db,70", "ground_noise_severe_db is not below"),
        ("rejection_db,40", "rejection_db,60", "common_mode_rejection_db is not below"),
        ("line_output_impedance_ohm,2200", "line_output_impedance_ohm,22000", "not below"),
        ("alternating_share,0.1", "alternating_share,1", "alternating_share is not between"),
        ("release_fraction,0.1", "release_fraction,1", "release_fraction is not between"),
        ("load_resistance_ohm,47", "load_resistance_ohm,0", "outside"),
        ("iec_61938", "hearsay", "unknown source"),
    ],
)
def test_broken_row_is_refused(folder, old, new, fault):
    text = (folder / FILE).read_text("utf-8")
    assert old in text
    (folder / FILE).write_text(text.replace(old, new), "utf-8")
    with pytest.raises(TableError, match=fault):
        load_signal_factors(folder, read_sources(folder))
