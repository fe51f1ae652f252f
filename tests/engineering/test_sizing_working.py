"""The steps of a conductor's working that are in words: their figures by hand and by unit."""

import math

import pytest

from loomwright.engineering.conductors.choice import ConductorRequest, Segment
from loomwright.engineering.conductors.sizing import size_conductor
from loomwright.engineering.conductors.sizing_working import conductor_working
from loomwright.tables.load import tables

TABLES = tables()


def request(**changes):
    values = {
        "sizes": TABLES.series["awg"],
        "material": TABLES.materials["copper"],
        "insulation": TABLES.insulations["pvc_105"],
        "supply_voltage_v": 12.0,
        "allowed_voltage_drop_v": 0.36,
        "segments": (Segment(2.0, 313.15), Segment(1.0, 333.65)),
        **changes,
    }
    if "load_power_w" not in values:
        values.setdefault("load_current_a", 50.0)
    return ConductorRequest(**values)


def working(asked, index):
    answer = size_conductor(asked, TABLES)
    return answer, conductor_working(asked, answer, index, TABLES)


def step_of(steps, text):
    (found,) = [step for step in steps if step.text.startswith(text)]
    return found


def test_cold_resistance_names_its_material_and_section():
    place = TABLES.series["awg"].index(TABLES.conductors["8 AWG"])
    _, steps = working(request(), place)
    step = step_of(steps, "Resistance of 8 AWG")
    # IEC 60028: 1/58 ohm mm2/m; ASTM B258: 8 AWG has 8.367 mm2.
    assert step.inputs["rho_ohm_mm2_per_m"] == pytest.approx(1.0 / 58.0, rel=1e-4)
    assert step.inputs["A_mm2"] == pytest.approx(8.367, rel=1e-3)
    # Square metres to square millimetres, to the seven digits that are shown.
    size = TABLES.conductors["8 AWG"]
    assert step.inputs["A_mm2"] == float(f"{size.cross_section_m2 * 1e6:.7g}")
    shown = float(f"{TABLES.materials['copper'].resistivity_20c_ohm_m * 1e6:.7g}")
    assert step.inputs["rho_ohm_mm2_per_m"] == shown
    # NEC chapter 9 table 8 prints 2.551 ohm/km at 75 C for 8 AWG stranded: 2.098 at 20 C by the
    # coefficient 0.00393. 1 %: geometry of its own.
    assert step.result == pytest.approx(2.098, rel=0.01)
    assert step.unit == "ohm/km"


def test_resistivity_and_section_are_those_printed():
    # 0.017241 ohm mm2/m, annealed copper (1/58 to five digits); nominal section of IEC 60228.
    asked = request(sizes=TABLES.series["metric"])
    _, steps = working(asked, asked.sizes.index(TABLES.conductors["10 mm2"]))
    assert steps[0].inputs == {"rho_ohm_mm2_per_m": 0.017241, "A_mm2": 10.0}


@pytest.mark.parametrize(
    ("series", "material", "listed"),
    [("metric", "copper", True), ("metric", "cca_10", False), ("awg", "copper", False)],
)
def test_printed_limit_is_said_only_where_one_is_printed(series, material, listed):
    asked = request(
        sizes=TABLES.series[series], material=TABLES.materials[material], load_current_a=1.0
    )
    assert (material in asked.sizes[5].resistance_20c_ohm_per_m) is listed
    _, steps = working(asked, 5)
    assert (steps[0].formula == "printed limit") is listed


@pytest.mark.parametrize("back", [True, False])
@pytest.mark.parametrize("runs", [1, 2])
def test_mean_temperature_gives_the_loop_resistance_back(back, runs):
    asked = request(
        return_by_conductor=back,
        greatest_parallel_runs=2,
        chassis_resistance_ohm=0.003,
        fixed_resistance_ohm=0.001,
    )
    size = TABLES.conductors["8 AWG"]
    place = asked.sizes.index(size) + (runs - 1) * len(asked.sizes)
    answer, steps = working(asked, place)
    mean = step_of(steps, "Mean conductor temperature")
    assert mean.inputs == {
        "I_a": 50.0,
        "runs": runs,
        "d_mm": pytest.approx(size.conductor_diameter_m * 1000.0, rel=1e-6),
        "D_mm": pytest.approx(size.outside_diameter_m * 1000.0, rel=1e-6),
        "Ta_c": "40, 60.5",
    }
    hottest = float(answer.candidates.conductor_temperature_k[place]) - 273.15
    assert 40.0 < mean.result < hottest
    cold = step_of(steps, "Resistance of 8 AWG").result / 1000.0
    ways = 2.0 if back else 1.0
    coefficient = 0.00393
    by_hand = ways * 3.0 * cold * (1.0 + coefficient * (mean.result - 20.0)) / runs
    whole = step_of(steps, "Resistance of the whole wiring")
    assert whole.inputs["R_fixed_ohm"] == pytest.approx(0.004, rel=1e-6)
    assert whole.inputs["R_conductors_ohm"] == pytest.approx(by_hand, rel=1e-5)
    assert whole.result == pytest.approx(by_hand + 0.004, rel=1e-5)
    assert step_of(steps, "Voltage drop").result == pytest.approx(50.0 * whole.result, rel=1e-6)


@pytest.mark.parametrize("changes", [{}, {"load_power_w": 300.0, "source_resistance_ohm": 0.01}])
@pytest.mark.parametrize("fixed_ohm", [0.0, 0.001, 0.05])
@pytest.mark.parametrize("key", ["12 AWG", "4/0 AWG"])
def test_greatest_length_uses_up_the_drop(changes, fixed_ohm, key):
    asked = request(fixed_resistance_ohm=fixed_ohm, **changes)
    place = asked.sizes.index(TABLES.conductors[key])
    answer, steps = working(asked, place)
    step = steps[-1]
    assert step.inputs["dU_v"] == 0.36
    wiring, current = step.inputs["R_wiring_ohm"], step.inputs["I_a"]
    assert wiring * current == pytest.approx(0.36, rel=1e-6)
    left = max(wiring - fixed_ohm, 0.0)
    assert step.result * step.inputs["R_per_metre_ohm_per_m"] == pytest.approx(left, rel=1e-5)
    assert step.result == pytest.approx(float(answer.candidates.greatest_length_m[place]), rel=1e-6)
    assert (step.result > 0.0) is (left > 0.0) is (step.inputs["R_per_metre_ohm_per_m"] > 0.0)
    if not left:
        assert step.result == step.inputs["R_per_metre_ohm_per_m"] == 0.0


def test_no_operating_point_has_no_working():
    answer, steps = working(request(load_power_w=50_000.0), 0)
    assert answer.verdict == "no_operating_point"
    assert steps == ()


def test_ampacity_step_names_the_published_figure_where_there_is_one():
    asked = request(load_current_a=1.0)
    for key, published in (("18 AWG", True), ("20 AWG", False)):
        answer, steps = working(asked, asked.sizes.index(TABLES.conductors[key]))
        step = step_of(steps, "Ampacity")
        assert ("published_a" in step.inputs) is published
        assert step.result == min(step.inputs.values())
        assert not math.isnan(step.result)
        assert answer.verdict == "conductor_found"


def test_no_length_is_left_where_joints_take_the_whole_drop():
    # 50 A over 0.36 V allow 7.2 milliohm; the joints alone have 20.
    _, steps = working(request(fixed_resistance_ohm=0.02), 3)
    step = step_of(steps, "Greatest one-way length")
    assert step.inputs["R_wiring_ohm"] == pytest.approx(0.0072)
    assert step.inputs["R_fixed_ohm"] == pytest.approx(0.02)
    assert (step.inputs["R_per_metre_ohm_per_m"], step.result) == (0.0, 0.0)
