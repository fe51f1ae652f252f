"""Every caution of the one table is called for by some request, and none stands outside it."""

import copy
from typing import Any

import pytest
from flask.testing import FlaskClient

from loomwright.engineering.cautions import CAUTIONS
from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from loomwright.jobs.job import HAZARDS
from loomwright.web.app import create_app
from loomwright.web.schemas.network import network_examples
from loomwright.web.schemas.signal_examples import signal_examples
from loomwright.web.schemas.supply import supply_examples

Document = dict[str, Any]

CONDUCTOR: Document = {
    "series": "awg",
    "load_current": 20,
    "supply_voltage": 12.6,
    "length": 4.5,
    "zone": "engine_compartment",
}
FUSE: Document = {
    "series": "awg",
    "size": "8 AWG",
    "load_current": 25,
    "source_voltage": 12.6,
    "source_resistance": 0.008,
    "resistance_before_fuse": 0.006,
    "length": 5,
    "fuse_types": ["iso_8820_3_c"],
}
OUTPUT: Document = {
    "fuse_rating": 25,
    "supply_voltage": 12,
    "amplifier_class": "AB",
    "converter": "regulated",
    "load_impedance": 4,
}
LOAD: Document = {
    "drivers": [{"quantity": 2, "coil_impedance": 4, "power_limit": 200}],
    "least_load_impedance": 2,
}
# What each request is there for, and the request.
REQUESTS: list[tuple[str, str, Document]] = [
    ("copper_clad", "size-conductor", CONDUCTOR | {"material": "cca_15"}),
    ("aluminium", "size-conductor", CONDUCTOR | {"material": "aluminium"}),
    (
        "chassis_return",
        "size-conductor",
        CONDUCTOR | {"return_path": "chassis", "chassis_resistance": 0.001},
    ),
    (
        "parallel_runs",
        "size-conductor",
        CONDUCTOR | {"given_size": "8 AWG", "given_parallel_runs": 2},
    ),
    # 12.6 V behind 0.1 ohm delivers at most 12.6^2 / 0.4 = 397 W: 300 W is more than half.
    (
        "near_collapse",
        "size-conductor",
        {
            **{name: value for name, value in CONDUCTOR.items() if name != "load_current"},
            "load_power": 300,
            "source_resistance": 0.1,
            "given_size": "2/0 AWG",
            "allowed_voltage_drop_percent": 50,
        },
    ),
    ("opening_times_from_memory", "size-fuse", FUSE),
    ("road_vehicle_position", "size-fuse", FUSE),
    ("ambient_factor_low_confidence", "size-fuse", FUSE | {"fuse_ambient_temperature": 80}),
    (
        "higher_voltage_variant",
        "size-fuse",
        FUSE
        | {
            "system_voltage": "48",
            "source_voltage": 52,
            "source_resistance": 0.06,
            "resistance_before_fuse": 0.001,
        },
    ),
    (
        "warm_battery",
        "size-fuse",
        {
            **{name: value for name, value in FUSE.items() if name != "source_resistance"},
            "cold_cranking_current": 500,
        },
    ),
    ("cyclic_load", "size-fuse", FUSE | {"on_time": 20, "off_time": 60}),
    ("rating_above_ampacity", "size-fuse", FUSE | {"rating_may_exceed_ampacity": True}),
    ("parallel_runs", "size-fuse", FUSE | {"parallel_runs": 2}),
    (
        "breaking_capacity_exceeded",
        "size-fuse",
        FUSE | {"resistance_before_fuse": 0.001, "breaking_capacity_may_be_exceeded": True},
    ),
    ("fuse_not_above_conductor", "size-fuse", FUSE),
    ("amplifier_heat", "estimate-real-output", OUTPUT),
    ("common_practice_factors", "estimate-real-output", OUTPUT),
    ("claim_conditions_unknown", "estimate-real-output", OUTPUT | {"claimed_output": 1000}),
    (
        "claim_in_bursts_only",
        "estimate-real-output",
        OUTPUT | {"claimed_output": 320, "programme": "bass_music"},
    ),
    (
        "source_limits_output",
        "estimate-real-output",
        {
            **{name: value for name, value in OUTPUT.items() if name != "supply_voltage"},
            "source_voltage": 24,
            "source_resistance": 1,
        },
    ),
    ("outside_cta_2006_scope", "estimate-real-output", OUTPUT | {"supply_voltage": 24}),
    ("free_field_level", "estimate-real-output", OUTPUT | {"loudspeaker_sensitivity_db": 70}),
    ("hearing", "estimate-real-output", OUTPUT | {"loudspeaker_sensitivity_db": 90}),
    ("nominal_impedance", "match-load-impedance", LOAD),
    (
        "unlike_drivers",
        "match-load-impedance",
        LOAD | {"drivers": [{"coil_impedance": 4}, {"coil_impedance": 8}]},
    ),
    # 4 and 8 ohm share the power 2 to 1, in parallel and in series.
    (
        "unequal_power",
        "match-load-impedance",
        LOAD | {"drivers": [{"coil_impedance": 4}, {"coil_impedance": 8}]},
    ),
    ("bridged_outputs", "match-load-impedance", LOAD | {"bridged": True}),
    # Two drivers of 4 ohm are 2 ohm in parallel, below the 4 ohm of the statement.
    (
        "output_below_stated_load",
        "match-load-impedance",
        LOAD | {"outputs": [{"load_impedance": 4, "output": 100}]},
    ),
    # 50 W at 4 ohm are 14.1 V, 150 W at 2 ohm are 17.3 V.
    (
        "stated_outputs_disagree",
        "match-load-impedance",
        LOAD
        | {
            "outputs": [
                {"load_impedance": 4, "output": 50},
                {"load_impedance": 2, "output": 150},
            ]
        },
    ),
    # 4 kW at 4 ohm are 2 kW at the 8 ohm of both in series, 1 kW for each.
    (
        "driver_overload",
        "match-load-impedance",
        LOAD | {"outputs": [{"load_impedance": 4, "output": 4000}]},
    ),
    ("engine_bay_heat", "size-conductor", CONDUCTOR),
]
SIGNAL = signal_examples()["line_outputs_behind_a_relay"]
UNRANGED = signal_examples()["line_outputs_behind_a_relay"]
for end in ("least_voltage", "greatest_voltage"):
    del UNRANGED["signal"]["inputs"][0][end]
REQUESTS += [
    ("signal_wires", "plan-signal-path", SIGNAL),
    ("ground_noise_bound", "plan-signal-path", SIGNAL),
    ("input_range_assumed", "plan-signal-path", UNRANGED),
    (
        "bridged_outputs",
        "plan-signal-path",
        signal_examples()["factory_amplifier_in_bands"],
    ),
]
REQUESTS += [
    (caution, "build-bill-of-materials", {"job": demo_job(name)})
    for name, cautions in {
        "combustion_car": ("behind_the_panel", "airbag", "outside_published_curve"),
        "hybrid_jump_start": ("jump_start_post", "high_voltage"),
        "van_second_battery": ("two_sources", "mains_output", "battery_in_living_space"),
        "truck_24v": ("battery_in_series", "combustion_heater"),
    }.items()
    for caution in cautions
]
CAR, TRUCK, HYBRID = (
    supply_examples()[name] for name in ("car_with_music", "truck_24v", "hybrid_with_converter")
)
SLOW = copy.deepcopy(CAR)
# 2.7 x 500 rpm lie below the low test speed of 1500 rpm.
SLOW["supply"]["alternator"]["idle_speed"] = 500
REQUESTS += [
    (caution, "assess-supply", body)
    for body, cautions in (
        (HYBRID, ("high_voltage", "converter_never_overloaded")),
        (
            CAR,
            (
                "battery_gas",
                "second_battery_protection",
                "deep_discharge",
                "raised_idle",
                "cold_battery_resistance",
                "hot_alternator",
            ),
        ),
        (TRUCK, ("battery_in_series", "below_rated_current")),
        (SLOW, ("outside_output_curve",)),
    )
    for caution in cautions
]
SOLDERED = demo_job("truck_24v")
SOLDERED["circuits"][1]["joining"] = "solder"
REQUESTS.append(("soldered_joint", "build-bill-of-materials", {"job": SOLDERED}))
REQUESTS += [
    (caution, "check-measurements", {"job": demo_job("combustion_car")})
    for caution in ("measure_under_load", "meter_leads", "airbag")
]
HAZARDOUS = demo_job("hybrid_jump_start")
HAZARDOUS["vehicle"]["hazards"] = list(HAZARDS)
REQUESTS += [
    (caution, operation, {"job": HAZARDOUS})
    for operation in ("build-bill-of-materials", "build-work-order")
    for caution in (
        "airbag_wait", "battery_sensor", "fuel_lines", "keyless_wake_up", "start_stop",
    )
]  # fmt: skip
REQUESTS += [
    (caution, "build-work-order", {"job": HAZARDOUS})
    for caution in ("converter_feeds_low_voltage", "service_disconnect")
]
THIN = network_examples()["converter_at_its_limit"]
# One run of a thin size for 1 kW at 12 V.
THIN["branches"][1]["conductor"] |= {"size": "10 AWG", "parallel_runs": 1}
STRONG = network_examples()["more_than_the_battery_delivers"]
# Of 720 W at most.
STRONG["loads"][0]["load_power"] = 400
REQUESTS += [
    (caution, "solve-network", body)
    for body, cautions in (
        (THIN, ("current_above_ampacity", "source_at_limit", "two_sources")),
        (STRONG, ("near_collapse",)),
    )
    for caution in cautions
]
ALWAYS = {"defer_to_maker", "isolate_battery", "fuse_at_source"}


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return create_app().test_client()


def cautions(client: FlaskClient, operation: str, body: Document) -> list[Document]:
    response = client.post(f"/v1/{operation}", json=body)
    assert response.status_code == 200, response.get_data(as_text=True)
    found: list[Document] = response.get_json()["cautions"]
    return found


@pytest.mark.parametrize(
    ("caution", "operation", "body"),
    [pytest.param(*entry, id=f"{entry[1]}-{entry[0]}") for entry in REQUESTS],
)
def test_a_request_calls_for_its_caution(
    client: FlaskClient, caution: str, operation: str, body: Document
) -> None:
    found = cautions(client, operation, body)
    keys = [entry["key"] for entry in found]
    assert caution in keys
    assert len(keys) == len(set(keys))
    assert all(entry["text"] == CAUTIONS[entry["key"]] for entry in found)
    if operation not in (
        "estimate-real-output",
        "match-load-impedance",
        "check-measurements",
        "plan-signal-path",
    ):
        assert set(keys) >= ALWAYS


def test_every_caution_is_called_for_by_some_request(client: FlaskClient) -> None:
    found = {
        entry["key"]
        for _, operation, body in REQUESTS
        for entry in cautions(client, operation, body)
    }
    # That of stock needs a provider; tests/web/test_provided_books.py calls for it.
    assert found == set(CAUTIONS) - {"stock_out_of_date"}


def test_no_text_stands_under_two_keys() -> None:
    assert len(set(CAUTIONS.values())) == len(CAUTIONS)
    assert all(text.endswith(".") and text[0].isupper() for text in CAUTIONS.values())


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_a_bill_has_no_caution_on_position_limits_that_it_does_not_print(
    client: FlaskClient, name: str
) -> None:
    found = cautions(client, "build-bill-of-materials", {"job": demo_job(name)})
    assert "road_vehicle_position" not in {entry["key"] for entry in found}
