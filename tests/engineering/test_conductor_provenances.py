"""Rows of the tables that a conductor's figures rest on: each table once, factors as they apply."""

from collections import Counter

import pytest

from loomwright.engineering.conductors.provenances import conductor_provenances
from loomwright.tables.load import tables

FREE = (1, False)
ENGINE = (1, True)


def rows(
    *places: tuple[int, bool], size: str = "4 AWG", material: str = "copper"
) -> list[tuple[str, str]]:
    """Return source and locator of each row for PVC of 105 C."""
    known = tables()
    found = conductor_provenances(
        known.conductors[size],
        known.materials[material],
        known.insulations["pvc_105"],
        places,
        known,
    )
    return [(row.source, row.locator) for row in found]


SIZE = ("astm_b258", "d = 0.127 mm * 92^((36-n)/39)")
DIAMETER = ("sae_j1127_j1128", "nominal wall of J1128 GXL or J1127 SGX, fill 0.77")
COPPER = ("iec_60028", "1/58 ohm mm2/m; handbook Table 30.1")
PVC = ("iec_60364_4_43", "Table 43A, thermoplastic")
AIR = ("incropera", "Table A.4")
FEDERAL = ("cfr_33_183", "183.425 Table 5")
FEDERAL_BUNDLE = ("abyc_e11", "Tables VI-B to VI-E")
FEDERAL_ENGINE = ("cfr_33_183", "183.425 Table 5 note 1")


def test_a_conductor_alone_rests_on_size_metal_insulation_air_and_ampacity() -> None:
    assert rows(FREE) == [SIZE, DIAMETER, COPPER, PVC, AIR, FEDERAL]


def test_a_clad_conductor_has_no_published_ampacity() -> None:
    clad = ("astm_b566", "class 15A/15H, least conductivity")
    assert rows(FREE, material="cca_15") == [SIZE, DIAMETER, clad, PVC, AIR]


def test_a_tinned_conductor_has_that_of_copper() -> None:
    assert FEDERAL in rows(FREE, material="tinned_copper")


def test_a_metric_conductor_rests_on_the_metric_table() -> None:
    found = rows(FREE, size="16 mm2")
    assert [source for source, _ in found][-1] == "iso_10133"
    assert "cfr_33_183" not in dict(found)


@pytest.mark.parametrize(
    ("count", "factors"), [(1, 0), (2, 0), (3, 1), (4, 1), (6, 1), (7, 1), (24, 1), (25, 1)]
)
def test_a_bundle_rests_on_the_one_factor_of_its_number(count: int, factors: int) -> None:
    # The first is printed for three conductors.
    assert Counter(rows((count, False)))[FEDERAL_BUNDLE] == factors


def test_the_engine_space_rests_on_its_factors() -> None:
    assert FEDERAL_ENGINE not in rows(FREE, (4, False))
    assert FEDERAL_ENGINE in rows(FREE, ENGINE)
    assert FEDERAL_BUNDLE not in rows(ENGINE)


def test_every_segment_is_looked_at() -> None:
    assert Counter(rows((3, False), (4, False), FREE))[FEDERAL_BUNDLE] == 2
