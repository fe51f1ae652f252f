"""What a time-current chart shows, and the words for it."""

import math

from loomwright.drawings.lettering import duration, quantity, sentences
from loomwright.engineering.protection import fuse_answer as answers
from loomwright.engineering.protection.damage import DamageCurve, interpolated_damage_time_s
from loomwright.engineering.protection.fuse_answer import (
    BandPoint,
    FuseAnswer,
    FuseTypeAnswer,
)
from loomwright.engineering.protection.fuse_request import FuseRequest
from loomwright.engineering.protection.fuses import NOT_LIMITED
from loomwright.engineering.record import record

_FAILURES = {
    answers.VOLTAGE_TOO_LOW: "its rated voltage is too low",
    answers.BREAKING_TOO_LOW: "its breaking capacity is below the source fault",
    answers.CURVE_NOT_PUBLISHED: "its opening times are not published",
    answers.NOT_STANDARD: "it is no standard rating",
    answers.RATING_TOO_LOW: "its rating is too low for the load",
    answers.NO_RATING: "no standard rating lies between load and conductor",
    answers.NOT_PROTECTED: "it does not protect the conductor at every current",
    answers.NOT_CLEARED: "it does not clear the far-end fault in time",
    answers.NOT_SELECTIVE: "it is not selective with the fuse before it",
    answers.POSITION_EXCEEDED: "it sits farther from the source than its rule permits",
}


@record
class FuseChart:
    """What is drawn: the fuse type looked at, whether it is chosen, and the conductor."""

    request: FuseRequest
    answer: FuseAnswer
    kind: FuseTypeAnswer
    type_name: str
    is_permitted: bool
    curve: DamageCurve
    upstream: tuple[BandPoint, ...]
    size: str

    @property
    def runs(self) -> int:
        """Conductors in parallel."""
        return self.request.conductor.parallel_conductors

    @property
    def fuse(self) -> str:
        """The fuse in words."""
        rating = self.kind.candidate_rating_a
        return self.type_name if rating is None else f"{quantity(rating, 'A')} {self.type_name}"

    @property
    def conductor(self) -> str:
        """The conductor in words."""
        return f"{self.runs} x {self.size}" if self.runs > 1 else self.size

    def damage_time_s(self, current_a: float) -> float:
        """Return the time to damage at a current of all runs together [s]."""
        return float(interpolated_damage_time_s(self.curve, current_a / self.runs))


def fuse_verdict(shown: FuseChart) -> str:
    """Return whether the fuse fits, and why not."""
    answer, kind = shown.answer, shown.kind
    if shown.is_permitted:
        if answer.verdict == answers.POSITION_EXCEEDED:
            return f"The fuse fits, but {_FAILURES[answers.POSITION_EXCEEDED]}."
        return "The fuse fits the load and protects the conductor."
    reasons = "; ".join(_FAILURES[failure] for failure in kind.failures)
    subject = "The given fuse" if shown.request.checked_fuse is not None else "Nearest fuse"
    found = "" if shown.request.checked_fuse is not None else "No fuse fits. "
    return f"{found}{subject}: {reasons}."


def fuse_description(shown: FuseChart, verdict: str) -> str:
    """Return the figures of the chart in words."""
    answer, request = shown.answer, shown.request
    upstream = request.upstream_fuse
    load = f"The load takes {quantity(request.load.continuous_current_a, 'A')}"
    if request.load.inrush_current_a is not None and request.load.inrush_duration_s is not None:
        load += (
            f", as it starts {quantity(request.load.inrush_current_a, 'A')} for"
            f" {duration(request.load.inrush_duration_s)}"
        )
    threshold = quantity(answer.damage_threshold_current_a, "A")
    return sentences(
        "Opening time [s] over current [A] on logarithmic axes",
        verdict,
        load,
        _far_end(shown),
        _near_source(shown),
        f"Up to {threshold} the conductor {shown.conductor} is not damaged at all",
        _margin(shown),
        None
        if upstream is None
        else f"The fuse before it is rated {quantity(upstream.rated_current_a, 'A')}"
        + (_selectivity(shown) if shown.upstream else "; its band is not known"),
        None if shown.kind.band else f"No band is drawn, as {_without_band(shown)}",
    )


def _without_band(shown: FuseChart) -> str:
    if shown.kind.candidate_rating_a is None:
        return f"no rating of {shown.type_name} is great enough"
    return f"no opening times are published for {shown.type_name}"


def _damaged(shown: FuseChart, current_a: float) -> str:
    time = shown.damage_time_s(current_a)
    if math.isinf(time):
        return "the conductor bears it for ever"
    return f"the conductor is damaged after {duration(time)}"


def _far_end(shown: FuseChart) -> str:
    fault = shown.answer.faults.far_end_fault_a
    opening = shown.kind.far_end_opening
    start = f"A fault at the far end is {quantity(fault, 'A')}"
    if opening is None:
        return f"{start}; {_damaged(shown, fault)}"
    if opening.least_s is not None and opening.greatest_s is not None:
        when = f"opens between {duration(opening.least_s)} and {duration(opening.greatest_s)}"
    elif opening.opens_within_s is not None:
        when = f"opens within {duration(opening.opens_within_s)}"
    elif opening.state == NOT_LIMITED:
        when = "need not open by its standard"
    else:
        when = "has no published opening time there"
    cleared = "in time" if opening.is_cleared else "not in time"
    wanted = duration(shown.answer.faults.clearing_time_s)
    factor = shown.answer.ambient_rating_factor
    counted = ", its rating counted higher for the cold," if factor > 1.0 else ""
    return (
        f"{start}; the fuse {shown.fuse}{counted} {when}, {cleared} for the {wanted} asked;"
        f" {_damaged(shown, fault)}"
    )


def _near_source(shown: FuseChart) -> str:
    faults = shown.answer.faults
    near = faults.near_source_fault_a
    capacity = quantity(shown.kind.breaking_capacity_a, "A")
    text = (
        f"A fault right behind the fuse is {quantity(near, 'A')}, against a breaking capacity of"
        f" {capacity}; {_damaged(shown, near)}"
    )
    if faults.warm_near_source_fault_a is not None:
        text += f"; a warm battery gives about {quantity(faults.warm_near_source_fault_a, 'A')}"
    return text


def _margin(shown: FuseChart) -> str | None:
    found = shown.kind.coordination
    if found is None or found.least_margin is None or found.least_margin_current_a is None:
        return None
    return (
        f"Where it is tightest, at {quantity(found.least_margin_current_a, 'A')}, the conductor"
        f" bears {quantity(found.least_margin, '', 1e-3).strip()} times as long as the fuse takes"
    )


def _selectivity(shown: FuseChart) -> str:
    found = shown.kind.upstream_selectivity
    if found is None or found.selective_up_to_a is None:
        return "; both may open together"
    return f"; this one alone opens up to {quantity(found.selective_up_to_a, 'A')}"
