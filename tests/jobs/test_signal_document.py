"""Reading of signal paths: every fault by its pointer, alone and as a member of a job."""

import copy
from collections.abc import Callable
from typing import Any

import pytest

from loomwright.jobs.demo_library import demo_job
from loomwright.jobs.job import Job
from loomwright.jobs.signal_document import signal_path_from_document
from loomwright.pricing.faults import DocumentError
from loomwright.units import quantity_text
from loomwright.web.schemas.signal_examples import signal_examples

Document = dict[str, Any]


@pytest.fixture
def document() -> Document:
    """A path that has every part: bands at speaker level, a line sum, a relay."""
    bands, line = (copy.deepcopy(body["signal"]) for body in signal_examples().values())
    return {
        **{
            name: bands[name] + line[name]
            for name in ("take_offs", "sums", "inputs", "connections")
        },
        "turn_on": line["turn_on"],
    }


def faults(document: object) -> list[str]:
    with pytest.raises(DocumentError) as caught:
        signal_path_from_document(document, quantity_text)
    assert caught.value.subject == "signal"
    return [fault.pointer for fault in caught.value.faults]


def test_the_whole_document_is_read(document: Document) -> None:
    path = signal_path_from_document(document, quantity_text)
    assert list(path.take_offs) == ["front_woofer", "front_tweeter", "radio_left", "radio_right"]
    woofer, radio = path.take_offs["front_woofer"], path.take_offs["radio_left"]
    assert (woofer.bridged, woofer.upper_corner_hz, woofer.lower_corner_hz) == (True, 300.0, None)
    assert (radio.bridged, radio.least_load_ohm, radio.ground.potential_v) == (False, 10_000.0, 0.0)
    assert woofer.ground.path_resistance_ohm == pytest.approx(0.002, rel=1e-15)
    assert path.sums["front_full_range"].gain == 1.0
    assert path.inputs["bass_unit"].common_mode_rejection_db == 50.0
    assert path.inputs["amplifier_front"].turn_on_current_a == pytest.approx(0.015, rel=1e-15)
    first, second = path.connections
    assert (first.feed, first.input, first.converter_ratio) == (
        "front_full_range",
        "amplifier_front",
        4.0,
    )
    assert (second.shield_resistance_ohm, second.gain_overlap_db) == (0.05, 5.0)
    assert (path.turn_on.fuse_rating_a, path.turn_on.relay.coil_resistance_ohm) == (5.0, 360.0)
    assert path.turn_on.relay.stray_capacitance_f is None


def test_without_a_turn_on_and_sums_a_path_is_read() -> None:
    path = signal_path_from_document(
        {
            "take_offs": [
                {
                    "key": "a",
                    "description": "a",
                    "level_kind": "speaker_level",
                    "greatest_voltage": 4,
                    "bridged": False,
                }
            ],
            "inputs": [{"key": "b", "description": "b", "level_kind": "speaker_level"}],
            "connections": [{"fed_from": "a", "input": "b"}],
        }
    )
    assert (path.turn_on, path.sums, path.take_offs["a"].bridged) == (None, {}, False)


BROKEN: list[tuple[str, Any, list[str]]] = [
    ("take_offs/0/level_kind", "digital", ["take_offs/0/level_kind"]),
    ("take_offs/0/greatest_voltage", 5, ["take_offs/0/greatest_voltage"]),
    ("take_offs/0/load_impedance", None, ["take_offs/0/load_impedance"]),
    ("take_offs/2/greatest_voltage", None, ["take_offs/2/greatest_voltage"]),
    ("take_offs/2/load_impedance", 4, ["take_offs/2/greatest_power"]),
    ("take_offs/2/bridged", False, ["take_offs/2/bridged"]),
    ("take_offs/2/detects_open_load", True, ["take_offs/2/detects_open_load"]),
    ("take_offs/2/loudspeaker_stays", True, ["take_offs/2/loudspeaker_stays"]),
    ("take_offs/2/load_resistance", 47, ["take_offs/2/load_resistance"]),
    ("take_offs/0/lower_corner", 300, ["take_offs/0/upper_corner"]),
    ("take_offs/0/ground/potential", 0.1, ["take_offs/0/ground/potential"]),
    ("take_offs/0/ground/path_resistance", None, ["take_offs/0/ground/path_resistance"]),
    ("take_offs/2/ground/potential", None, ["take_offs/2/ground/potential"]),
    ("take_offs/1/key", "front_woofer", ["take_offs/1/key", "sums/0/take_offs/1"]),
    ("sums/0/key", "radio_left", ["sums/0/key", "connections/0/fed_from"]),
    ("sums/0/take_offs/0", "nobody", ["sums/0/take_offs/0"]),
    ("sums/0/summing_resistance", 100, ["sums/0/summing_resistance"]),
    ("sums/1/device_gain", 2, ["sums/1/device_gain"]),
    ("inputs/0/least_voltage", None, ["inputs/0/least_voltage"]),
    ("inputs/0/least_voltage", 5.5, ["inputs/0/greatest_voltage"]),
    ("inputs/0/common_mode_rejection_db", 40, ["inputs/0/common_mode_rejection_db"]),
    ("inputs/0/senses_signal", True, ["inputs/0/senses_signal"]),
    ("inputs/0/key", "nobody", ["connections/0/input", "inputs/0"]),
    ("connections/0/fed_from", "nobody", ["connections/0/fed_from"]),
    ("connections/0/input", "bass_unit", ["connections/1/input", "inputs/0"]),
    ("connections/0/isolation_rejection_db", 60, ["connections/0/isolation_rejection_db"]),
    ("turn_on/greatest_current", 0.3, ["turn_on/greatest_current"]),
    ("turn_on/fuse_rating", None, ["turn_on/greatest_current"]),
    (
        "turn_on/relay/suppression_resistance",
        100,
        ["turn_on/relay/suppression_resistance"],
    ),
    ("turn_on/relay/suppression", "resistor", ["turn_on/relay/suppression_resistance"]),
    ("turn_on/relay/coil_inductance", "0.9 H", ["turn_on/relay/coil_inductance"]),
]


@pytest.mark.parametrize(
    ("place", "value", "expected"), [pytest.param(*row, id=f"{row[0]}={row[1]}") for row in BROKEN]
)
def test_a_fault_is_named_by_its_pointer(
    document: Document, place: str, value: object, expected: list[str]
) -> None:
    *above, last = (int(step) if step.isdigit() else step for step in place.split("/"))
    holder: Any = document
    for step in above:
        holder = holder[step]
    if value is None:
        del holder[last]
    else:
        holder[last] = value
    assert sorted(faults(document)) == sorted(f"/{pointer}" for pointer in expected)


def test_a_digital_link_is_refused_with_what_to_do(document: Document) -> None:
    document["inputs"][0]["level_kind"] = "digital"
    with pytest.raises(DocumentError, match="lead it to a digital input"):
        signal_path_from_document(document, quantity_text)


def test_ends_of_a_range_may_meet(document: Document) -> None:
    document["inputs"][0].update(least_voltage=2, greatest_voltage=2)
    assert signal_path_from_document(document, quantity_text).inputs["amplifier_front"]


def test_all_faults_are_listed_at_once(document: Document) -> None:
    document["take_offs"][0]["greatest_power"] = "loud"
    document["inputs"][1]["turn_on_current"] = -1
    document["turn_on"]["relay"]["suppression"] = "hope"
    assert faults(document) == [
        "/take_offs/0/greatest_power",
        "/inputs/1/turn_on_current",
        "/turn_on/relay/suppression",
    ]


@pytest.mark.parametrize("value", [None, 5, [], "path"])
def test_what_is_no_object_is_one_fault(value: object) -> None:
    assert faults(value) == [""]


def test_a_job_takes_a_signal_path(read_job: Callable[[object], Job], document: Document) -> None:
    job = demo_job("combustion_car")
    del job["signal"]
    assert read_job(job).signal is None
    for entry in (*document["take_offs"], *document["inputs"]):
        entry["ground"] = {"potential": 0.0}
    document["inputs"][0].update(
        least_voltage=0.2, turn_on_current=0.015, equipment=job["equipment"][0]["key"]
    )
    document["connections"][0]["shield_resistance"] = 0.06
    signal = read_job({**job, "signal": document}).signal
    assert signal is not None
    assert signal.inputs["amplifier_front"].equipment == job["equipment"][0]["key"]
    document["take_offs"][1]["equipment"] = "nothing"
    document["inputs"][0]["impedance"] = 5
    with pytest.raises(DocumentError) as caught:
        read_job({**job, "signal": document})
    assert sorted(fault.pointer for fault in caught.value.faults) == [
        "/signal/inputs/0/impedance",
        "/signal/take_offs/1/equipment",
    ]
