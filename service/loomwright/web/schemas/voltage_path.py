"""Request of draw-voltage-path."""

from functools import cache
from typing import Any

from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from loomwright.pricing.members import Record, Text
from loomwright.pricing.reading import ObjectReader
from loomwright.web.requests import invalid
from loomwright.web.schemas.documents import JsonSchema
from loomwright.web.schemas.drawn_plan import (
    DRAWN_PLAN,
    DrawnPlan,
    drawn_plan,
    drawn_plan_components,
)

VOLTAGE_PATH = Record(
    "DrawVoltagePathRequest",
    {
        **DRAWN_PLAN,
        "circuit": Text(
            required=False,
            about="Key of the circuit; the one with the lowest load voltage if absent.",
        ),
    },
)


def voltage_path_request(document: dict[str, Any]) -> tuple[DrawnPlan, str | None]:
    """Return the plan and the circuit that a request wants to see.

    Parameters
    ----------
    document
        That of draw-installation, with the circuit.

    Returns
    -------
    tuple
        Plan, and key of a circuit of its job or none.

    Raises
    ------
    ProblemError
        As those of plan-installation; ``invalid_request`` where the job has no such circuit.
    """
    circuit: str | None = None

    def read_circuit(envelope: ObjectReader) -> None:
        nonlocal circuit
        circuit = envelope.optional_text("circuit")

    wanted = drawn_plan(document, VOLTAGE_PATH, read_circuit)
    keys = [item.key for item in wanted.job.circuits]
    if circuit is not None and circuit not in keys:
        raise invalid([("/circuit", f"No circuit has this key; give one of: {', '.join(keys)}.")])
    return wanted, circuit


@cache
def voltage_path_components() -> dict[str, JsonSchema]:
    """Return the component schemas of the request, by name."""
    return drawn_plan_components(VOLTAGE_PATH)


def voltage_path_examples() -> dict[str, dict[str, Any]]:
    """Return the demo jobs as requests, by name; one of them with plan and circuit named."""
    plain = {name: {"job": demo_job(name)} for name in DEMO_JOBS}
    named = {"plan": "headroom", "circuit": "refrigerator_feed"}
    return {**plain, "van_second_battery": {**plain["van_second_battery"], **named}}
