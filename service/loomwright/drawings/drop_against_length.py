"""Voltage drop against route length for a conductor and its neighbours in the series."""

import math

import numpy as np
import numpy.typing as npt

from loomwright.drawings.axes import Axes, draw_marks, rows_of_marks
from loomwright.drawings.drawing import Drawing
from loomwright.drawings.labels import Mark
from loomwright.drawings.lettering import (
    quantity,
    sentences,
    size_name,
    three_digits,
)
from loomwright.drawings.picture import MARGIN, WIDTH, Picture
from loomwright.drawings.scales import LinearScale
from loomwright.engineering.conductors.choice import ConductorAnswer, ConductorRequest
from loomwright.engineering.conductors.drop_along_length import voltage_drop_along_length_v
from loomwright.engineering.record import record
from loomwright.tables.records import Tables

Array = npt.NDArray[np.float64]

NAME = "drop_against_length"
NEIGHBOURS = 2
_POINTS = 25
# px of CSS.
_LEFT, _RIGHT, _PLOT_HEIGHT = 60.0, WIDTH - 56.0, 250.0
_CHOSEN_WIDTH = 2.6
# By how many sizes a neighbour is thicker, and how it is drawn: width and dash.
_STROKES = {-2: (1.0, "1.5 2.5"), -1: (1.2, "5 2.5"), 1: (1.2, "9 2.5"), 2: (1.0, "9 2 1.5 2")}
# The window reaches so far beyond the job's own length, and up to where the drop is allowed.
_BEYOND_OWN, _BEYOND_ALLOWED, _GREATEST_WINDOW = 1.3, 1.1, 4.0
_ABOVE_ALLOWED, _ABOVE_OWN = 1.5, 1.2

_CRITERIA = {
    "voltage_drop": "the voltage drop",
    "conductor_temperature": "the conductor temperature",
    "published_ampacity": "the published ampacity",
    "mechanical": "the smallest size allowed",
    "short_circuit": "the short-circuit withstand",
}


@record
class _Shown:
    """What is drawn: candidates with their drops at lengths, and the one that matters."""

    request: ConductorRequest
    answer: ConductorAnswer
    main: int
    candidates: tuple[int, ...]
    lengths_m: Array
    drops_v: Array

    @property
    def own_drop_v(self) -> float:
        """Drop at the job's own length [V]; NaN without an operating point."""
        found = self.answer.candidates
        exists = bool(found.operating_point_exists[self.main])
        return float(found.voltage_drop_v[self.main]) if exists else math.nan

    def name(self, candidate: int) -> str:
        """Return the name of a candidate, with its runs if there are several."""
        frame = self.answer.candidates.frame
        runs = int(frame.parallel_runs[candidate])
        size = size_name(frame.sizes[candidate].key)
        return f"{runs} x {size}" if runs > 1 else size


def drop_against_length_drawing(
    request: ConductorRequest, answer: ConductorAnswer, tables: Tables
) -> Drawing:
    """Return the chart of drop against one-way length for the chosen size and its neighbours.

    Each point is solved by itself: the conductors are as warm as their current makes them. Where
    no size is chosen, the one that is checked takes its place, or else the thickest.

    Parameters
    ----------
    request
        Load, source, route and limits.
    answer
        What ``size_conductor`` answers.
    tables
        Published ampacities, factors and air.

    Returns
    -------
    Drawing
        Named ``drop_against_length``.
    """
    shown = _shown(request, answer, tables)
    title = f"Voltage drop against length: {shown.name(shown.main)}"
    verdict = _verdict(shown)
    picture = Picture(NAME)
    picture.heading(title, (verdict,))
    across = LinearScale(0.0, float(shown.lengths_m[-1]), _LEFT, _RIGHT)
    own_m = request.route_length_m
    mark = Mark(across.place(own_m), f"this route {quantity(own_m, 'm', 1e-3)}")
    ends = (MARGIN, WIDTH - MARGIN)
    top = picture.top + rows_of_marks((mark,), *ends)
    bottom = top + _PLOT_HEIGHT
    axes = Axes(picture, across, LinearScale(0.0, _greatest_drop_v(shown), bottom, top))
    axes.draw_grid("One-way length [m]", "Voltage drop [V]")
    _draw_percent(axes, request.supply_voltage_v)
    _draw(axes, shown, own_m)
    axes.draw_frame()
    draw_marks(picture, (mark,), ends, top)
    return picture.drawing(title, _description(shown, verdict), bottom + 40.0)


def _shown(request: ConductorRequest, answer: ConductorAnswer, tables: Tables) -> _Shown:
    found = answer.candidates
    main = answer.chosen if answer.checked is None else answer.checked
    if main is None:
        main = int(found.loop_resistance_ohm.argmin())
    count = len(request.sizes)
    group = main // count * count
    candidates = tuple(
        place
        for place in range(main - NEIGHBOURS, main + NEIGHBOURS + 1)
        if group <= place < group + count
    )
    lengths = np.linspace(0.0, _greatest_length_m(request, answer, main), _POINTS + 1)
    # A route of no length has its joints left: nearly none stands for it.
    lengths[0] = 1e-9 * lengths[-1]
    drops = voltage_drop_along_length_v(request, candidates, lengths, tables)
    return _Shown(request, answer, main, candidates, lengths, drops)


def _greatest_length_m(request: ConductorRequest, answer: ConductorAnswer, main: int) -> float:
    own = request.route_length_m
    allowed = float(answer.candidates.greatest_length_m[main])
    wanted = _BEYOND_ALLOWED * allowed if math.isfinite(allowed) else 0.0
    return max(_BEYOND_OWN * own, min(wanted, _GREATEST_WINDOW * own))


def _greatest_drop_v(shown: _Shown) -> float:
    allowed = shown.request.allowed_voltage_drop_v
    own = shown.own_drop_v
    wanted = _ABOVE_ALLOWED * allowed
    if math.isfinite(own):
        wanted = max(wanted, _ABOVE_OWN * own)
    # No more than there is to drop.
    return max(min(wanted, shown.request.supply_voltage_v), 1.05 * allowed)


def _draw_percent(axes: Axes, supply_voltage_v: float) -> None:
    """Draw the same scale in per cent of the supply voltage on the right."""
    picture, frame = axes.picture, axes.frame
    percent = 100.0 / supply_voltage_v
    scale = LinearScale(0.0, axes.y.high * percent, frame.bottom, frame.top)
    ticks = scale.ticks(24.0)
    widest = max([len(tick.label) for tick in ticks])
    for tick in ticks:
        if tick.label:
            y = scale.place(tick.value)
            picture.line(((frame.right - 5.0, y), (frame.right, y)))
            picture.text(tick.label, frame.right + 5.0, y + 4.3)
    right = min(frame.right + 12.0 + 7.8 * widest + 10.0, WIDTH - 6.0)
    picture.text(
        "Voltage drop [%]", right, 0.5 * (frame.top + frame.bottom), anchor="middle", upwards=True
    )


def _draw(axes: Axes, shown: _Shown, own_m: float) -> None:
    drawn = []
    for candidate, drops in zip(shown.candidates, shown.drops_v, strict=True):
        by = candidate - shown.main
        width, dash = _STROKES.get(by, (_CHOSEN_WIDTH, ""))
        known = np.isfinite(drops)
        points = axes.curve(
            shown.lengths_m[known], drops[known], f"size_{by + NEIGHBOURS}", width=width, dash=dash
        )
        drawn.append((candidate, points))
        # Where the curve has not left the frame before.
        if points and not known.all() and drops[known][-1] <= axes.y.high:
            _draw_end(axes, f"end_{by + NEIGHBOURS}", *points[-1])
    axes.upright(own_m, "own_length", dash="6 3")
    allowed = shown.request.allowed_voltage_drop_v
    level = axes.level(allowed, "allowed_drop", dash="2 2")
    if math.isfinite(shown.own_drop_v) and shown.own_drop_v <= axes.y.high:
        x, y = axes.x.place(own_m), axes.y.place(shown.own_drop_v)
        axes.picture.dot(x, y, "own_drop")
        axes.label(quantity(shown.own_drop_v, "V"), [(x, y)])
    frame = axes.frame
    axes.label(
        f"allowed {quantity(allowed, 'V')}",
        [(frame.left, level), (0.5 * (frame.left + frame.right), level), (frame.right, level)],
    )
    # The curve that matters first, as it then has the best of the places.
    for candidate, points in sorted(drawn, key=lambda entry: abs(entry[0] - shown.main)):
        if points:
            axes.label(shown.name(candidate), _towards_end(points), on_line=True)
    if not any(points for _, points in drawn):
        middle = 0.5 * (frame.left + frame.right), 0.5 * (frame.top + frame.bottom)
        axes.label("no operating point", [middle], on_line=True)


def _towards_end(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return places along a curve, from near its end to its beginning."""
    (first_x, first_y), (last_x, last_y) = points[0], points[-1]
    x, y = zip(*points, strict=True)
    steep = abs(last_y - first_y) > abs(last_x - first_x)
    if steep:
        along = [last_y + share * (first_y - last_y) for share in _SHARES]
        # The curve rises, and so y falls.
        across = np.interp(along, y[::-1], x[::-1]).tolist()
        return list(zip(across, along, strict=True))
    across = [last_x + share * (first_x - last_x) for share in _SHARES]
    return list(zip(across, np.interp(across, x, y).tolist(), strict=True))


_SHARES = (0.06, 0.1, 0.14, 0.18, 0.23, 0.28, 0.34, 0.4, 0.5, 0.6)


def _draw_end(axes: Axes, name: str, x: float, y: float) -> None:
    """Mark with a cross where no operating point exists any more."""
    reach = 4.0
    cross = ((x - reach, y - reach), (x + reach, y + reach))
    axes.picture.line(cross, name, width=1.4)
    axes.picture.line(((x - reach, y + reach), (x + reach, y - reach)), width=1.4)


# --- in words ---


def _verdict(shown: _Shown) -> str:
    answer, name = shown.answer, shown.name(shown.main)
    if answer.verdict == "conductor_found":
        return f"{name} is the smallest size that meets every criterion."
    if answer.verdict == "given_size_passes":
        return f"{name} meets every criterion."
    if answer.verdict == "given_size_fails":
        return f"{name} fails: {_missed(shown)}."
    if answer.verdict == "no_operating_point":
        return "No size of the series can deliver this load."
    return f"No size of the series meets every criterion; {name} fails: {_missed(shown)}."


def _missed(shown: _Shown) -> str:
    failing = int(shown.answer.candidates.failing[shown.main])
    names = [words for place, words in enumerate(_CRITERIA.values()) if failing >> place & 1]
    return ", ".join(names) or "nothing"


def _description(shown: _Shown, verdict: str) -> str:
    request, own = shown.request, shown.own_drop_v
    supply, allowed = request.supply_voltage_v, request.allowed_voltage_drop_v
    length = quantity(request.route_length_m, "m", 1e-3)
    load = (
        quantity(request.load_current_a, "A")
        if request.load_current_a is not None
        else f"{quantity(request.load_power_w or 0.0, 'W')} of constant power"
    )
    greatest = float(shown.answer.candidates.greatest_length_m[shown.main])
    others = [
        f"{shown.name(candidate)} {_drop_words(shown, candidate)}"
        for candidate in shown.candidates
        if candidate != shown.main
    ]
    return sentences(
        f"Voltage drop [V] and [%] of {quantity(supply, 'V')} over one-way length [m]",
        verdict,
        f"The load takes {load} at the end of {length}",
        f"{shown.name(shown.main)} {_drop_words(shown, shown.main)}, against"
        f" {quantity(allowed, 'V')} allowed",
        None
        if math.isnan(own) or not math.isfinite(greatest)
        else f"Its drop is within what is allowed up to {quantity(greatest, 'm', 1e-3)}",
        f"At the same length: {'; '.join(others)}" if others else None,
        None
        if np.isfinite(shown.drops_v).all()
        else "Where a curve ends in a cross, no operating point exists beyond it",
    )


def _drop_words(shown: _Shown, candidate: int) -> str:
    found = shown.answer.candidates
    if not found.operating_point_exists[candidate]:
        return "has no operating point at this length"
    drop = float(found.voltage_drop_v[candidate])
    percent = three_digits(100.0 * drop / shown.request.supply_voltage_v)
    return f"drops {quantity(drop, 'V')} ({percent} %)"
