"""Jobs drawn with all that a work order depends on: sources, mains and branches, routes, ends."""

from typing import Any

from hypothesis import strategies as st

from loomwright.jobs.job import DRIVES, ENDS, EQUIPMENT, HAZARDS, JOININGS, STUDS, TAP_POINTS

Document = dict[str, Any]
ZONES = ("engine_compartment", "passenger_compartment", "cargo_space", "underbody", "roof_lining")
# One type that is plugged in, one that is bolted, one for either.
FUSE_TYPES = (["iso_8820_3_c"], ["iso_8820_5_sf30"], ["iso_8820_3_c", "iso_8820_5_sf30"])

lengths = st.integers(5, 250).map(lambda centimetres: centimetres / 100)
stretches = st.fixed_dictionaries(
    {
        "length": lengths,
        "zone": st.sampled_from(ZONES),
        "through_bulkhead": st.booleans(),
        "loomed": st.booleans(),
        "taped": st.booleans(),
    }
)


@st.composite
def circuits(draw: st.DrawFn, key: str, fed_from: str) -> Document:
    """One circuit, with leads and taps; what feeds it is given."""
    by_chassis = draw(st.booleans())
    return {
        "key": key,
        "description": f"Circuit {key}",
        "fed_from": fed_from,
        "charges_source": draw(st.booleans()),
        "route": draw(st.lists(stretches, min_size=1, max_size=3)),
        "return_path": {
            "by": "chassis",
            "ground_lead_length": draw(lengths),
            "stud": draw(st.sampled_from(STUDS)),
        }
        if by_chassis
        else {"by": "conductor"},
        "fuse_types": draw(st.sampled_from(FUSE_TYPES)),
        "distance_from_source": draw(st.sampled_from((0, 0.15))),
        "source_end": draw(st.sampled_from(ENDS)),
        "load_end": draw(st.sampled_from(ENDS)),
        "joining": draw(st.sampled_from(JOININGS)),
        "signal_leads": draw(st.lists(st.just({"form": "line pair", "length": 2.5}), max_size=2)),
        "remote_leads": draw(st.lists(st.just({"length": 1.7}), max_size=2)),
        "taps": draw(
            st.lists(
                st.sampled_from(("radio output", "moonlight")).map(
                    lambda use: {"use": use, "quantity": 2}
                ),
                max_size=2,
            )
        ),
    }


@st.composite
def jobs(draw: st.DrawFn) -> Document:
    """A job of one to three sources and one to five circuits, some of which feed others."""
    sources = [
        {
            "key": f"source {index}",
            "description": f"Source {index}",
            "tap_point": draw(st.sampled_from(tuple(TAP_POINTS))),
            "source_voltage": 12.6,
            "source_resistance": 0.014,
        }
        for index in range(draw(st.integers(1, 3)))
    ]
    made: list[Document] = []
    for index in range(draw(st.integers(1, 5))):
        feeding = [source["key"] for source in sources] + [circuit["key"] for circuit in made]
        made.append(draw(circuits(f"c{index}", draw(st.sampled_from(feeding)))))
    mains = {circuit["fed_from"] for circuit in made}
    for circuit in made:
        # The branches of a block share its fuse type; drops add up along a chain.
        branches = [other for other in made if other["fed_from"] == circuit["key"]]
        for branch in branches:
            branch["fuse_types"] = branches[0]["fuse_types"]
    equipment = [
        {
            "key": f"{circuit['key']} load {index}",
            "description": f"load {index} of {circuit['key']}",
            "what": draw(st.sampled_from(EQUIPMENT)),
            "quantity": draw(st.integers(1, 3)),
            "circuit": circuit["key"],
            # The last is beyond every conductor.
            "load_current": draw(st.sampled_from((0.5, 2, 5, 900))),
            "fitted": draw(st.booleans()),
            **draw(st.sampled_from(({}, {"reference": "DEMO-LIGHT-12"}, {"reference": "none"}))),
            **draw(st.sampled_from(({}, {"fixings": "panel"}))),
        }
        for circuit in made
        if circuit["key"] not in mains
        for index in range(draw(st.integers(1, 2)))
    ]
    equipment += [
        {"key": f"loose {index}", "description": f"loose piece {index}", "what": "other"}
        for index in range(draw(st.integers(0, 2)))
    ]
    operations = st.sampled_from(("remove_trim", "paint", "run_conductor"))
    return {
        "title": "Drawn job",
        "vehicle": {
            "description": "Drawn vehicle",
            "drive": draw(st.sampled_from(DRIVES)),
            "system_voltage": 12,
            "hazards": draw(st.lists(st.sampled_from(HAZARDS), unique=True)),
            **draw(st.sampled_from(({}, {"difficulty": "fitted_out"}))),
        },
        "conductors": {
            "series": draw(st.sampled_from(("metric", "awg"))),
            "material": "copper",
            "insulation": "pvc_105",
        },
        "power_sources": sources,
        "equipment": equipment,
        "circuits": made,
        "labour": [
            {"operation": operation, "quantity": quantity, "reason": "drawn"}
            for operation, quantity in draw(
                st.lists(st.tuples(operations, st.integers(1, 3)), max_size=3)
            )
        ],
    }
