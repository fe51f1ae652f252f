"""Every row of the project's own copies of published tables is exercised by a check."""

import csv
import functools
import shutil
import tomllib
from pathlib import Path

import pytest

from loomwright.tables.read import package_folder, read_sources, read_table
from reference.coverage import (
    broken_figures,
    exercises,
    figure_columns,
    figures_by_row,
    summary,
    wrong_cells,
)
from reference.figures import SPECS, key_of, shipped_rows

FIGURES = figures_by_row()
EVERY_TABLE = sorted(SPECS)


@functools.cache
def shipped_exercises():
    return exercises({table: shipped_rows(table) for table in EVERY_TABLE}, FIGURES)


def copy_with(folder, table, change):
    """Return the rows of a copy of a table on disk whose cells were changed, by the loader."""
    name = SPECS[table].file
    for file in (name, "sources.toml"):
        shutil.copy(Path(str(package_folder())) / file, folder / file)
    with (folder / name).open(encoding="utf-8", newline="") as file:
        reader = csv.DictReader(file)
        header, rows = reader.fieldnames, list(reader)
    change(rows)
    with (folder / name).open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, header, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    return list(read_table(folder, SPECS[table], read_sources(folder)))


def test_every_row_is_exercised(record_property):
    outcomes = shipped_exercises()
    for line in summary(outcomes):
        print(line)
        record_property("summary", line)
    unexercised = [str(outcome) for outcome in outcomes if outcome.unheld]
    assert unexercised == []
    assert {outcome.table for outcome in outcomes} == set(SPECS)


def test_rows_that_rest_on_practice_alone_are_listed_with_a_reason():
    listed = tomllib.loads((Path(__file__).parent / "practice.toml").read_text("utf-8"))
    assert all(entry["reason"] for entry in listed.values())
    assert {(table, (key,)) for table, entry in listed.items() for key in entry["rows"]} == {
        (outcome.table, outcome.key)
        for outcome in shipped_exercises()
        if outcome.weakest == "practice"
    }


@pytest.mark.parametrize("table", EVERY_TABLE)
def test_every_row_agrees_with_its_sources(table):
    rows = shipped_rows(table)
    broken = [
        (figure, row[figure.column])
        for row in rows
        for figure in broken_figures(table, row, rows, FIGURES)
    ]
    assert broken == []


def test_every_published_figure_has_its_row():
    rows = {(table, key_of(table, row)) for table in SPECS for row in shipped_rows(table)}
    assert set(FIGURES) <= rows


def test_figures_name_columns_that_hold_figures():
    columns = {(table, column.name) for table in SPECS for column in figure_columns(table)}
    named = {(figure.table, figure.column) for about in FIGURES.values() for figure in about}
    assert named <= columns


@pytest.mark.parametrize("table", EVERY_TABLE)
def test_wrong_cells_are_wrong(table):
    rows = shipped_rows(table)
    for row in rows:
        for column in figure_columns(table):
            wrong = wrong_cells(column, row[column.name], rows)
            assert wrong
            assert row[column.name] not in wrong


@pytest.mark.parametrize("table", EVERY_TABLE)
def test_added_row_without_a_figure_is_reported(table):
    # The new row stands under a key that no source knows, with the cells of the last row.
    rows = shipped_rows(table)
    spec = SPECS[table]
    added = dict(rows[-1])
    for name in spec.key:
        added[name] = 1.37 * added[name] if isinstance(added[name], float) else "unheard-of"
    reported = exercises({table: [*rows, added]}, FIGURES)
    assert reported[-1].unheld
    assert reported[-1].key == key_of(table, added)
    assert summary(reported)[-1].startswith(
        f"all tables: table rows exercised {len(rows)}/{len(rows) + 1} "
    )


def test_added_row_in_a_file_is_reported(tmp_path):
    def add(rows):
        rows.append({**rows[-1], "fuse_type": "sae_j2077", "rated_current_a": "35"})

    rows = copy_with(tmp_path, "fuse_ratings", add)
    unexercised = [
        str(outcome) for outcome in exercises({"fuse_ratings": rows}, FIGURES) if outcome.unheld
    ]
    assert unexercised == ["fuse_ratings sae_j2077 35.0: fuse_type, rated_current_a"]


@pytest.mark.parametrize(
    ("table", "where", "column", "text", "figure"),
    [
        # Each is inside the ranges, orders and laws of the loader.
        (
            "ampacities",
            {"table": "cfr_33_183_425", "size": "8", "temperature_rating_c": "105"},
            "ampacity_a",
            "85",
            "cfr-183-425-8-awg",
        ),
        ("conductor_sizes", {"key": "10 mm2"}, "outside_diameter_mm", "6.6", "with-thick-wall"),
        ("conductor_sizes", {"key": "SAE 8"}, "conductor_diameter_mm", "3.6", "strand fill"),
        ("fuse_types", {"key": "iso_8820_5_sf51"}, "rated_voltages_v", "32;58", "iso-8820-5"),
        ("zones", {"key": "roof_lining"}, "ambient_temperature_c", "65", "design-ambients"),
        ("air", {"temperature_k": "550"}, "conductivity_w_per_mk", "0.0464", "Atmosphere"),
    ],
)
def test_wrong_figure_in_a_file_is_caught(tmp_path, table, where, column, text, figure):
    def change(rows):
        (row,) = (row for row in rows if where.items() <= row.items())
        row[column] = text

    rows = copy_with(tmp_path, table, change)
    broken = [found for row in rows for found in broken_figures(table, row, rows, FIGURES)]
    assert [found for found in broken if figure in found.name and found.column == column]


@pytest.mark.parametrize("table", EVERY_TABLE)
def test_rows_without_their_figures_are_reported(table):
    # Formulas alone hold all of the air, and most of the conductor sizes.
    unexercised = [
        outcome for outcome in exercises({table: shipped_rows(table)}, {}) if outcome.unheld
    ]
    assert bool(unexercised) == (table != "air")
    if table not in ("air", "conductor_sizes", "materials"):
        assert len(unexercised) == len(shipped_rows(table))
