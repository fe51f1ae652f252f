"""The single-line diagram: complete, with the figures of the plan, joined up, and legible."""

import copy
import re
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from typing import Any
from xml.etree import ElementTree

import pytest
from diagram_marks import SVG, Marks, crossed, joined, marks_of, overlapping
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import drawn_installations
import drawn_jobs
from drawn_installations import circuit_document, job_document, load_document
from loomwright.drawings.drawing import Drawing
from loomwright.drawings.monospaced import CELL
from loomwright.drawings.single_line import DISTRIBUTION, amperes, millivolts, single_line, volts
from loomwright.drawings.single_line_layout import NAME, WIDTH, single_line_drawing
from loomwright.drawings.symbols import symbols
from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from loomwright.jobs.job import Job
from loomwright.jobs.plan.alternatives import PLAN_NAMES
from loomwright.jobs.plan.sized_plan import SizedPlan, sized_plan
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.web.app import create_app
from loomwright.web.stated_jobs import stated_job

Document = dict[str, Any]
LOADS = {"load", "heater", "amplifier", "lamp", "motor", "converter", "inverter"}
# What a size of a series is called in a diagram.
SQUARED = str.maketrans({"\u00b2": "2"})


def planned(document: Document, plan: str = "recommended") -> tuple[Job, SizedPlan]:
    job = stated_job(document)
    return job, sized_plan(plan, job, tables(), fuse_tables())


def drawn(job: Job, plan: SizedPlan) -> Drawing:
    return single_line_drawing(single_line(job, plan, fuse_tables()))


def circuit_marks(job: Job, found: dict[str, Marks]) -> dict[str, Marks]:
    return {circuit.key: found[f"{NAME}_circuit-{circuit.index + 1}"] for circuit in job.circuits}


def check_form(drawing: Drawing) -> None:
    """A drawing is an image with title and description that needs nothing from elsewhere."""
    root = ElementTree.fromstring(drawing.svg)
    assert root.tag == f"{SVG}svg"
    assert root.attrib["role"] == "img"
    ids = [element.attrib["id"] for element in root.iter() if "id" in element.attrib]
    assert len(ids) == len(set(ids))
    assert all(name.startswith(f"{NAME}_") for name in ids)
    assert root.attrib["aria-labelledby"].split() == ids[:2]
    assert root.findtext(f"{SVG}title") == drawing.title
    assert root.findtext(f"{SVG}desc") == drawing.description
    assert root.attrib["viewBox"] == f"0 0 {drawing.width} {drawing.height}"
    for element in root.iter():
        assert element.tag.removeprefix(SVG) in {
            "svg", "title", "desc", "rect", "g", "path", "circle", "text",
        }  # fmt: skip
        assert not {"style", "href", "onload"} & element.attrib.keys()
        assert element.attrib.get("fill", "none") in {"none", "#000", "#fff"}


def check_legible(drawing: Drawing) -> None:
    """No text overlaps another or a line, and nothing leaves the sheet."""
    found = marks_of(drawing.svg)
    texts = [words for marks in found.values() for words in marks.texts]
    wires = [wire for marks in found.values() for wire in marks.wires]
    assert overlapping(texts) == []
    assert crossed(texts, wires) == []
    assert min(words.size for words in texts) >= 11
    for words in texts:
        left, top, right, bottom = words.box
        assert left >= 0, words
        assert top >= 0, words
        assert right <= drawing.width, words
        assert bottom <= drawing.height, words
    for wire in wires:
        for x, y in wire:
            assert 0 <= x <= drawing.width
            assert 0 <= y <= drawing.height


def check_joined(job: Job, drawing: Drawing) -> None:
    """Each load is joined to the source that feeds it, and sources are not joined."""
    found = marks_of(drawing.svg)
    groups = list(found)
    of_group = {group: set[int]() for group in groups}
    for number, together in enumerate(joined(list(found.values()))):
        for key in together:
            place, name, _ = key.split(":")
            if name in LOADS or name in {"battery", "terminal", "fuse"}:
                of_group[groups[int(place)]].add(number)
    islands = {}
    for number, source in enumerate(job.power_sources.values(), 1):
        (islands[source.key],) = of_group[f"{NAME}_source-{number}"]
    assert len(set(islands.values())) == len(islands)
    for circuit in job.circuits:
        source = job.feeders_down_to(circuit.key)[0].fed_from
        symbols = of_group[f"{NAME}_circuit-{circuit.index + 1}"]
        assert symbols <= {islands[source]}, circuit.key
        if job.equipment_on(circuit.key):
            assert symbols, circuit.key


def check_complete(job: Job, plan: SizedPlan, drawing: Drawing) -> None:
    """Every source, circuit, fuse and piece of equipment is there, under its own figures."""
    found = marks_of(drawing.svg)
    for number, source in enumerate(job.power_sources.values(), 1):
        assert source.description in found[f"{NAME}_source-{number}"].title
    marks = circuit_marks(job, found)
    for entry in plan.consistent.sized:
        circuit = entry.circuit
        own = marks[circuit.key]
        assert own.title.startswith(f"{circuit.description}: ")
        assert own.names().count("fuse") == (entry.rated_current_a is not None)
        if entry.rated_current_a is not None:
            assert f"{entry.rated_current_a:g} A, " in own.said()
        assert ("Not built" in own.said()) == (entry.verdict != "sized")
        if entry.conductor is not None:
            assert entry.conductor.key in own.said().translate(SQUARED)
        ends = [name for name in own.names() if name in LOADS]
        assert len(ends) == bool(job.equipment_on(circuit.key))
        for item in job.equipment_on(circuit.key):
            assert item.description in own.title
        by_chassis = circuit.return_path.path == "chassis"
        assert own.names().count("chassis") == by_chassis
        if entry.conductor is not None:
            size = own.said().translate(SQUARED).partition(entry.conductor.key)[0]
            assert size.endswith("2 \u00d7 ") == (not by_chassis)
        state = plan.solved.circuits.get(circuit.key)
        if state is not None and not circuit.charges_source:
            assert volts(state.load_voltage_v) in own.said()
            assert volts(state.voltage_drop_v) in own.said()
            assert amperes(state.current_a) in own.said()
        if state is not None and by_chassis:
            assert millivolts(state.ground_potential_v) in own.said()
    for item in job.equipment:
        assert item.description in drawing.description


def check(document: Document, plan_name: str = "recommended") -> Drawing:
    job, plan = planned(document, plan_name)
    drawing = drawn(job, plan)
    assert drawn(*planned(document, plan_name)) == drawing
    check_form(drawing)
    check_legible(drawing)
    check_joined(job, drawing)
    check_complete(job, plan, drawing)
    return drawing


@pytest.mark.parametrize("plan", PLAN_NAMES)
@pytest.mark.parametrize("name", DEMO_JOBS)
def test_demo_job_is_drawn(name: str, plan: str) -> None:
    drawing = check(demo_job(name), plan)
    assert drawing.width == WIDTH
    assert drawing.name == NAME


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_figures_are_those_of_plan_installation(name: str) -> None:
    client = create_app().test_client()
    answer = client.post("/v1/plan-installation", json={"job": demo_job(name)}).get_json()
    fuse_names = {key: entry.name for key, entry in fuse_tables().types.items()}
    for plan in answer["plans"]:
        job, sized = planned(demo_job(name), plan["name"])
        found = marks_of(drawn(job, sized).svg)
        marks = circuit_marks(job, found)
        states = {state["circuit"]: state for state in plan["network"]["circuits"]}
        for circuit in plan["circuits"]:
            said = marks[circuit["key"]].said().translate(SQUARED)
            fuse, state = circuit["fuse"], states[circuit["key"]]
            named = fuse_names[fuse["fuse_type"]].partition(",")[0]
            assert f"{fuse['rated_current_a']:g} A, {named}" in said
            assert f"{circuit['conductor']['size']}, {circuit['route_length_m']:g} m" in said
            drop = re.search(r"([\d.]+) A, drop ([\d.]+) V", said)
            assert drop is not None
            charges = job.circuit_by_key[circuit["key"]].charges_source
            of = circuit if charges else state
            current = circuit["load_current_a"] if charges else state["current_a"]
            assert float(drop[1]) == pytest.approx(current, rel=5e-3)
            assert float(drop[2]) == pytest.approx(of["voltage_drop_v"], abs=5.1e-4)
            if not charges:
                at_end = re.search(r"([\d.]+) V at the (load|distribution)", said)
                assert at_end is not None
                assert float(at_end[1]) == pytest.approx(state["load_voltage_v"], abs=5.1e-3)
            potential = re.search(r"ground potential ([\d.]+) mV", said)
            if job.circuit_by_key[circuit["key"]].return_path.path == "chassis":
                assert potential is not None
            if potential is not None:
                assert float(potential[1]) == pytest.approx(state["ground_potential_mv"], abs=0.51)
        for number, source in enumerate(plan["network"]["sources"], 1):
            said = found[f"{NAME}_source-{number}"].said()
            under_load = re.search(r"([\d.]+) V under load", said)
            assert under_load is not None
            assert float(under_load[1]) == pytest.approx(source["terminal_voltage_v"], abs=5.1e-3)


def test_symbols_follow_from_what_is_fed() -> None:
    job, plan = planned(demo_job("van_second_battery"))
    marks = circuit_marks(job, marks_of(drawn(job, plan).svg))
    assert {key: own.names()[-1] for key, own in marks.items()} == {
        "charger_input": "converter",
        "charger_output": "converter",
        "inverter_feed": "inverter",
        "service_main": "fuse",  # its end is a node
        "refrigerator_feed": "load",
        "light_feed": "lamp",
    }
    content = single_line(job, plan, fuse_tables())
    main = content.sources[1].circuits[-1]
    assert main.ends_in == DISTRIBUTION
    assert [branch.ends_in for branch in main.branches] == ["load", "lamp"]


@settings(max_examples=60, suppress_health_check=list(HealthCheck))
@given(document=st.one_of(drawn_jobs.jobs(), drawn_installations.jobs()))
def test_drawn_job_is_complete_joined_and_legible(document: Document) -> None:
    check(document)


# --- what cannot be built ---


def unbuildable() -> Document:
    """A circuit without a conductor, one without a fuse and one behind it, and one that is fine."""
    weak = {"fuse_types": ["iso_8820_3_c_1_to_2_a"]}
    return job_document(
        [
            circuit_document("beyond", "battery", 3.0),
            circuit_document("unfused", "battery", 0.5, **weak),
            circuit_document("behind", "unfused", 1.0),
            circuit_document("fine", "battery", 2.0),
        ],
        [
            load_document("beyond", load_current=900),
            load_document("behind", load_current=8),
            load_document("fine", load_current=8),
        ],
    )


def test_what_cannot_be_built_is_marked_in_words() -> None:
    document = unbuildable()
    drawing = check(document)
    job, plan = planned(document)
    assert {entry.circuit.key: entry.verdict for entry in plan.consistent.sized} == {
        "beyond": "no_conductor",
        "unfused": "no_fuse",
        "behind": "no_feeder",
        "fine": "sized",
    }
    marks = circuit_marks(job, marks_of(drawing.svg))
    assert "Not built: no conductor of its series" in marks["beyond"].said()
    assert "Not built: the circuit that feeds it" in marks["behind"].said()
    assert "Not built: no fuse fits" in marks["unfused"].said()
    assert "Not built" not in marks["fine"].said()
    assert drawing.description.count("Not built") == 3
    # Broken lines say it to the eye.
    assert drawing.svg.count("stroke-dasharray") >= 3
    assert "stroke-dasharray" not in check(demo_job("truck_24v")).svg


def test_without_an_operating_point_no_voltage_is_given() -> None:
    document = job_document(
        [circuit_document("feed", "battery", 1.0), circuit_document("other", "battery", 1.0)],
        [load_document("feed", load_power=120), load_document("other", load_power=120)],
        source_resistance=0.2,
    )
    job, plan = planned(document)
    assert plan.solved.state == "no_operating_point"
    drawing = drawn(job, plan)
    check_form(drawing)
    check_legible(drawing)
    check_joined(job, drawing)
    assert "no voltages can be given" in drawing.description
    said = marks_of(drawing.svg)[f"{NAME}_circuit-1"].said()
    assert " V at the load" not in said
    assert "120 W, " in said


# --- size and shape ---


def of_many(feeders: list[str]) -> Document:
    """A job with a circuit fed from each of these; the circuits are c0, c1 and so on."""
    keys = [f"c{number}" for number in range(len(feeders))]
    circuits = [
        circuit_document(key, feeder, 0.5, allowed_voltage_drop_percent=0.5)
        for key, feeder in zip(keys, feeders, strict=True)
    ]
    loads = [load_document(key, load_current=0.5) for key in keys if key not in feeders]
    return job_document(circuits, loads)


# The most circuits that a job may have, as a star, a chain, a comb and a tree of two branches each.
SHAPES = {
    "star": ["battery"] * 50,
    "chain": ["battery", *(f"c{number}" for number in range(49))],
    "comb": ["battery", *(f"c{number // 2 * 2}" for number in range(49))],
    "tree": ["battery", *(f"c{number // 2}" for number in range(49))],
}


@pytest.mark.parametrize("shape", SHAPES)
def test_job_with_the_most_circuits_is_legible(shape: str) -> None:
    drawing = check(of_many(SHAPES[shape]))
    assert drawing.width == WIDTH
    # A line keeps room for what it has to say.
    texts = [words for marks in marks_of(drawing.svg).values() for words in marks.texts]
    assert WIDTH - max(words.x for words in texts) > 26 * CELL * 11


def test_many_pieces_on_one_circuit_are_each_named() -> None:
    document = job_document(
        [circuit_document("feed", "battery", 1.0)],
        [
            {**load_document("feed", load_current=0.1), "key": f"k{number}", "quantity": 3}
            | {"description": f"marker number {number}"}
            for number in range(100)
        ],
    )
    drawing = check(document)
    said = marks_of(drawing.svg)[f"{NAME}_circuit-1"].said()
    assert said.count("3 \u00d7 0.1 A, marker number") == 100


def test_material_is_named_where_it_is_not_copper() -> None:
    document = demo_job("combustion_car")
    document["conductors"]["material"] = "cca_15"
    drawing = check(document)
    assert re.search(
        r"\d AWG copper-clad aluminium, 15 %, 3\.8 m",
        marks_of(drawing.svg)[f"{NAME}_circuit-1"].said(),
    )
    assert "copper" not in check(demo_job("combustion_car")).svg


def test_service_starts_without_the_library_that_draws_symbols() -> None:
    said = "import sys; from loomwright.web.app import create_app; create_app()"
    command = [sys.executable, "-c", f"{said}; print('schemdraw' in sys.modules)"]
    done = subprocess.run(command, capture_output=True, text=True, check=True, timeout=120)
    assert done.stdout == "False\n"


def test_symbols_are_drawn_once() -> None:
    with ThreadPoolExecutor(8) as pool:
        found = list(pool.map(lambda _: symbols(), range(32)))
    assert all(each["fuse"] is found[0]["fuse"] for each in found)
    assert all(symbol.shapes and "nan" not in symbol.shapes for symbol in found[0].values())


# --- hostile texts ---

HOSTILE = (
    "</title><script>alert(1)</script>",
    "\" onload='alert(1)' x=\"&amp;&lt;]]>",
    "<![CDATA[" + "W" * 180,
    "o\u0301\u0302\u0303\u0304\u0306\u0307" * 28,
    "\u6f22" * 200,
    "&#0;&#x1b;&nosuch;",
    "\U0001f68c\U0001f9f0 a" * 40,
)


@pytest.mark.parametrize("hostile", HOSTILE)
def test_hostile_text_stays_text(hostile: str) -> None:
    document = copy.deepcopy(demo_job("van_second_battery"))
    document["title"] = document["vehicle"]["description"] = hostile
    for part in (*document["power_sources"], *document["circuits"], *document["equipment"]):
        part["description"] = hostile
    job, plan = planned(document)
    drawing = drawn(job, plan)
    check_form(drawing)
    check_legible(drawing)
    check_joined(job, drawing)
    # Nothing turns the direction of what stands beside it.
    assert not set("\u202a\u202b\u202c\u202d\u202e") & set(drawing.svg)


@given(st.text(max_size=200))
def test_any_text_makes_a_well_formed_drawing(text: str) -> None:
    job, plan = planned(demo_job("hybrid_jump_start"))
    (source,) = job.power_sources.values()
    object.__setattr__(source, "description", text)
    drawing = drawn(job, plan)
    check_form(drawing)
    check_legible(drawing)
