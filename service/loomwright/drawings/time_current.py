"""Time-current chart: the fuse's band before the conductor's damage curve, with what flows."""

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from loomwright.drawings.axes import Axes, draw_marks, rows_of_marks
from loomwright.drawings.drawing import Drawing
from loomwright.drawings.labels import Mark
from loomwright.drawings.lettering import duration, quantity, sentences, size_name
from loomwright.drawings.picture import MARGIN, WIDTH, Picture
from loomwright.drawings.scales import LogScale, log_window
from loomwright.engineering.protection import fuse_answer as answers
from loomwright.engineering.protection.damage import (
    DamageCurve,
    damage_curve,
    interpolated_damage_time_s,
)
from loomwright.engineering.protection.fuse_answer import (
    BandPoint,
    FuseAnswer,
    FuseTypeAnswer,
)
from loomwright.engineering.protection.fuse_coordination import band_points, fuse_type_of
from loomwright.engineering.protection.fuse_request import FuseRequest
from loomwright.engineering.protection.fuses import NOT_LIMITED
from loomwright.engineering.record import record
from loomwright.tables.fuse_records import FuseTables

Array = npt.NDArray[np.float64]

NAME = "time_current"
# px of CSS.
_LEFT, _RIGHT, _PLOT_HEIGHT = 60.0, WIDTH - 20.0, 320.0
_DAMAGE_WIDTH, _EDGE_WIDTH = 2.4, 1.4
# Times below the least of the band by more than this are left out: no fuse is published there.
_TIMES_BELOW_BAND = 30.0

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
class _Shown:
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


def time_current_drawing(
    request: FuseRequest, answer: FuseAnswer, size: str, tables: FuseTables
) -> Drawing:
    """Return the time-current chart of a circuit and its fuse.

    Logarithmic axes. The band runs through the published points of the fuse type at the rating,
    in straight lines; where the standard sets no limit it is open. The damage curve is that by
    which ``size_fuse`` judges. Where no fuse fits, the one that came nearest is drawn with dashed
    edges.

    Parameters
    ----------
    request
        The circuit.
    answer
        What ``size_fuse`` answers.
    size
        Name of the conductor size.
    tables
        The fuse tables.

    Returns
    -------
    Drawing
        Named ``time_current``.
    """
    shown = _shown(request, answer, size, tables)
    title = f"Time-current chart: {shown.fuse} before {shown.conductor}"
    verdict = _verdict(shown)
    picture = Picture(NAME)
    picture.heading(title, (verdict,))
    marks = _marks(shown)
    window = _currents(shown)
    across = LogScale(*window, _LEFT, _RIGHT)
    placed = [Mark(across.place(current), label) for current, label, _, _ in marks]
    ends = (MARGIN, WIDTH - MARGIN)
    top = picture.top + rows_of_marks(placed, *ends)
    bottom = top + _PLOT_HEIGHT
    axes = Axes(picture, across, LogScale(*_times(shown, window), bottom, top))
    axes.draw_grid("Current [A]", "Opening time [s]")
    _draw(axes, shown, marks)
    axes.draw_frame()
    draw_marks(picture, placed, ends, top)
    return picture.drawing(title, _description(shown, verdict), bottom + 40.0)


def _shown(request: FuseRequest, answer: FuseAnswer, size: str, tables: FuseTables) -> _Shown:
    wanted = (
        [kind for kind in answer.types if kind.fuse_type == answer.chosen_type]
        or [kind for kind in answer.types if kind.band and kind.candidate_rating_a is not None]
        or list(answer.types)
    )
    kind, conductor = wanted[0], request.conductor
    upstream = request.upstream_fuse
    return _Shown(
        request=request,
        answer=answer,
        kind=kind,
        type_name=tables.types[kind.fuse_type].name.partition(",")[0],
        is_permitted=kind.fuse_type == answer.chosen_type,
        # The one that the answer rests on, from the memo.
        curve=damage_curve(
            conductor.thermal,
            conductor.ampacity_a / conductor.parallel_conductors,
            conductor.initial_temperature_k,
        ),
        upstream=()
        if upstream is None or upstream.fuse_type is None
        else band_points(fuse_type_of(tables, upstream.fuse_type), upstream.rated_current_a),
        size=size_name(size),
    )


def _verdict(shown: _Shown) -> str:
    answer, kind = shown.answer, shown.kind
    if shown.is_permitted:
        if answer.verdict == answers.POSITION_EXCEEDED:
            return f"The fuse fits, but {_FAILURES[answers.POSITION_EXCEEDED]}."
        return "The fuse fits the load and protects the conductor."
    reasons = "; ".join(_FAILURES[failure] for failure in kind.failures)
    subject = "The given fuse" if shown.request.checked_fuse is not None else "Nearest fuse"
    found = "" if shown.request.checked_fuse is not None else "No fuse fits. "
    return f"{found}{subject}: {reasons}."


def _marks(shown: _Shown) -> list[tuple[float, str, str, str]]:
    """Return current, label, name and dash of each vertical line."""
    load, faults = shown.request.load, shown.answer.faults
    found = [(load.continuous_current_a, "load", "load", "")]
    if load.inrush_current_a is not None:
        found.append((load.inrush_current_a, "start", "start", "7 2 1.5 2"))
    found += [
        (faults.far_end_fault_a, "far-end fault", "far_end_fault", "6 3"),
        (faults.near_source_fault_a, "source fault", "near_source_fault", "2 2"),
    ]
    return [
        (current, f"{label} {quantity(current, 'A')}", name, dash)
        for current, label, name, dash in found
    ]


def _currents(shown: _Shown) -> tuple[float, float]:
    values = [current for current, _, _, _ in _marks(shown)]
    values += [point.current_a for point in (*shown.kind.band, *shown.upstream)]
    values.append(shown.curve.threshold_current_a * shown.runs)
    return log_window(values, 1.5, 1.5)


def _times(shown: _Shown, window: tuple[float, float]) -> tuple[float, float]:
    band = [
        time
        for point in (*shown.kind.band, *shown.upstream)
        for time in (point.least_s, point.greatest_s)
        if time is not None
    ]
    load = shown.request.load
    values = [*band, shown.answer.faults.clearing_time_s]
    if load.inrush_duration_s is not None:
        values.append(load.inrush_duration_s)
    least = min(values)
    # Of the damage curve as much as lies about the band.
    values += [
        max(time, least / _TIMES_BELOW_BAND)
        for time in map(shown.damage_time_s, (shown.answer.faults.near_source_fault_a, window[1]))
        if math.isfinite(time)
    ]
    return log_window(values, 1.5, 2.5)


def _draw(axes: Axes, shown: _Shown, marks: list[tuple[float, str, str, str]]) -> None:
    if shown.upstream:
        _draw_band(axes, shown.upstream, "upstream", dash="1.5 2")
    own = _draw_band(axes, shown.kind.band, "band", dash="" if shown.is_permitted else "5 2.5")
    damage = axes.curve(*_damage_points(shown, axes), "damage", width=_DAMAGE_WIDTH)
    load = shown.request.load
    for current, _, name, dash in marks:
        if name == "load" and load.inrush_duration_s is not None:
            _draw_start(
                axes, load.continuous_current_a, load.inrush_current_a, load.inrush_duration_s
            )
        elif name != "start":
            axes.upright(current, name, dash=dash)
    _draw_opening(axes, shown)
    rating = shown.kind.candidate_rating_a
    if own and rating is not None:
        axes.label(f"fuse {quantity(rating, 'A')}", own)
    if damage:
        axes.label(f"damage of {shown.conductor}", _spread(damage))
    upstream = shown.request.upstream_fuse
    if shown.upstream and upstream is not None:
        edge = _edge(shown.upstream, "greatest_s")
        axes.label(
            f"upstream {quantity(upstream.rated_current_a, 'A')}",
            [(axes.x.place(current), axes.y.place(time)) for current, time in edge],
        )


def _spread(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return some points of a line, those from its middle first."""
    count = len(points)
    places = [count // 2, count // 3, 2 * count // 3, count // 4, 3 * count // 4, count // 6]
    return [points[min(place, count - 1)] for place in dict.fromkeys(places)]


def _edge(band: tuple[BandPoint, ...], name: str) -> list[tuple[float, float]]:
    """Return the current [A] and the time [s] of each published point of one edge."""
    edge = [(point.current_a, getattr(point, name)) for point in band]
    return [(current, time) for current, time in edge if time is not None]


def _draw_band(
    axes: Axes, band: tuple[BandPoint, ...], name: str, *, dash: str
) -> list[tuple[float, float]]:
    """Draw a band with its edges; return places for its label."""
    least, greatest = (
        [(axes.x.place(current), axes.y.place(time)) for current, time in _edge(band, edge)]
        for edge in ("least_s", "greatest_s")
    )
    if not least or not greatest:
        return []
    frame, picture = axes.frame, axes.picture
    # Where the standard sets no limit, the band is open to the end of the chart.
    area = [(least[0][0], frame.top), *least]
    if greatest[-1][0] > least[-1][0]:
        area += [(least[-1][0], frame.bottom), (greatest[-1][0], frame.bottom)]
    area += [*reversed(greatest), (greatest[0][0], frame.top)]
    fill = picture.hatch(f"{name}_hatch", falls=name != "band", gap=5.0 if name == "band" else 7.0)
    picture.line(area, f"{name}_area", fill=fill, stroke="none")
    for edge, points in (("least", least), ("greatest", greatest)):
        picture.line(points, f"{name}_{edge}", width=_EDGE_WIDTH, dash=dash)
        across, along = np.array(points).T
        axes.board.draw(across, along)
    # In the band, at the height of the middle of a published span.
    low = [(0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1])) for a, b in pairwise(least)]
    return [*reversed(low), *reversed(greatest)]


def _damage_points(shown: _Shown, axes: Axes) -> tuple[Array, Array]:
    """Return currents [A] and times to damage [s] of the curve, from end to end of the chart."""
    curve = shown.curve
    # Nearer to the threshold the time runs to infinity within a tenth of a pixel.
    excess = np.append(0.0, np.exp(curve.log_excess))
    currents = curve.threshold_current_a * (1.0 + excess)
    times = np.append(max(axes.y.high, math.exp(curve.log_time[0])), np.exp(curve.log_time))
    last = axes.x.high / shown.runs
    if currents[-1] < last:
        # Past its table the curve is a straight line on these axes.
        currents = np.append(currents, last)
        times = np.append(times, interpolated_damage_time_s(curve, last))
    return currents * shown.runs, times


def _draw_start(axes: Axes, load_a: float, start_a: float | None, duration_s: float | None) -> None:
    """Draw what the load takes from its start on: the greater current first, then its own."""
    assert start_a is not None
    assert duration_s is not None
    frame = axes.frame
    load, start, until = axes.x.place(load_a), axes.x.place(start_a), axes.y.place(duration_s)
    axes.picture.line(((load, frame.top), (load, until)), "load")
    axes.picture.line(
        ((load, until), (start, until), (start, frame.bottom)), "start", dash="7 2 1.5 2"
    )
    axes.board.draw(
        np.array([load, load, start, start]), np.array([frame.top, until, until, frame.bottom])
    )
    # Up to its label above the frame.
    axes.picture.line(((start, frame.top), (start, until)), width=0.4)


def _draw_opening(axes: Axes, shown: _Shown) -> None:
    """Mark when the fuse opens at the latest on a far-end fault."""
    opening, faults = shown.kind.far_end_opening, shown.answer.faults
    if opening is None or opening.greatest_s is None:
        return
    x, y = axes.x.place(faults.far_end_fault_a), axes.y.place(opening.greatest_s)
    axes.picture.dot(x, y, "far_end_opening")
    axes.board.draw(np.array([x - 3.0, x + 3.0]), np.array([y, y]))


# --- in words ---


def _description(shown: _Shown, verdict: str) -> str:
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


def _without_band(shown: _Shown) -> str:
    if shown.kind.candidate_rating_a is None:
        return f"no rating of {shown.type_name} is great enough"
    return f"no opening times are published for {shown.type_name}"


def _damaged(shown: _Shown, current_a: float) -> str:
    time = shown.damage_time_s(current_a)
    if math.isinf(time):
        return "the conductor bears it for ever"
    return f"the conductor is damaged after {duration(time)}"


def _far_end(shown: _Shown) -> str:
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


def _near_source(shown: _Shown) -> str:
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


def _margin(shown: _Shown) -> str | None:
    found = shown.kind.coordination
    if found is None or found.least_margin is None or found.least_margin_current_a is None:
        return None
    return (
        f"Where it is tightest, at {quantity(found.least_margin_current_a, 'A')}, the conductor"
        f" bears {quantity(found.least_margin, '', 1e-3).strip()} times as long as the fuse takes"
    )


def _selectivity(shown: _Shown) -> str:
    found = shown.kind.upstream_selectivity
    if found is None or found.selective_up_to_a is None:
        return "; both may open together"
    return f"; this one alone opens up to {quantity(found.selective_up_to_a, 'A')}"
