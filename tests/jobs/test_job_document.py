"""Reading of job documents: every fault with its JSON pointer, and units at the door."""

import copy
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from loomwright.jobs.job import Job
from loomwright.jobs.job_document import job_from_document
from loomwright.pricing.faults import DocumentError
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.units import KINDS

Document = dict[str, Any]
Read = Callable[[object], Job]


def changed(document: Document, path: list[Any], value: object) -> Document:
    """A copy of a document with one member set, or removed for ``None``."""
    document = copy.deepcopy(document)
    place: Any = document
    for step in path[:-1]:
        place = place[step]
    if value is None:
        del place[path[-1]]
    else:
        place[path[-1]] = value
    return document


def pointers(read: Read, document: object) -> list[str]:
    with pytest.raises(DocumentError) as caught:
        read(document)
    return [fault.pointer for fault in caught.value.faults]


FAULTS: list[tuple[str, list[Any], Any, str]] = [
    ("title-missing", ["title"], None, "/title"),
    ("unknown-member", ["colour"], "red", "/colour"),
    ("voltage-odd", ["vehicle", "system_voltage"], 13, "/vehicle/system_voltage"),
    ("voltage-boolean", ["vehicle", "system_voltage"], True, "/vehicle/system_voltage"),
    ("drive-unknown", ["vehicle", "drive"], "steam", "/vehicle/drive"),
    ("series-unknown", ["conductors", "series"], "rope", "/conductors/series"),
    (
        "size-of-other-series",
        ["conductors", "smallest_size"],
        "8 AWG",
        "/conductors/smallest_size",
    ),
    ("no-sources", ["power_sources"], [], "/power_sources"),
    (
        "emf-nan",
        ["power_sources", 0, "source_voltage"],
        float("nan"),
        "/power_sources/0/source_voltage",
    ),
    (
        "emf-infinite",
        ["power_sources", 0, "source_voltage"],
        float("inf"),
        "/power_sources/0/source_voltage",
    ),
    (
        "resistance-twice",
        ["power_sources", 0, "cold_cranking_current"],
        500,
        "/power_sources/0/source_resistance",
    ),
    (
        "resistance-missing",
        ["power_sources", 0, "source_resistance"],
        None,
        "/power_sources/0/source_resistance",
    ),
    (
        "emf-of-another-system",
        ["power_sources", 0, "source_voltage"],
        25.2,
        "/power_sources/0/source_voltage",
    ),
    ("quantity-fraction", ["equipment", 0, "quantity"], 1.5, "/equipment/0/quantity"),
    ("load-missing", ["equipment", 0, "load_current"], None, "/equipment/0/load_current"),
    ("load-without-circuit", ["equipment", 0, "circuit"], None, "/equipment/0/circuit"),
    ("inrush-alone", ["equipment", 0, "inrush_current"], 9, "/equipment/0/inrush_current"),
    ("feeder-unknown", ["circuits", 0, "fed_from"], "moon", "/circuits/0/fed_from"),
    ("feeder-itself", ["circuits", 0, "fed_from"], "lamp_feed", "/circuits/0/fed_from"),
    ("circuit-key-of-source", ["power_sources", 0, "key"], "lamp_feed", "/circuits/0/key"),
    ("route-empty", ["circuits", 0, "route"], [], "/circuits/0/route"),
    ("length-zero", ["circuits", 0, "route", 0, "length"], 0, "/circuits/0/route/0/length"),
    ("length-text", ["circuits", 0, "route", 0, "length"], "far", "/circuits/0/route/0/length"),
    ("zone-unknown", ["circuits", 0, "route", 1, "zone"], "roof", "/circuits/0/route/1/zone"),
    (
        "stud-unknown",
        ["circuits", 0, "return_path", "stud"],
        "M7",
        "/circuits/0/return_path/stud",
    ),
    ("fuse-type-unknown", ["circuits", 0, "fuse_types", 0], "wax", "/circuits/0/fuse_types/0"),
    (
        "fuse-type-twice",
        ["circuits", 0, "fuse_types"],
        ["iso_8820_3_c", "iso_8820_3_f", "iso_8820_3_c"],
        "/circuits/0/fuse_types/2",
    ),
    ("voltage-other-unit", ["vehicle", "system_voltage"], "12 A", "/vehicle/system_voltage"),
    ("title-of-blanks", ["title"], "  ", "/title"),
    ("title-turned", ["title"], "a\u202eb", "/title"),
    ("fuse-types-text", ["circuits", 0, "fuse_types"], "wax", "/circuits/0/fuse_types"),
    (
        "drop-below-range",
        ["circuits", 0, "allowed_voltage_drop_percent"],
        0.01,
        "/circuits/0/allowed_voltage_drop_percent",
    ),
    ("loomed-number", ["circuits", 0, "route", 0, "loomed"], 1, "/circuits/0/route/0/loomed"),
]


@pytest.mark.parametrize(
    ("path", "value", "pointer"),
    [pytest.param(path, value, pointer, id=name) for name, path, value, pointer in FAULTS],
)
def test_a_fault_is_named_by_its_pointer(
    small_job: Document, read_job: Read, path: list[Any], value: object, pointer: str
) -> None:
    assert pointer in pointers(read_job, changed(small_job, path, value))


def test_a_return_by_conductor_has_no_ground_point(small_job: Document, read_job: Read) -> None:
    small_job["circuits"][0]["return_path"]["by"] = "conductor"
    assert pointers(read_job, small_job) == [
        "/circuits/0/return_path/ground_lead_length",
        "/circuits/0/return_path/stud",
    ]


def test_all_faults_are_listed_at_once(small_job: Document, read_job: Read) -> None:
    del small_job["title"]
    small_job["power_sources"][0]["source_voltage"] = "high"
    small_job["equipment"][0]["circuit"] = "nowhere"
    small_job["circuits"][0]["route"][0]["zone"] = "moon"
    found = pointers(read_job, small_job)
    assert found == [
        "/title",
        "/power_sources/0/source_voltage",
        "/circuits/0/route/0/zone",
        "/equipment/0/circuit",
        "/circuits/0",
    ]


def test_loads_of_a_circuit_are_all_current_or_all_power(
    small_job: Document, read_job: Read
) -> None:
    second = {"key": "fan", "description": "fan", "what": "other", "circuit": "lamp_feed"}
    small_job["equipment"].append({**second, "load_power": 10})
    assert pointers(read_job, small_job) == ["/circuits/0"]


def test_a_ring_of_circuits_is_refused(small_job: Document, read_job: Read) -> None:
    other = copy.deepcopy(small_job["circuits"][0])
    other.update(key="other", fed_from="lamp_feed")
    small_job["circuits"][0]["fed_from"] = "other"
    small_job["circuits"].append(other)
    found = pointers(read_job, small_job)
    assert "/circuits/0/fed_from" in found
    assert "/circuits/1/fed_from" in found


def test_drops_along_a_chain_have_a_limit(read_job: Read) -> None:
    document = demo_job("truck_24v")
    document["circuits"][0]["allowed_voltage_drop_percent"] = 20
    document["circuits"][1]["allowed_voltage_drop_percent"] = 12
    assert pointers(read_job, document) == ["/circuits/1/allowed_voltage_drop_percent"]


def test_branches_of_one_block_share_a_fuse_type(read_job: Read) -> None:
    document = demo_job("truck_24v")
    document["circuits"][2]["fuse_types"] = ["iso_8820_3_f"]
    assert pointers(read_job, document) == ["/circuits"]


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_circuits_stand_after_the_one_that_feeds_them(read_job: Read, name: str) -> None:
    document = demo_job(name)
    document["circuits"].reverse()
    job = read_job(document)
    seen = set(job.power_sources)
    for circuit in job.circuits:
        assert circuit.fed_from in seen
        seen.add(circuit.key)
    assert {job_circuit.index for job_circuit in job.circuits} == set(range(len(job.circuits)))


def test_quantities_with_a_unit_are_read_where_a_reader_is_given(small_job: Document) -> None:
    def quantity_text(quantity: str, text: str) -> float | None:
        si = KINDS[quantity].si_of_text(text)
        return None if si is None else KINDS[quantity].number_of_si(si)

    small_job["circuits"][0]["route"][1]["length"] = "10 ft"
    small_job["vehicle"]["system_voltage"] = "12 V"
    small_job["equipment"][0]["load_current"] = "3000 mA"
    small_job["power_sources"][0]["source_resistance"] = "14 mohm"
    job = job_from_document(small_job, tables(), fuse_tables().types, quantity_text)
    assert job.vehicle.system_voltage_v == 12.0
    # One international foot is 0.3048 m, exactly.
    assert job.circuits[0].route[1].length_m == pytest.approx(3.048, rel=1e-15)
    assert job.equipment[0].current_a == pytest.approx(3.0, rel=1e-15)
    assert job.power_sources["battery"].internal_resistance_ohm == pytest.approx(0.014, rel=1e-15)
    small_job["circuits"][0]["route"][1]["length"] = "10 furlong"
    with pytest.raises(DocumentError) as caught:
        job_from_document(small_job, tables(), fuse_tables().types, quantity_text)
    assert [fault.pointer for fault in caught.value.faults] == ["/circuits/0/route/1/length"]


JSON_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=5,
)


@given(data=st.data(), value=JSON_VALUES)
def test_any_json_is_read_or_refused(data: st.DataObject, value: object) -> None:
    document = demo_job("combustion_car")
    member = data.draw(st.sampled_from(sorted(document)))
    if data.draw(st.booleans()) and isinstance(document[member], list):
        item = document[member][0]
        item[data.draw(st.sampled_from(sorted(item)))] = value
    else:
        document[member] = value
    try:
        job = job_from_document(document, tables(), fuse_tables().types)
    except DocumentError as error:
        faults = error.faults
    else:
        faults = ()
        assert job.title
    assert all(fault.pointer == "" or fault.pointer.startswith("/") for fault in faults)
