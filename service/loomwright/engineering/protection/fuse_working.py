"""The working of a fuse selection, step by step."""

from collections.abc import Iterator

from loomwright.engineering.protection.fuse_answer import FuseAnswer, FuseTypeAnswer
from loomwright.engineering.protection.fuse_circuit import feed_resistance_ohm
from loomwright.engineering.protection.fuse_request import FuseRequest
from loomwright.engineering.working import WorkingStep, seven_digits
from loomwright.tables.fuse_words import FUSE_TYPE_TEXTS


def fuse_working(request: FuseRequest, answer: FuseAnswer) -> tuple[WorkingStep, ...]:
    """Return the working of the type that was chosen, else of the first type.

    Parameters
    ----------
    request
        What was asked.
    answer
        The answer.

    Returns
    -------
    tuple of WorkingStep
        Load, faults, window and coordination.
    """
    chosen = next(
        (entry for entry in answer.types if entry.fuse_type == answer.chosen_type),
        answer.types[0],
    )
    return (
        *_load_steps(answer),
        *_fault_steps(request, answer),
        *_type_steps(chosen),
    )


def _load_steps(answer: FuseAnswer) -> Iterator[WorkingStep]:
    lower = answer.window.lower_bounds[0]
    yield WorkingStep(
        text="Least rating for the continuous load",
        formula="I / (loading factor x min(1, ambient factor))",
        inputs={
            "I_a": seven_digits(answer.equivalent_continuous_current_a),
            "loading_factor": answer.loading_factor,
            "ambient_factor": seven_digits(answer.ambient_rating_factor),
        },
        result=seven_digits(lower.rated_current_a),
        unit="A",
        source=f"{lower.provenance.source}, {lower.provenance.locator}",
    )


def _fault_steps(request: FuseRequest, answer: FuseAnswer) -> Iterator[WorkingStep]:
    source = request.source
    before = {
        "E_v": source.emf_v,
        "Rs_ohm": seven_digits(source.internal_resistance_ohm),
        "R_before_ohm": seven_digits(source.resistance_before_fuse_ohm),
    }
    limit = source.current_limit_a
    limited = {} if limit is None else {"I_limit_a": limit}
    loop = {"R_loop_ohm": seven_digits(request.conductor.there_and_back_resistance_ohm)}
    yield WorkingStep(
        text="Fault right behind the fuse",
        formula=_within_limit("E / (Rs + R_before + R_feed)", limit),
        inputs={
            **before,
            "R_feed_ohm": seven_digits(
                feed_resistance_ohm(request.conductor, request.placement.distance_from_source_m)
            ),
            **limited,
        },
        result=seven_digits(answer.faults.near_source_fault_a),
        unit="A",
        source="Ohm's law",
    )
    yield WorkingStep(
        text="Fault at the far end at working temperature",
        formula=_within_limit("E / (Rs + R_before + R_loop)", limit),
        inputs={**before, **loop, **limited},
        result=seven_digits(answer.faults.far_end_fault_a),
        unit="A",
        source="Ohm's law",
    )


def _within_limit(formula: str, current_limit_a: float | None) -> str:
    """Return the formula of a fault current under the source's current limit, if it has one."""
    return formula if current_limit_a is None else f"min({formula}, I_limit)"


def _type_steps(chosen: FuseTypeAnswer) -> Iterator[WorkingStep]:
    window, fuse_type = chosen.window, FUSE_TYPE_TEXTS[chosen.fuse_type]
    for text, bounds, result in (
        ("Greatest of the lower bounds", window.lower_bounds, window.lower_a),
        ("Least of the upper bounds", window.upper_bounds, window.upper_a),
    ):
        yield WorkingStep(
            text=f"{text} for {fuse_type}",
            formula="max of the bounds" if text.startswith("Greatest") else "min of the bounds",
            inputs={f"{bound.rule}_a": seven_digits(bound.rated_current_a) for bound in bounds},
            result=seven_digits(result),
            unit="A",
            source="; ".join(dict.fromkeys(bound.provenance.source for bound in bounds)),
        )
    if chosen.candidate_rating_a is not None:
        yield WorkingStep(
            text=f"Rating looked at for {fuse_type}",
            formula="smallest standard rating not below the lower bound, or the given one",
            inputs={"lower_a": seven_digits(window.lower_a)},
            result=chosen.candidate_rating_a,
            unit="A",
            source=chosen.provenance.source,
        )
    coordination = chosen.coordination
    if coordination is not None and coordination.least_margin is not None:
        yield WorkingStep(
            text="Least margin of the conductor's time to damage over the fuse's opening time",
            formula="damage time / greatest opening time, least over all fault currents",
            inputs={"at_current_a": seven_digits(coordination.least_margin_current_a or 0.0)},
            result=seven_digits(coordination.least_margin),
            unit="1",
            source="IEC 60364-4-43:2008, 434.5.2; time-current points of the fuse type",
        )
