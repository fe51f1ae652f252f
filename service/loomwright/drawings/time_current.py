"""Time-current chart: the fuse's band before the conductor's damage curve, with what flows."""

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from loomwright.drawings.axes import Axes, draw_marks, rows_of_marks
from loomwright.drawings.drawing import Drawing
from loomwright.drawings.labels import Mark
from loomwright.drawings.lettering import quantity, size_name
from loomwright.drawings.picture import MARGIN, WIDTH, Picture
from loomwright.drawings.scales import LogScale, log_window
from loomwright.drawings.time_current_words import FuseChart, fuse_description, fuse_verdict
from loomwright.engineering.protection.damage import (
    damage_curve,
    interpolated_damage_time_s,
)
from loomwright.engineering.protection.fuse_answer import (
    BandPoint,
    FuseAnswer,
)
from loomwright.engineering.protection.fuse_coordination import band_points, fuse_type_of
from loomwright.engineering.protection.fuse_request import FuseRequest
from loomwright.tables.fuse_records import FuseTables

Array = npt.NDArray[np.float64]

NAME = "time_current"
# px of CSS.
_LEFT, _RIGHT, _PLOT_HEIGHT = 60.0, WIDTH - 20.0, 320.0
_DAMAGE_WIDTH, _EDGE_WIDTH = 2.4, 1.4
# Times below the least of the band by more than this are left out: no fuse is published there.
_TIMES_BELOW_BAND = 30.0


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
    verdict = fuse_verdict(shown)
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
    return picture.drawing(title, fuse_description(shown, verdict), bottom + 40.0)


def _shown(request: FuseRequest, answer: FuseAnswer, size: str, tables: FuseTables) -> FuseChart:
    wanted = (
        [kind for kind in answer.types if kind.fuse_type == answer.chosen_type]
        or [kind for kind in answer.types if kind.band and kind.candidate_rating_a is not None]
        or list(answer.types)
    )
    kind, conductor = wanted[0], request.conductor
    upstream = request.upstream_fuse
    return FuseChart(
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


def _marks(shown: FuseChart) -> list[tuple[float, str, str, str]]:
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


def _currents(shown: FuseChart) -> tuple[float, float]:
    values = [current for current, _, _, _ in _marks(shown)]
    values += [point.current_a for point in (*shown.kind.band, *shown.upstream)]
    values.append(shown.curve.threshold_current_a * shown.runs)
    return log_window(values, 1.5, 1.5)


def _times(shown: FuseChart, window: tuple[float, float]) -> tuple[float, float]:
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


def _draw(axes: Axes, shown: FuseChart, marks: list[tuple[float, str, str, str]]) -> None:
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


def _damage_points(shown: FuseChart, axes: Axes) -> tuple[Array, Array]:
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


def _draw_opening(axes: Axes, shown: FuseChart) -> None:
    """Mark when the fuse opens at the latest on a far-end fault."""
    opening, faults = shown.kind.far_end_opening, shown.answer.faults
    if opening is None or opening.greatest_s is None:
        return
    x, y = axes.x.place(faults.far_end_fault_a), axes.y.place(opening.greatest_s)
    axes.picture.dot(x, y, "far_end_opening")
    axes.board.draw(np.array([x - 3.0, x + 3.0]), np.array([y, y]))
