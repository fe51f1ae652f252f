"""The audio tables load, and refuse rows that break their spec."""

import shutil
from pathlib import Path

import pytest

from loomwright.tables.audio_load import audio_tables, load_audio_tables
from loomwright.tables.read import TableError, package_folder, read_sources


@pytest.fixture
def folder(tmp_path):
    for name in ("amplifier_classes.csv", "programmes.csv", "sources.toml"):
        shutil.copy(Path(str(package_folder())) / name, tmp_path / name)
    return tmp_path


def test_package_tables_hold_every_class_and_programme():
    tables = audio_tables()
    assert {"A", "AB", "B", "D"} <= set(tables.amplifier_classes)
    assert {"sine", "pink_noise", "music_uncompressed", "music_compressed", "bass_music"} <= set(
        tables.programmes
    )


@pytest.mark.parametrize(
    ("file", "old", "new", "fault"),
    [
        ("amplifier_classes.csv", "AB,class AB,78.5398,50,70", "AB,class AB,78.5398,50,90", "exc"),
        ("amplifier_classes.csv", "AB,class AB,78.5398,50,70", "AB,class AB,178,50,70", "outside"),
        ("amplifier_classes.csv", "AB,class AB,", "D,class AB,", "duplicate key"),
        ("amplifier_classes.csv", "linear,4", "tube,4", "not linear or switching"),
        ("amplifier_classes.csv", "textbook_electronics", "hearsay", "unknown source"),
        (
            "amplifier_classes.csv",
            "95,practice,common_practice",
            "95,practice,hearsay",
            "unknown practice",
        ),
        (
            "amplifier_classes.csv",
            "95,practice,common_practice",
            "95,rumour,common_practice",
            "unknown practice mark",
        ),
        ("programmes.csv", "16,12,20", "16,17,20", "do not rise"),
        ("programmes.csv", "16,12,20", "16,,20", "empty"),
        ("programmes.csv", ",memory,", ",rumour,", "checked is"),
    ],
)
def test_broken_row_is_refused(folder, file, old, new, fault):
    text = (folder / file).read_text("utf-8")
    assert old in text
    (folder / file).write_text(text.replace(old, new), "utf-8")
    with pytest.raises(TableError, match=fault):
        load_audio_tables(folder, read_sources(folder))
