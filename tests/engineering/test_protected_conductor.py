"""The conductor that a fuse protects: one candidate of a conductor sizing."""

import pytest

from loomwright.engineering.conductors.choice import ConductorRequest, Segment
from loomwright.engineering.conductors.sizing import size_conductor
from loomwright.engineering.protection.protected_conductor import (
    protected_conductor,
    table_provenance,
)
from loomwright.tables.load import tables

TABLES = tables()
PVC = TABLES.insulations["pvc_105"]


def sized(key, **changes):
    size = TABLES.conductors[key]
    request = ConductorRequest(
        **{
            "sizes": (size,),
            "material": TABLES.materials["copper"],
            "insulation": PVC,
            "supply_voltage_v": 12.0,
            "allowed_voltage_drop_v": 1.0,
            "segments": (Segment(2.0, 313.15), Segment(1.0, 333.65), Segment(1.0, 303.15)),
            "load_current_a": 1.0,
            "greatest_parallel_runs": 2,
            **changes,
        }
    )
    return request, size_conductor(request, TABLES)


@pytest.mark.parametrize(
    ("key", "source"),
    # 33 CFR 183.425 Table 5 begins at 18 AWG; below it and for metric sizes not listed there is
    # the heat balance at the rating of the insulation alone.
    [("18 AWG", "cfr_33_183"), ("20 AWG", PVC.provenance.source)],
)
def test_ampacity_is_of_the_table_where_it_governs_else_of_the_insulation(key, source):
    request, answer = sized(key)
    found = protected_conductor(request, answer, 0, TABLES)
    assert found.ampacity_provenance.source == source
    assert found.ampacity_a == float(answer.candidates.ampacity_a[0])


@pytest.mark.parametrize(
    ("table", "source"), [("cfr_33_183_425", "cfr_33_183"), ("iso_10133", "iso_10133")]
)
def test_provenance_of_a_table_is_that_of_its_rows(table, source):
    assert table_provenance(TABLES, table).source == source


@pytest.mark.parametrize("index", [0, 1])
def test_conductor_is_the_candidate_at_its_hottest_ambient(index):
    request, answer = sized("18 AWG")
    found = protected_conductor(request, answer, index, TABLES)
    assert found.parallel_conductors == index + 1
    assert found.thermal.ambient_temperature_k == 333.65
    loop = float(answer.candidates.loop_resistance_ohm[index])
    assert found.there_and_back_resistance_ohm == loop
