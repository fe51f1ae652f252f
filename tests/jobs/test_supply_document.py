"""Reading of a vehicle's supply and its loads: values in SI, usual figures, every fault listed."""

import copy
import json
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.engineering.supply.request import DRIVING, ENGINE_OFF, IDLE, STATES, ExistingLoads
from loomwright.jobs.answer import answer_document
from loomwright.jobs.demo_library import demo_job
from loomwright.jobs.job import Job
from loomwright.jobs.priced_job import PricedJob
from loomwright.jobs.supply_document import StatedSupply, supply_from_document
from loomwright.pricing.faults import DocumentError, Fault
from loomwright.pricing.reading import ObjectReader
from loomwright.tables.supply_load import supply_tables
from loomwright.units import quantity_text
from loomwright.web.schemas.supply import SUPPLY_REQUEST, supply_examples
from loomwright.web.stated_jobs import stated_job

Document = dict[str, Any]
CAR: Document = {
    "system_voltage": 12,
    "supply": {
        "alternator": {
            "designation": "50/120A 13.5V",
            "pulley_ratio": 2.5,
            "idle_speed": 780,
            "cruise_speed": 2400,
        },
        "battery": {"kind": "flooded", "capacity": 70, "internal_resistance": 0.008},
    },
    "loads": [{"key": "lamp", "load_current": 5}],
}


def read(document: object) -> tuple[StatedSupply | None, list[Fault]]:
    faults: list[Fault] = []
    reader = ObjectReader(document, "", faults, SUPPLY_REQUEST.members, quantity_text)
    return supply_from_document(reader, supply_tables()), faults


def stated(document: object) -> StatedSupply:
    found, faults = read(document)
    assert faults == []
    assert found is not None
    return found


def changed(*changes: tuple[list[Any], object]) -> Document:
    """A copy of the car with members set, or removed for ``None``."""
    document = copy.deepcopy(CAR)
    for path, value in changes:
        place: Any = document
        for step in path[:-1]:
            place = place.setdefault(step, {}) if isinstance(place, dict) else place[step]
        if value is None:
            del place[path[-1]]
        else:
            place[path[-1]] = value
    return document


ALTERNATOR = ["supply", "alternator"]
BATTERY = ["supply", "battery"]
CONVERTER = ["supply", "converter"]
LOAD = ["loads", 0]
POINTS = [
    {"alternator_speed": 1500, "output_current": 50},
    {"alternator_speed": 6000, "output_current": 120},
]
CURVE = [
    {"state_of_charge_percent": 0, "open_circuit_voltage": 12},
    {"state_of_charge_percent": 100, "open_circuit_voltage": 13.4},
]


def test_usual_figures_stand_in_for_what_is_not_stated() -> None:
    supply = stated(CAR).request.supply
    # The test voltage, test speeds and shares of the tables; speeds in 1/s.
    assert supply.alternator is not None
    assert supply.alternator.set_voltage_v == 13.5
    assert supply.alternator.curve == ((25.0, 50.0), (100.0, 120.0))
    assert supply.alternator.hot_output_share == 0.8
    assert supply.alternator.idle_speed_per_s == pytest.approx(13.0)
    assert supply.alternator.cruise_speed_per_s == pytest.approx(40.0)
    assert supply.alternator.greatest_idle_speed_per_s == pytest.approx(20.0)
    assert supply.alternator.pulley_ratio == 2.5
    battery = supply.battery
    assert battery.capacity_as == 70.0 * 3600.0
    assert battery.rated_time_s == 20.0 * 3600.0
    assert battery.peukert_exponent == 1.25
    assert battery.internal_resistance_ohm == 0.008
    assert (battery.state_of_charge, battery.start_state_of_charge) == (0.8, 0.5)
    assert battery.cut_off_voltage_v == 10.5
    # 5 % in 30 days.
    assert battery.self_discharge_per_s * 30 * 86_400 == pytest.approx(0.05)
    assert battery.open_circuit_voltages_v[-1] == (1.0, 12.65)
    assert supply.existing == ExistingLoads()
    assert (supply.wanted_engine_off_s, supply.wanted_standing_s) == (None, None)
    assert (supply.resistance_is_cold, supply.share_is_practice) == (False, True)
    assert supply.converter is None
    (load,) = stated(CAR).request.loads
    assert (load.current_a, load.power_w, load.average_current_a) == (5.0, None, 5.0)
    assert (load.loop_resistance_ohm, load.least_voltage_v, load.standby_current_a) == (0, None, 0)
    assert (load.states, load.peak_time_s) == (STATES, 1.0)
    assert (load.has_drive_level, load.draw_exponent) == (False, 0.5)
    assert stated(CAR).prices == {}


def test_an_idle_above_the_usual_limit_stays_where_it_is() -> None:
    supply = stated(changed(([*ALTERNATOR, "idle_speed"], 1500))).request.supply
    assert supply.alternator is not None
    assert supply.alternator.greatest_idle_speed_per_s == 25.0


def test_what_is_stated_is_taken() -> None:
    document = changed(
        (ALTERNATOR, None),
        ([*CONVERTER, "greatest_power"], "1.5 kW"),
        ([*CONVERTER, "available_output_percent"], 40),
        ([*CONVERTER, "efficiency_percent"], 95),
        (["supply", "set_voltage"], "15 V"),
        (
            BATTERY,
            {
                "kind": "other",
                "capacity": "60000 mAh",
                "rated_time": "5 h",
                "internal_resistance": "4 mohm",
                "state_of_charge_percent": 90,
                "start_state_of_charge_percent": 20,
                "cut_off_voltage": 11,
                "peukert_exponent": 1.05,
                "self_discharge_percent_per_month": 3,
                "open_circuit_curve": CURVE,
            },
        ),
        (["supply", "existing_loads", "idle_current"], 1),
        (["supply", "existing_loads", "driving_current"], 2),
        (["supply", "existing_loads", "engine_off_current"], 3),
        (["supply", "existing_loads", "key_off_current"], "4 mA"),
        (["supply", "engine_off_time"], "90 min"),
        (["supply", "standing_time"], 14),
        (["remedy_prices"], {"raise_idle": "12.50", "second_battery": "0"}),
    )
    found = stated(document)
    supply = found.request.supply
    assert supply.converter is not None
    # 1500 W at 15 V.
    assert supply.converter.rated_current_a == pytest.approx(100.0)
    assert supply.converter.available_share == 0.4
    assert supply.converter.efficiency == 0.95
    assert supply.converter.set_voltage_v == 15.0
    battery = supply.battery
    assert (battery.capacity_as, battery.rated_time_s) == (60.0 * 3600.0, 5.0 * 3600.0)
    assert battery.internal_resistance_ohm == pytest.approx(0.004)
    assert (battery.state_of_charge, battery.start_state_of_charge) == (0.9, 0.2)
    assert (battery.cut_off_voltage_v, battery.peukert_exponent) == (11.0, 1.05)
    assert battery.self_discharge_per_s * 30 * 86_400 == pytest.approx(0.03)
    assert battery.open_circuit_voltages_v == ((0.0, 12.0), (1.0, 13.4))
    assert supply.existing == ExistingLoads(1.0, 2.0, 3.0, 0.004)
    assert supply.wanted_engine_off_s == 5400.0
    assert supply.wanted_standing_s == 14 * 86_400.0
    assert supply.share_is_practice is False
    assert found.prices == {"raise_idle": Decimal("12.50"), "second_battery": Decimal(0)}


def test_a_converter_of_stated_current_and_a_battery_without_self_discharge() -> None:
    document = changed(
        (ALTERNATOR, None),
        ([*CONVERTER, "greatest_current"], 80),
        ([*BATTERY, "kind"], "other"),
        ([*BATTERY, "open_circuit_curve"], CURVE),
        ([*BATTERY, "peukert_exponent"], 1),
    )
    supply = stated(document).request.supply
    assert supply.converter is not None
    assert (supply.converter.rated_current_a, supply.converter.available_share) == (80.0, 1.0)
    assert supply.converter.efficiency == 0.9
    assert supply.battery.self_discharge_per_s == 0.0


@pytest.mark.parametrize(
    ("volts", "designation", "set_v", "cut_off_v", "full_v"),
    [
        (12, "50/120A 13.5V", 13.5, 10.5, 12.65),
        # SAE J56: 27 V at 24 V.
        (24, "50/120A 27V", 27.0, 21.0, 25.3),
        (48, "50/120A 54V", 54.0, 42.0, 50.6),
    ],
)
def test_usual_voltages_go_with_the_system(
    volts: int, designation: str, set_v: float, cut_off_v: float, full_v: float
) -> None:
    document = changed(
        (["system_voltage"], volts),
        ([*ALTERNATOR, "designation"], designation),
        ([*BATTERY, "internal_resistance"], None),
        ([*BATTERY, "cold_cranking_current"], 500),
    )
    supply = stated(document).request.supply
    assert supply.system_voltage_v == volts
    assert supply.alternator is not None
    assert supply.alternator.set_voltage_v == pytest.approx(set_v)
    assert supply.battery.cut_off_voltage_v == pytest.approx(cut_off_v)
    assert supply.battery.open_circuit_voltages_v[-1][1] == pytest.approx(full_v)
    # EN 50342-1: 7.5 V for each battery of 12 V, from a full battery.
    expected = (full_v - 7.5 * volts / 12) / 500.0
    assert supply.battery.internal_resistance_ohm == pytest.approx(expected)
    assert supply.resistance_is_cold is True


def test_an_output_curve_serves_instead_of_the_designation() -> None:
    document = changed(
        ([*ALTERNATOR, "designation"], None),
        ([*ALTERNATOR, "output_curve"], POINTS),
        ([*ALTERNATOR, "hot_output_percent"], 70),
        ([*ALTERNATOR, "greatest_idle_speed"], "900 rpm"),
    )
    supply = stated(document).request.supply
    assert supply.alternator is not None
    assert supply.alternator.curve == ((25.0, 50.0), (100.0, 120.0))
    assert supply.alternator.hot_output_share == 0.7
    assert supply.alternator.greatest_idle_speed_per_s == pytest.approx(15.0)
    assert supply.share_is_practice is False


def load_of(**members: object) -> Any:
    document = changed((["loads"], [{"key": "a", **members}]))
    return stated(document).request.loads[0]


def test_average_and_crest_factor() -> None:
    assert load_of(load_current=40, average_current_share=0.25).average_current_a == 10.0
    assert load_of(load_power=120).average_current_a == pytest.approx(10.0)
    # One eighth of the power is 12.0412 dB of crest (IEC 62368-1); its square root for the draw of
    # a linear amplifier.
    eighth = {"load_current": 40, "crest_factor_db": 12.0412}
    switching = load_of(**eighth, draw_follows="output_power")
    assert switching.average_current_a == pytest.approx(5.0, rel=1e-5)
    assert switching.draw_exponent == 1.0
    assert load_of(**eighth).average_current_a == pytest.approx(40.0 / 8.0**0.5, rel=1e-5)


def test_a_drop_is_read_as_the_resistance_that_makes_it() -> None:
    assert load_of(load_current=20, voltage_drop=0.5).loop_resistance_ohm == pytest.approx(0.025)
    # 115 W at 11.5 V are 10 A.
    found = load_of(load_power=115, voltage_drop=0.5)
    assert found.loop_resistance_ohm == pytest.approx(0.05)
    assert (found.power_w, found.current_a) == (115.0, None)
    assert load_of(load_current=20, loop_resistance="15 mohm").loop_resistance_ohm == 0.015


def test_the_rest_of_a_load() -> None:
    found = load_of(
        load_current=1,
        least_voltage=10.5,
        standby_current="5 mA",
        states=[IDLE, ENGINE_OFF],
        peak_time="500 ms",
        has_drive_level=True,
    )
    assert (found.least_voltage_v, found.standby_current_a) == (10.5, 0.005)
    assert (found.states, found.peak_time_s, found.has_drive_level) == (
        (IDLE, ENGINE_OFF),
        0.5,
        True,
    )
    assert DRIVING not in found.states


def locators(document: object) -> set[str]:
    request = stated(document).request
    return {row.locator for row in (*request.supply.provenances, *request.provenances)}


def test_only_figures_that_are_used_are_sources() -> None:
    usual = locators(CAR)
    for part in ("test voltage", "low test speed", "hot alternator", "flooded", "musical peak"):
        assert any(part in locator for locator in usual), part
    assert not any("DC-DC" in locator for locator in usual)
    document = changed(
        (["supply", "set_voltage"], 14),
        ([*ALTERNATOR, "designation"], None),
        ([*ALTERNATOR, "output_curve"], POINTS),
        ([*ALTERNATOR, "hot_output_percent"], 70),
        ([*ALTERNATOR, "greatest_idle_speed"], 900),
        ([*BATTERY, "peukert_exponent"], 1.2),
        ([*BATTERY, "self_discharge_percent_per_month"], 4),
        ([*BATTERY, "state_of_charge_percent"], 70),
        ([*BATTERY, "start_state_of_charge_percent"], 40),
        ([*BATTERY, "cut_off_voltage"], 10),
        ([*BATTERY, "open_circuit_curve"], CURVE),
        ([*LOAD, "peak_time"], 2),
    )
    assert locators(document) == set()
    del document["supply"]["battery"]["peukert_exponent"]
    assert len(locators(document)) == 1


FAULTS: list[tuple[str, list[tuple[list[Any], object]], str]] = [
    ("no-voltage", [(["system_voltage"], None)], "/system_voltage"),
    ("no-supply", [(["supply"], None)], "/supply"),
    ("no-loads", [(["loads"], [])], "/loads"),
    ("unknown", [(["supply", "colour"], "red")], "/supply/colour"),
    ("two-sources", [([*CONVERTER, "greatest_current"], 9)], "/supply/converter"),
    ("set-low", [(["supply", "set_voltage"], 11.9)], "/supply/set_voltage"),
    ("set-high", [(["supply", "set_voltage"], 16.1)], "/supply/set_voltage"),
    ("set-text", [(["supply", "set_voltage"], "far")], "/supply/set_voltage"),
    ("cruise", [([*ALTERNATOR, "cruise_speed"], 779)], "/supply/alternator/cruise_speed"),
    (
        "greatest-idle",
        [([*ALTERNATOR, "greatest_idle_speed"], 779)],
        "/supply/alternator/greatest_idle_speed",
    ),
    ("no-curve", [([*ALTERNATOR, "designation"], None)], "/supply/alternator/designation"),
    ("two-curves", [([*ALTERNATOR, "output_curve"], POINTS)], "/supply/alternator/designation"),
    ("stamp", [([*ALTERNATOR, "designation"], "strong")], "/supply/alternator/designation"),
    ("falling", [([*ALTERNATOR, "designation"], "90/80A 13.5V")], "/supply/alternator/designation"),
    ("stamp-24", [([*ALTERNATOR, "designation"], "50/90A 27V")], "/supply/alternator/designation"),
    (
        "speeds",
        [
            ([*ALTERNATOR, "designation"], None),
            ([*ALTERNATOR, "output_curve"], [POINTS[0], POINTS[1] | {"alternator_speed": 1500}]),
        ],
        "/supply/alternator/output_curve/1/alternator_speed",
    ),
    (
        "outputs",
        [
            ([*ALTERNATOR, "designation"], None),
            ([*ALTERNATOR, "output_curve"], [POINTS[0], POINTS[1] | {"output_current": 49}]),
        ],
        "/supply/alternator/output_curve/1/output_current",
    ),
    (
        "converter-both",
        [
            (ALTERNATOR, None),
            (CONVERTER, {"greatest_current": 50, "greatest_power": 500}),
        ],
        "/supply/converter/greatest_current",
    ),
    (
        "converter-none",
        [(ALTERNATOR, None), (CONVERTER, {})],
        "/supply/converter/greatest_current",
    ),
    ("kind", [([*BATTERY, "kind"], "gel")], "/supply/battery/kind"),
    (
        "resistance-none",
        [([*BATTERY, "internal_resistance"], None)],
        "/supply/battery/internal_resistance",
    ),
    (
        "resistance-both",
        [([*BATTERY, "cold_cranking_current"], 500)],
        "/supply/battery/internal_resistance",
    ),
    ("other-curve", [([*BATTERY, "kind"], "other")], "/supply/battery/open_circuit_curve"),
    ("other-exponent", [([*BATTERY, "kind"], "other")], "/supply/battery/peukert_exponent"),
    (
        "other-cranking",
        [
            ([*BATTERY, "kind"], "other"),
            ([*BATTERY, "internal_resistance"], None),
            ([*BATTERY, "cold_cranking_current"], 500),
        ],
        "/supply/battery/cold_cranking_current",
    ),
    (
        "curve-start",
        [([*BATTERY, "open_circuit_curve"], [CURVE[0] | {"state_of_charge_percent": 1}, CURVE[1]])],
        "/supply/battery/open_circuit_curve",
    ),
    (
        "curve-end",
        [
            (
                [*BATTERY, "open_circuit_curve"],
                [CURVE[0], CURVE[1] | {"state_of_charge_percent": 99}],
            )
        ],
        "/supply/battery/open_circuit_curve",
    ),
    (
        "curve-charge",
        [([*BATTERY, "open_circuit_curve"], [CURVE[0], CURVE[1] | {"state_of_charge_percent": 0}])],
        "/supply/battery/open_circuit_curve/1/state_of_charge_percent",
    ),
    (
        "curve-voltage",
        [([*BATTERY, "open_circuit_curve"], [CURVE[0], CURVE[1] | {"open_circuit_voltage": 12}])],
        "/supply/battery/open_circuit_curve/1/open_circuit_voltage",
    ),
    (
        "cranking-above-the-curve",
        [
            (
                [*BATTERY, "open_circuit_curve"],
                [CURVE[0] | {"open_circuit_voltage": 6}, CURVE[1] | {"open_circuit_voltage": 7.5}],
            ),
            ([*BATTERY, "internal_resistance"], None),
            ([*BATTERY, "cold_cranking_current"], 500),
        ],
        "/supply/battery/cold_cranking_current",
    ),
    ("capacity", [([*BATTERY, "capacity"], "70 A")], "/supply/battery/capacity"),
    ("load-none", [([*LOAD, "load_current"], None)], "/loads/0/load_current"),
    ("load-both", [([*LOAD, "load_power"], 50)], "/loads/0/load_current"),
    (
        "average-twice",
        [([*LOAD, "average_current_share"], 0.5), ([*LOAD, "crest_factor_db"], 12)],
        "/loads/0/average_current_share",
    ),
    (
        "wiring-twice",
        [([*LOAD, "loop_resistance"], 0.01), ([*LOAD, "voltage_drop"], 0.5)],
        "/loads/0/loop_resistance",
    ),
    ("drop-of-all", [([*LOAD, "voltage_drop"], 12)], "/loads/0/voltage_drop"),
    ("states-none", [([*LOAD, "states"], [])], "/loads/0/states"),
    ("state", [([*LOAD, "states"], ["key_off"])], "/loads/0/states/0"),
    ("draw", [([*LOAD, "draw_follows"], "mood")], "/loads/0/draw_follows"),
    ("price", [(["remedy_prices"], {"raise_idle": 12})], "/remedy_prices/raise_idle"),
    ("key-twice", [(["loads"], [CAR["loads"][0], CAR["loads"][0]])], "/loads/1/key"),
]


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [pytest.param(changes, pointer, id=name) for name, changes, pointer in FAULTS],
)
def test_a_fault_is_named_by_its_pointer(
    changes: list[tuple[list[Any], object]], pointer: str
) -> None:
    found, faults = read(changed(*changes))
    assert found is None
    assert pointer in [fault.pointer for fault in faults]


@pytest.mark.parametrize("volts", [12.0, 16.08])
def test_a_set_voltage_at_its_bound_is_one(volts: float) -> None:
    assert stated(changed((["supply", "set_voltage"], volts)))


def test_equal_speeds_and_currents_at_a_bound_are_right() -> None:
    document = changed(
        ([*ALTERNATOR, "cruise_speed"], 780),
        ([*ALTERNATOR, "greatest_idle_speed"], 780),
        ([*ALTERNATOR, "designation"], "90/90A 13.5V"),
    )
    assert stated(document)
    level = [POINTS[0], POINTS[1] | {"output_current": 50}]
    assert stated(
        changed(([*ALTERNATOR, "designation"], None), ([*ALTERNATOR, "output_curve"], level))
    )


def test_faults_of_supply_and_loads_are_listed_at_once() -> None:
    document = changed(
        (["system_voltage"], 13),
        ([*ALTERNATOR, "designation"], "strong"),
        ([*BATTERY, "kind"], "gel"),
        ([*LOAD, "load_current"], None),
        (["remedy_prices"], {"raise_idle": "dear"}),
    )
    assert [fault.pointer for fault in read(document)[1]] == [
        "/system_voltage",
        "/supply/alternator/designation",
        "/supply/battery/kind",
        "/loads/0/load_current",
        "/remedy_prices/raise_idle",
    ]


JSON_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=5,
)


def places(value: object, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Paths of everything in a document."""
    inner: list[tuple[Any, object]] = []
    if isinstance(value, dict):
        inner = list(value.items())
    elif isinstance(value, list):
        inner = list(enumerate(value))
    return [(*path, key) for key, _ in inner] + [
        found for key, entry in inner for found in places(entry, (*path, key))
    ]


@given(data=st.data(), value=JSON_VALUES)
def test_any_json_is_read_or_refused(data: st.DataObject, value: object) -> None:
    name = data.draw(st.sampled_from(sorted(supply_examples())))
    document = json.loads(json.dumps(supply_examples()[name]))
    path = data.draw(st.sampled_from(places(document)))
    place = document
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = value
    found, faults = read(document)
    assert (found is None) == bool(faults)


def job_with(supply: object) -> Document:
    document = demo_job("combustion_car")
    document["supply"] = supply
    return document


def test_a_job_may_state_the_supply_of_its_vehicle() -> None:
    job: Job = stated_job(job_with(CAR["supply"]))
    assert job.supply == stated(CAR).request.supply
    without = demo_job("combustion_car")
    del without["supply"]
    assert stated_job(without).supply is None


def test_a_bill_does_not_depend_on_the_supply(priced: Callable[..., PricedJob]) -> None:
    document = demo_job("combustion_car")
    document["equipment"][0] |= {"standby_current": 0.003, "least_voltage": 10.8}
    with_supply = priced({**document, "supply": CAR["supply"]})
    without = demo_job("combustion_car")
    del without["supply"]
    assert answer_document(with_supply) == answer_document(priced(without))


def test_a_supply_of_a_job_has_the_system_voltage_of_its_vehicle() -> None:
    document = demo_job("truck_24v")
    battery = {"kind": "agm", "capacity": 100, "internal_resistance": 0.01}
    document["supply"] = {"battery": battery}
    supply = stated_job(document).supply
    assert supply is not None
    assert supply.system_voltage_v == 24.0
    assert supply.battery.cut_off_voltage_v == 21.0


def test_faults_of_a_supply_are_those_of_its_job() -> None:
    with pytest.raises(DocumentError) as caught:
        stated_job(job_with({"alternator": {}, "battery": {"kind": "agm"}}))
    assert {fault.pointer for fault in caught.value.faults} >= {
        "/supply/alternator/pulley_ratio",
        "/supply/battery/capacity",
    }


def test_equipment_of_a_job_says_what_it_is_as_a_load() -> None:
    document = demo_job("combustion_car")
    document["equipment"][0] |= {
        "standby_current": "3 mA",
        "average_current_share": 0.3,
        "least_voltage": 10.8,
    }
    first, second = stated_job(document).equipment[:2]
    assert (first.standby_current_a, first.average_current_share, first.least_voltage_v) == (
        0.003,
        0.3,
        10.8,
    )
    assert (second.standby_current_a, second.average_current_share) == (None, None)
    assert second.least_voltage_v is None
