"""The shipped tables load, carry their sources, and are refused when a rule is broken."""

import csv
import itertools
import shutil
from pathlib import Path

import pytest

from loomwright.tables import (
    audio_specs,
    fuse_specs,
    signal_specs,
    specs,
    supply_specs,
    tolerance_specs,
)
from loomwright.tables.load import load_tables, tables
from loomwright.tables.read import (
    CHECKED_MARKS,
    PROVENANCE_COLUMNS,
    TableError,
    package_folder,
    read_sources,
    read_table,
)
from loomwright.tables.specs import TableSpec

FOLDER = Path(str(package_folder()))
SPECS = {
    value.file: value
    for module in (specs, audio_specs, fuse_specs, signal_specs, supply_specs, tolerance_specs)
    for value in vars(module).values()
    if isinstance(value, TableSpec)
}
EVERY_SPEC = [pytest.param(spec, id=name) for name, spec in sorted(SPECS.items())]
EVERY_NUMBER = [
    pytest.param(spec, column, id=f"{name}-{column.name}")
    for name, spec in sorted(SPECS.items())
    for column in spec.columns
    if column.is_number
]
EVERY_CELL = [
    pytest.param(spec, column, id=f"{name}-{column.name}")
    for name, spec in sorted(SPECS.items())
    for column in spec.columns
]
EVERY_ORDER = [
    pytest.param(spec, order, id=f"{name}-{order.column}")
    for name, spec in sorted(SPECS.items())
    for order in spec.orders
]


def neighbours(table, order):
    """Return the first two rows of one group that differ in an ordered column."""
    groups = {}
    for row in table.rows:
        if row[order.column]:
            groups.setdefault(tuple(row[name] for name in order.within), []).append(row)
    return next(
        (low, high)
        for members in groups.values()
        for low, high in itertools.pairwise(members)
        if low[order.column] != high[order.column]
    )


class Table:
    """A copy of one shipped CSV that a test may break."""

    def __init__(self, folder, spec):
        self.folder, self.spec = folder, spec
        self.path = folder / spec.file
        with self.path.open(encoding="utf-8", newline="") as file:
            reader = csv.DictReader(file)
            self.rows = list(reader)
            self.header = list(reader.fieldnames)

    def write(self):
        with self.path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(self.header)
            writer.writerows([row[name] for name in self.header] for row in self.rows)

    def read(self):
        self.write()
        return read_table(self.folder, self.spec, read_sources(self.folder))

    def row(self, **cells):
        """Return the one row with the given cells."""
        (row,) = (r for r in self.rows if all(r[name] == text for name, text in cells.items()))
        return row

    def refused(self, fault):
        with pytest.raises(TableError, match=fault) as caught:
            self.read()
        assert self.spec.file in str(caught.value)
        return str(caught.value)


@pytest.fixture
def folder(tmp_path):
    for path in FOLDER.iterdir():
        if path.suffix in (".csv", ".toml"):
            shutil.copy(path, tmp_path / path.name)
    return tmp_path


def first_row_with(table, column):
    return next(row for row in table.rows if row[column] != "")


def test_every_csv_has_a_spec():
    assert {path.name for path in FOLDER.glob("*.csv")} == set(SPECS)


@pytest.mark.parametrize("spec", EVERY_SPEC)
def test_shipped_table_reads_and_survives_a_rewrite(spec, folder):
    shipped = read_table(FOLDER, spec, read_sources(FOLDER))
    assert shipped == Table(folder, spec).read()
    for row in shipped:
        assert row["checked"] in CHECKED_MARKS
        assert row["locator"]


def test_shipped_tables_load_once():
    assert tables() is tables()
    loaded = tables()
    assert set(loaded.series) == {"awg", "sae", "metric", "iso_6722"}
    for sizes in loaded.series.values():
        assert [size.rank for size in sizes] == list(range(1, len(sizes) + 1))
        sections = [size.cross_section_m2 for size in sizes]
        assert sections == sorted(sections)


def test_records_cannot_be_changed():
    loaded = tables()
    for mapping in (loaded.sources, loaded.materials, loaded.conductors, loaded.series):
        with pytest.raises(TypeError):
            mapping["new"] = None
    with pytest.raises(AttributeError):
        loaded.materials["copper"].resistivity_20c_ohm_m = 0.0
    with pytest.raises(TypeError):
        loaded.conductors["10 mm2"].resistance_20c_ohm_per_m["copper"] = 0.0


def test_records_are_in_coherent_si():
    loaded = tables()
    # IEC 60228 class 5, 10 mm2: 1.91 ohm/km; IEC 60028: 1/58 ohm mm2/m; Table 5: 80 A for 8 AWG.
    size = loaded.conductors["10 mm2"]
    assert size.cross_section_m2 == pytest.approx(10e-6, rel=1e-12)
    assert size.resistance_20c_ohm_per_m["copper"] == pytest.approx(1.91e-3, rel=1e-12)
    assert size.outside_diameter_m == pytest.approx(6.5e-3, rel=1e-12)
    assert loaded.materials["copper"].resistivity_20c_ohm_m == pytest.approx(1 / 58e6, rel=1e-4)
    assert loaded.materials["copper"].volumetric_heat_capacity_j_per_m3k == pytest.approx(3.45e6)
    assert loaded.insulations["pvc_105"].temperature_rating_k == pytest.approx(378.15)
    assert loaded.zones["open_air_30_c"].ambient_temperature_k == pytest.approx(303.15)
    engine_spaces = {key for key, zone in loaded.zones.items() if zone.engine_space}
    assert engine_spaces == {"engine_compartment", "engine_space_50_c"}
    assert loaded.air.kinematic_viscosity_m2_per_s[2] == pytest.approx(15.89e-6)
    (row,) = (
        row
        for row in loaded.ampacities
        if (row.table, row.size) == ("cfr_33_183_425", "8")
        and row.temperature_rating_k == pytest.approx(378.15)
    )
    assert row.ampacity_a == 80.0


def marks(spec, *key_columns):
    rows = read_table(FOLDER, spec, read_sources(FOLDER))
    return {tuple(str(row[name]) for name in key_columns): str(row["checked"]) for row in rows}


def test_marks_travel_into_the_records():
    loaded = tables()
    for spec, records in (
        (specs.MATERIALS, loaded.materials),
        (specs.INSULATIONS, loaded.insulations),
        (specs.ZONES, loaded.zones),
        (specs.CONDUCTOR_SIZES, loaded.conductors),
    ):
        wanted = {key: mark for (key,), mark in marks(spec, "key").items()}
        assert {key: record.provenance.checked for key, record in records.items()} == wanted


def test_figures_from_memory_say_so():
    loaded = tables()
    # What the reference marks as recalled, not seen.
    assert loaded.materials["tinned_copper"].provenance.checked == "memory"
    assert all(item.provenance.checked == "memory" for item in loaded.insulations.values())
    assert all(size.provenance.checked == "memory" for size in loaded.series["iso_6722"])
    assert all(size.diameter_provenance.checked == "memory" for size in loaded.conductors.values())
    assert loaded.air.provenance.checked == "memory"
    for row in loaded.ampacities:
        assert row.provenance.checked == ("memory" if row.table == "iso_10133" else "page")
    for factor in loaded.factors:
        seen = (factor.table, factor.condition, factor.factor) == (
            "cfr_33_183_425",
            "engine_space",
            0.85,
        )
        assert factor.provenance.checked == ("page" if seen else "memory")


def test_every_mark_practice_names_common_practice():
    for spec in SPECS.values():
        for row in read_table(FOLDER, spec, read_sources(FOLDER)):
            if row["checked"] == "practice":
                assert row["source"] in ("common_practice", "pro_audio_convention"), row


@pytest.mark.parametrize("spec", EVERY_SPEC)
def test_unknown_source(spec, folder):
    table = Table(folder, spec)
    table.rows[-1]["source"] = "hearsay"
    table.refused(r"line \d+: unknown source 'hearsay'")


@pytest.mark.parametrize("spec", EVERY_SPEC)
@pytest.mark.parametrize("mark", ["", "rumour", "Page", "page "])
def test_bad_mark(spec, folder, mark):
    table = Table(folder, spec)
    table.rows[-1]["checked"] = mark
    table.refused(r"line \d+: checked is")


@pytest.mark.parametrize("spec", EVERY_SPEC)
def test_missing_locator(spec, folder):
    table = Table(folder, spec)
    table.rows[0]["locator"] = ""
    table.refused("line 2: no locator")


@pytest.mark.parametrize("spec", EVERY_SPEC)
def test_duplicate_key(spec, folder):
    table = Table(folder, spec)
    table.rows.append(dict(table.rows[0]))
    table.refused("duplicate key")


@pytest.mark.parametrize("spec", EVERY_SPEC)
def test_no_rows(spec, folder):
    table = Table(folder, spec)
    table.rows = []
    table.refused("no rows")


def renamed(header):
    return [header[0] + "_x", *header[1:]]


def swapped(header):
    return [header[1], header[0], *header[2:]]


def shortened(header):
    return header[1:]


def lengthened(header):
    return [*header, "extra"]


@pytest.mark.parametrize("spec", EVERY_SPEC)
@pytest.mark.parametrize("change", [renamed, swapped, shortened, lengthened])
def test_wrong_header(spec, folder, change):
    table = Table(folder, spec)
    table.write()
    lines = table.path.read_text("utf-8").splitlines()
    lines[0] = ",".join(change(table.header))
    table.path.write_text("\n".join(lines) + "\n", "utf-8")
    with pytest.raises(TableError, match="header is"):
        read_table(folder, spec, read_sources(folder))


@pytest.mark.parametrize("spec", EVERY_SPEC)
@pytest.mark.parametrize("change", ["more", "fewer", "far fewer"])
def test_row_of_another_length(spec, folder, change):
    table = Table(folder, spec)
    table.write()
    lines = table.path.read_text("utf-8").splitlines()
    lines[-1] = {
        "more": lines[-1] + ",surplus",
        "fewer": ",".join(lines[-1].split(",")[:-2]),
        "far fewer": lines[-1].split(",")[0],
    }[change]
    table.path.write_text("\n".join(lines) + "\n", "utf-8")
    with pytest.raises(TableError, match=f"line {len(lines)}:"):
        read_table(folder, spec, read_sources(folder))


@pytest.mark.parametrize(("spec", "column"), EVERY_NUMBER)
@pytest.mark.parametrize("text", ["abc", "1,5", "nan", "NaN", "inf", "-inf", "1_0", "\u0661", " 1"])
def test_not_a_number(spec, column, folder, text):
    table = Table(folder, spec)
    first_row_with(table, column.name)[column.name] = text
    table.refused(rf"line \d+: {column.name} is .*(not a number|outside)")


@pytest.mark.parametrize(("spec", "column"), EVERY_NUMBER)
@pytest.mark.parametrize("side", ["least", "greatest"])
def test_out_of_range(spec, column, folder, side):
    table = Table(folder, spec)
    step = {"least": -1e-3, "greatest": 1e-3}[side] * max(1.0, column.greatest)
    bound = getattr(column, side)
    first_row_with(table, column.name)[column.name] = repr(bound + step)
    table.refused(rf"line \d+: {column.name} is .*outside {column.least}")


@pytest.mark.parametrize(("spec", "column"), EVERY_CELL)
def test_empty_cell_without_a_note(spec, column, folder):
    table = Table(folder, spec)
    row = first_row_with(table, column.name)
    row[column.name] = row["note"] = ""
    table.refused(rf"line \d+: {column.name} is empty without a note")


@pytest.mark.parametrize(("spec", "column"), EVERY_CELL)
def test_empty_cell_with_a_note(spec, column, folder):
    table = Table(folder, spec)
    row = first_row_with(table, column.name)
    row[column.name], row["note"] = "", "left empty on purpose"
    if column.optional:
        try:
            table.read()
        except TableError as error:
            # A law may still ask for the cell; the rule on empty cells no longer does.
            assert "empty without a note" not in str(error)  # noqa: PT017
    else:
        table.refused(f"{column.name} is empty")


@pytest.mark.parametrize(("spec", "order"), EVERY_ORDER)
def test_broken_order(spec, order, folder):
    table = Table(folder, spec)
    low, high = neighbours(table, order)
    low[order.column], high[order.column] = high[order.column], low[order.column]
    way = "fall" if order.falling else "rise"
    table.refused(f"{order.column} does not {way} at")


@pytest.mark.parametrize(("spec", "order"), [case for case in EVERY_ORDER if case.values[1].strict])
def test_equal_neighbours_in_a_strict_order(spec, order, folder):
    table = Table(folder, spec)
    low, high = neighbours(table, order)
    high[order.column] = low[order.column]
    table.refused(f"{order.column} does not|duplicate key")


LAWS = [
    ("materials", {"key": "copper"}, {"beta_c": "280"}, r"coefficient x \(beta \+ 20\) = 1\.1"),
    ("materials", {"key": "aluminium"}, {"temperature_coefficient_20c_per_k": "0.0031"}, "not 1"),
    ("insulations", {"key": "pvc_105"}, {"overload_temperature_c": "105"}, "do not rise"),
    ("insulations", {"key": "pvc_105"}, {"overload_temperature_c": "161"}, "do not rise"),
    ("zones", {"key": "cargo_space"}, {"engine_space": "maybe"}, "must be yes or no"),
    ("zones", {"key": "engine_compartment"}, {"ambient_temperature_c": "30"}, "hotter than 30 C"),
    ("torques", {"joint": "bolt", "stud": "M12"}, {"joint": "glue"}, "the joint is not known"),
    # The bolt of the size bears 3 N m.
    ("torques", {"joint": "bolt", "stud": "M4"}, {"torque_n_m": "1.2"}, "no less than a steel"),
    ("air", {"temperature_k": "300"}, {"thermal_diffusivity_mm2_per_s": "23.2"}, "nu / alpha"),
    ("air", {"temperature_k": "300"}, {"prandtl": "0.7185"}, "nu / alpha"),
    # 1.70 ohm/km x 10 mm2 would be better than pure copper, 2.10 worse than any standard allows.
    ("conductor_sizes", {"key": "10 mm2"}, {"resistance_copper_ohm_per_km": "1.70"}, "= 0.986"),
    ("conductor_sizes", {"key": "10 mm2"}, {"resistance_copper_ohm_per_km": "2.10"}, "= 1.218"),
    (
        "conductor_sizes",
        {"key": "10 mm2"},
        {"resistance_tinned_copper_ohm_per_km": "2.20"},
        "tinned_copper resistance x section / resistivity = 1.276",
    ),
    (
        "conductor_sizes",
        {"key": "16 mm2"},
        {"resistance_aluminium_ohm_per_km": "1.70"},
        "aluminium resistance x section / resistivity = 0.962",
    ),
    ("conductor_sizes", {"key": "10 mm2"}, {"conductor_diameter_mm": "5.3"}, "fill 0.45"),
    ("conductor_sizes", {"key": "10 mm2"}, {"conductor_diameter_mm": "3.5"}, "fill 1.04"),
    ("conductor_sizes", {"key": "0.5 mm2"}, {"outside_diameter_mm": "1.1"}, "outside diameter"),
    (
        "ampacities",
        {"table": "cfr_33_183_425", "size": "6", "temperature_rating_c": "90"},
        {"ampacity_a": "95"},
        "cfr_33_183_425 6: ampacity falls from 80",
    ),
    (
        "rating_factors",
        {"table": "cfr_33_183_425", "condition": "bundled_conductors", "lower": "3"},
        {"upper": "4"},
        "ranges overlap at 4",
    ),
    (
        "rating_factors",
        {"table": "cfr_33_183_425", "condition": "bundled_conductors", "lower": "4"},
        {"factor": "0.75"},
        "factor moves the wrong way at 4",
    ),
    (
        "rating_factors",
        {"table": "cfr_33_183_425", "condition": "engine_space", "lower": "105"},
        {"factor": "0.9"},
        "factor moves the wrong way at 125",
    ),
]


@pytest.mark.parametrize(
    ("name", "where", "change", "fault"),
    LAWS,
    ids=[f"{name}-{'-'.join(change)}-{number}" for number, (name, _, change, _) in enumerate(LAWS)],
)
def test_broken_law(folder, name, where, change, fault):
    table = Table(folder, SPECS[f"{name}.csv"])
    table.row(**where).update(change)
    table.refused(fault)


def test_every_law_of_the_core_tables_is_broken_by_a_case():
    core = {value.file for value in vars(specs).values() if isinstance(value, TableSpec)}
    assert {f"{name}.csv" for name, _, _, _ in LAWS} == core


def test_all_faults_of_a_file_are_told_at_once(folder):
    table = Table(folder, specs.MATERIALS)
    table.rows[0]["source"] = "hearsay"
    table.rows[1]["beta_c"] = "hot"
    table.rows[2]["locator"] = ""
    told = table.refused("unknown source")
    assert "line 3: beta_c is 'hot', not a number" in told
    assert "line 4: no locator" in told
    assert told.count("\n") == 2


@pytest.mark.parametrize(
    ("column", "text"), [("diameter_source", "hearsay"), ("diameter_checked", "rumour")]
)
def test_provenance_of_the_diameters_is_checked_too(folder, column, text):
    table = Table(folder, specs.CONDUCTOR_SIZES)
    table.row(key="8 AWG")[column] = text
    table.write()
    with pytest.raises(TableError, match="8 AWG: unknown diameter"):
        load_tables(folder)


def test_load_tables_of_a_copy_equals_the_shipped_ones(folder):
    copy, shipped = load_tables(folder), tables()
    assert set(copy.conductors) == set(shipped.conductors)
    assert copy.ampacities == shipped.ampacities
    assert copy.factors == shipped.factors
    assert copy.sources == shipped.sources


def test_load_tables_refuses_a_broken_file(folder):
    table = Table(folder, specs.ZONES)
    table.rows[0]["ambient_temperature_c"] = "400"
    table.write()
    with pytest.raises(TableError, match="outside"):
        load_tables(folder)


def test_provenance_columns_end_every_file():
    for spec in SPECS.values():
        header = (FOLDER / spec.file).read_text("utf-8").splitlines()[0].split(",")
        assert tuple(header[-4:]) == PROVENANCE_COLUMNS
        assert tuple(header[: len(spec.key)]) == spec.key


def test_every_source_is_used_and_complete():
    sources = read_sources(FOLDER)
    used = set()
    for spec in SPECS.values():
        for row in read_table(FOLDER, spec, sources):
            used |= {str(text) for name, text in row.items() if name.endswith("source")}
    for source in sources.values():
        assert source.title
        assert source.edition
        assert source.publisher
        assert source.licence
        assert 1900 <= source.year <= 2030
    assert used <= set(sources)
