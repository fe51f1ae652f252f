"""The documents of a plan as CSV tables for programs: plain numbers, English headings.

Nothing here is set in a language or in units: a number has a decimal point and the unit that its
column names, a key is that of the JSON answer. The quote is the table of a bill
(``bill_csv``).
"""

from collections.abc import Callable, Iterator, Mapping
from decimal import Decimal
from types import MappingProxyType
from typing import Any

from loomwright.documents.bill_csv import bill_csv
from loomwright.documents.csv_text import Cell, csv_of_rows
from loomwright.documents.fuse_labels import fed_by
from loomwright.documents.heads import Answer, named_sources
from loomwright.documents.options import FUSE_LABELS, QUOTE, WORK_ORDER

STEP, PART, TORQUE, CHECK, READING = "step", "part", "torque", "check", "reading"
# Meaning of each column of a work order, in their order.
STEP_COLUMNS = MappingProxyType(
    {
        "row": "`step`; `part`, `torque`, `check`: of the step above; `reading`: to expect",
        "step": "number of the step",
        "key": "of the step; of the part in the price book",
        "kind": "of the step or of the part; what is read",
        "text": "what is done, the part in words, the place of a torque, what is checked",
        "circuit": "key",
        "source": "key, of a reading at a source",
        "state": "in which a reading is taken",
        "zone": "key",
        "hours": "working hours of the step",
        "tools": "keys, with a comma between them",
        "cautions": "keys, with a comma between them",
        "quantity": "of the part",
        "stud": "of the torque",
        "value": "torque; expected reading",
        "low": "least reading that fits",
        "high": "greatest reading that fits; greatest torque that the bolt bears",
        "unit": "of quantity (UN/CEFACT Recommendation 20) or value (`N m`, `V`, `A`)",
    }
)
LABEL_COLUMNS = MappingProxyType(
    {
        "circuit": "key",
        "description": "of the circuit",
        "rated_current_a": "of the fuse",
        "rated_voltage_v": "of the fuse",
        "fuse_type": "key",
        "conductor": "size, as the tables call it",
        "cross_section_mm2": "of the conductor",
        "material": "key",
        "feeds": "equipment and circuits, with a semicolon between them",
        "fed_from": "what feeds the circuit, in words",
    }
)
_EXACT = frozenset(("hours", "quantity"))


def plan_csv(answer: Answer, kind: str) -> bytes:
    """Return a document of one plan as CSV.

    Parameters
    ----------
    answer
        Document of one plan in plain JSON values.
    kind
        Which document.

    Returns
    -------
    bytes
        UTF-8; a row of names, then the rows.
    """
    return _TABLES[kind](answer)


def _steps_csv(answer: Answer) -> bytes:
    rows = ([_cell(name, row.get(name)) for name in STEP_COLUMNS] for row in _step_rows(answer))
    return csv_of_rows(tuple(STEP_COLUMNS), rows)


def _labels_csv(answer: Answer) -> bytes:
    rows = ([row.get(name) for name in LABEL_COLUMNS] for row in _label_rows(answer))
    return csv_of_rows(tuple(LABEL_COLUMNS), rows)


_TABLES: Mapping[str, Callable[[Answer], bytes]] = {
    QUOTE: bill_csv,
    WORK_ORDER: _steps_csv,
    FUSE_LABELS: _labels_csv,
}


def _cell(name: str, value: Any) -> Cell:
    if name in _EXACT and value is not None:
        return Decimal(value)
    cell: Cell = value
    return cell


def _step_rows(answer: Answer) -> Iterator[dict[str, Any]]:
    for step in answer["work_order"]["steps"]:
        yield from _rows_of(step)
    for entry in answer["expected_measurements"]:
        stated = {
            name: entry[name] for name in ("circuit", "source", "state", "low", "high", "unit")
        }
        yield {"row": READING, "kind": entry["what"], "value": entry["expected"], **stated}


def _rows_of(step: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    of_step = {"step": step["number"], "circuit": step["circuit"], "zone": step["zone"]}
    yield {
        "row": STEP,
        **of_step,
        **{name: step[name] for name in ("key", "kind", "text", "hours")},
        "tools": ", ".join(dict.fromkeys(tool["tool"] for tool in step["tools"])),
        "cautions": ", ".join(step["cautions"]),
    }
    for part in step["parts"]:
        stated = {name: part[name] for name in ("key", "kind", "quantity", "unit")}
        yield {"row": PART, **of_step, "text": part["description"], **stated}
    for torque in step["torques"]:
        yield {
            "row": TORQUE,
            **of_step,
            "kind": torque["basis"],
            "text": torque["place"],
            "stud": torque["stud"],
            "value": torque["torque_n_m"],
            "high": torque["greatest_torque_n_m"],
            "unit": "N m",
        }
    for text in step["checks"]:
        yield {"row": CHECK, **of_step, "text": text}


def _label_rows(answer: Answer) -> Iterator[dict[str, Any]]:
    names = named_sources(answer)
    for circuit in answer["circuits"]:
        fuse, conductor = circuit["fuse"], circuit["conductor"]
        if fuse is not None:
            yield {
                "circuit": circuit["key"],
                "description": circuit["description"],
                **{
                    name: fuse[name] for name in ("rated_current_a", "rated_voltage_v", "fuse_type")
                },
                "conductor": conductor["size"],
                **{name: conductor[name] for name in ("cross_section_mm2", "material")},
                "feeds": "; ".join(fed_by(answer, circuit["key"])),
                "fed_from": names[circuit["fed_from"]],
            }
