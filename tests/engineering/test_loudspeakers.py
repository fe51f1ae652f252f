"""Loudspeaker figures against published formulas and the exposure table."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.engineering.audio import loudspeakers

FILE = Path(__file__).parents[1] / "cases" / "loudspeakers" / "formulas.json"
FUNCTIONS = {
    "level": loudspeakers.sound_pressure_level_in_free_field_db,
    "exposure": loudspeakers.permitted_exposure_s,
    "series": loudspeakers.impedance_in_series_ohm,
    "parallel": loudspeakers.impedance_in_parallel_ohm,
}


@pytest.mark.parametrize(
    "case",
    [pytest.param(case, id=case["id"]) for case in json.loads(FILE.read_text("utf-8"))],
)
def test_formula(case):
    given_values = dict(case["given"])
    value = FUNCTIONS[given_values.pop("function")](**given_values)
    tolerance = case["tolerance"]
    assert value == pytest.approx(
        case["expected"]["value"],
        rel=tolerance.get("relative", 0.0),
        abs=tolerance.get("absolute", 0.0),
    )


@given(st.floats(0.1, 100.0), st.integers(1, 16))
def test_series_of_parallel_groups_of_equal_number_keeps_the_impedance(coil_ohm, coils):
    group = loudspeakers.impedance_in_parallel_ohm(coil_ohm, coils)
    whole = loudspeakers.impedance_in_series_ohm(group, coils)
    assert whole == pytest.approx(coil_ohm, rel=1e-12)


@given(st.floats(0.0, 200.0), st.floats(0.0, 30.0))
def test_louder_is_never_permitted_longer(level_db, step_db):
    quiet, loud = np.array([level_db]), np.array([level_db + step_db])
    assert loudspeakers.permitted_exposure_s(loud) <= loudspeakers.permitted_exposure_s(quiet)
    assert loudspeakers.permitted_exposure_s(quiet)[0] == pytest.approx(
        loudspeakers.permitted_exposure_s(level_db), rel=1e-12
    )


def test_no_time_is_permitted_above_the_ceiling():
    # NIOSH 98-126: the limit halves for each 3 dB up to a ceiling of 140 dBA (memory);
    # 8 h * 2**(-55 / 3) by hand.
    assert loudspeakers.permitted_exposure_s(140.0) == pytest.approx(0.0872, abs=5e-5)
    assert loudspeakers.permitted_exposure_s(140.1) == 0.0
