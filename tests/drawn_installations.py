"""Jobs drawn with a tree of circuits, loads of each kind and ground paths of each kind."""

from typing import Any

from hypothesis import strategies as st

Document = dict[str, Any]
ZONES = ("passenger_compartment", "cargo_space", "engine_compartment")
SYSTEM_VOLTAGES = (12, 24, 48)


def circuit_document(key: str, fed_from: str, length_m: float, **more: Any) -> Document:
    """A circuit of one stretch with a return conductor and usual fuses."""
    return {
        "key": key,
        "description": f"Circuit {key}",
        "fed_from": fed_from,
        "route": [{"length": length_m, "zone": "passenger_compartment"}],
        "return_path": {"by": "conductor"},
        "allowed_voltage_drop_percent": 3,
        "fuse_types": ["iso_8820_3_c", "iso_8820_5_sf30", "iso_8820_5_sf51"],
        "source_end": "M8",
        "load_end": "splice",
        **more,
    }


def job_document(
    circuits: list[Document],
    equipment: list[Document],
    *,
    source_voltage: float = 12.6,
    source_resistance: float = 0.01,
    system_voltage: int = 12,
    **more: Any,
) -> Document:
    """A job of one battery with these circuits and equipment."""
    return {
        "title": "Drawn job",
        "vehicle": {
            "description": "Drawn vehicle",
            "drive": "combustion",
            "system_voltage": system_voltage,
        },
        "conductors": {"series": "metric", "material": "copper", "insulation": "pvc_105"},
        "power_sources": [
            {
                "key": "battery",
                "description": "Drawn battery",
                "tap_point": "battery",
                "source_voltage": source_voltage,
                "source_resistance": source_resistance,
            }
        ],
        "equipment": equipment,
        "circuits": circuits,
        **more,
    }


def load_document(circuit: str, **load: Any) -> Document:
    """Equipment at the end of a circuit, there already, so that no part of it is priced."""
    return {
        "key": f"{circuit}_load",
        "description": f"Load of {circuit}",
        "what": "other",
        "circuit": circuit,
        "fitted": False,
        **load,
    }


@st.composite
def jobs(draw: st.DrawFn, *, powers: bool = True) -> Document:
    """One source with up to three circuits, and up to three more behind a block.

    Without ``powers`` every load has a constant current.
    """
    system = draw(st.sampled_from(SYSTEM_VOLTAGES))
    direct = [f"c{number}" for number in range(draw(st.integers(1, 3)))]
    behind = [f"b{number}" for number in range(draw(st.integers(0, 3)))]
    circuits = [_circuit(draw, key, "battery") for key in direct]
    if behind:
        circuits.append(circuit_document("main", "battery", draw(st.floats(0.3, 3.0))))
        circuits += [_circuit(draw, key, "main") for key in behind]
    equipment = [_load(draw, key, system, powers=powers) for key in (*direct, *behind)]
    return job_document(
        circuits,
        equipment,
        source_voltage=1.05 * system,
        source_resistance=draw(st.floats(0.002, 0.03)) * system / 12,
        system_voltage=system,
    )


def _circuit(draw: st.DrawFn, key: str, fed_from: str) -> Document:
    by_chassis = {"by": "chassis", "ground_lead_length": 0.5, "stud": "M6"}
    return circuit_document(
        key,
        fed_from,
        draw(st.floats(0.3, 6.0)),
        return_path=draw(st.sampled_from(({"by": "conductor"}, by_chassis))),
        allowed_voltage_drop_percent=draw(st.floats(1.0, 6.0)),
    )


def _load(draw: st.DrawFn, circuit: str, system: int, *, powers: bool) -> Document:
    if powers and draw(st.booleans()):
        return load_document(circuit, load_power=draw(st.floats(5.0, 30.0 * system)))
    return load_document(circuit, load_current=draw(st.floats(0.5, 40.0)))
