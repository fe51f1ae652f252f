"""The voltage along a circuit's path: from the source down to the load, and back to the source."""

from collections.abc import Callable, Sequence
from itertools import groupby, pairwise

from loomwright.drawings.axes import MAJOR_TICK
from loomwright.drawings.drawing import Drawing
from loomwright.drawings.lettering import (
    LINE_HEIGHT,
    MINUS,
    TEXT_SIZE,
    quantity,
    sentences,
    shortened,
    size_name,
    text_width,
    three_digits,
    wrapped,
)
from loomwright.drawings.picture import GRID, MARGIN, WIDTH, Picture
from loomwright.drawings.scales import LinearScale
from loomwright.engineering.network.solver import SOLVED
from loomwright.engineering.record import record
from loomwright.jobs.installation_network import (
    FUSE,
    GROUND,
    LOAD_LUG,
    RETURN_LUGS,
    SOURCE_LUG,
)
from loomwright.jobs.job import Circuit, Job
from loomwright.jobs.plan.sized_plan import SizedPlan
from loomwright.jobs.sized_circuit import SizedCircuit
from loomwright.jobs.solved_installation import STATES
from loomwright.jobs.voltage_path import (
    FEED,
    GROUND_LEAD,
    INSIDE_SOURCE,
    RETURN,
    PathStep,
    VoltagePath,
    lowest_circuit,
    voltage_path,
)

NAME = "voltage_path"
# px of CSS.
_LEFT, _RIGHT = 68.0, WIDTH - 14.0
# Of both panels together; each has at least so much.
_PANELS, _LEAST_PANEL = 210.0, 62.0
_LEAST_PITCH = LINE_HEIGHT
_MOST_LINES = 3
# What is drawn where nothing is lost: so much of a volt from end to end.
_LEAST_SPAN_V = 0.02

_PARTS = {
    INSIDE_SOURCE: "inside source",
    SOURCE_LUG: "first lug",
    FUSE: "fuse",
    FEED: "feed",
    LOAD_LUG: "last lug",
    GROUND_LEAD: "ground lead",
    RETURN: "return",
    RETURN_LUGS: "lugs",
    GROUND: "chassis",
}


@record
class _Station:
    """One part of the path on the x-axis: its name, what is lost over it, voltage behind it."""

    name: str
    circuit: str | None
    drop_v: float
    end_v: float


def voltage_path_drawing(plan: SizedPlan, circuit: str | None = None) -> Drawing:
    """Return the voltage along the path of one circuit with everything on.

    Above the way from the source's electromotive force to the load, below the way back from the
    load to the negative pole; both with the same volts to the pixel as far as the lesser one can
    still be read. Between its ends the load has what is left.

    Parameters
    ----------
    plan
        A sized plan with its solved network.
    circuit
        Key of a circuit of its job; the one with the lowest load voltage if none.

    Returns
    -------
    Drawing
        Named ``voltage_path``.
    """
    job = plan.consistent.job
    key = circuit or lowest_circuit(plan.solved)
    path = None if key is None else voltage_path(job, plan.solved, key)
    if path is None:
        return _drawing_without_path(plan, job, key)
    sized = {entry.circuit.key: entry for entry in plan.consistent.sized}
    title = (
        f"Voltage path, {sized[path.circuit].circuit.description}:"
        f" {quantity(path.load_v, 'V')} at the load"
    )
    verdict = _verdict(plan, path)
    picture = Picture(NAME)
    picture.heading(title, (verdict,))
    feed, back = _stations(path.feed, sized), _stations(path.back, sized)
    heights = _heights(_span_v(path.emf_v, feed), _span_v(path.minus_v, back))
    plus, minus = quantity(path.plus_v, "V"), quantity(path.minus_v, "V")
    bottom = _draw_panel(picture, "feed", path.emf_v, feed, heights[0], f"load (+) {plus}")
    picture.top = bottom + 10.0
    bottom = _draw_panel(
        picture, "return", path.minus_v, back, heights[1], f"load ({MINUS}) {minus}"
    )
    return picture.drawing(title, _description(plan, path, feed, back, verdict), bottom + 4.0)


def _stations(steps: Sequence[PathStep], sized: dict[str, SizedCircuit]) -> tuple[_Station, ...]:
    """Return the stations of a path; with many circuits on it the joints of each are one."""
    found = [
        _Station(_part_name(step, sized), step.circuit, step.drop_v, step.end_voltage_v)
        for step in steps
    ]
    if len(found) * _LEAST_PITCH <= _RIGHT - _LEFT:
        return tuple(found)
    return _joined(steps, found, lambda step: step.circuit)


def _joined(
    steps: Sequence[PathStep],
    stations: Sequence[_Station],
    circuit_of: Callable[[PathStep], str | None],
) -> tuple[_Station, ...]:
    """Return one station for each circuit, from its beginning to its end."""
    found = []
    pairs = zip(steps, stations, strict=True)
    for circuit, group in groupby(pairs, key=lambda pair: circuit_of(pair[0])):
        members = [station for _, station in group]
        name = members[0].name if circuit is None else circuit
        drop_v = sum(station.drop_v for station in members)
        found.append(_Station(name, circuit, drop_v, members[-1].end_v))
    # Of more than there is room for, the first ones are one.
    most = int((_RIGHT - _LEFT) / _LEAST_PITCH)
    if len(found) > most:
        first, found = found[: len(found) - most + 1], found[len(found) - most + 1 :]
        drop_v = sum(station.drop_v for station in first)
        found.insert(0, _Station("circuits before", None, drop_v, first[-1].end_v))
    return tuple(found)


def _part_name(step: PathStep, sized: dict[str, SizedCircuit]) -> str:
    name = _PARTS[step.part]
    entry = None if step.circuit is None else sized[step.circuit]
    if entry is None:
        return name
    if step.part == FUSE and entry.rated_current_a is not None:
        return f"{name} {quantity(entry.rated_current_a, 'A')}"
    if step.part in (FEED, RETURN, GROUND_LEAD) and entry.conductor is not None:
        return f"{name} {size_name(entry.conductor.key)}"
    return name


def _span_v(start_v: float, stations: Sequence[_Station]) -> float:
    voltages = [start_v, *(station.end_v for station in stations)]
    return max(max(voltages) - min(voltages), _LEAST_SPAN_V)


def _heights(feed_v: float, back_v: float) -> tuple[float, float]:
    """Return the heights of both panels in the ratio of their spans, as far as that can be read."""
    feed = _PANELS * feed_v / (feed_v + back_v)
    feed = min(max(feed, _LEAST_PANEL), _PANELS - _LEAST_PANEL)
    return feed, _PANELS - feed


def _draw_panel(
    picture: Picture,
    name: str,
    start_v: float,
    stations: Sequence[_Station],
    height: float,
    label: str,
) -> float:
    """Draw one way with its axes and return where it ends [px]."""
    pitch = (_RIGHT - _LEFT) / len(stations)
    top = _draw_circuits(picture, stations, pitch)
    bottom = top + height
    scale = _volts(start_v, stations, top, bottom)
    _draw_axis(picture, name, scale, (top, bottom))
    places = [_LEFT + place * pitch for place in range(len(stations) + 1)]
    voltages = [start_v, *(station.end_v for station in stations)]
    points = list(zip(places, map(scale.place, voltages), strict=True))
    uprights = "".join([f"M{x:.2f},{top:.2f}V{bottom:.2f}" for x in places[1:-1]])
    if uprights:
        picture.add(f'<path stroke="{GRID}" stroke-width="0.7" d="{uprights}"/>')
    frame = ((_LEFT, top), (_RIGHT, top), (_RIGHT, bottom), (_LEFT, bottom), (_LEFT, top))
    picture.line(frame, width=1.2)
    picture.line(points, f"{name}_voltage", width=2.2)
    for place, (x, y) in enumerate(points):
        picture.dot(x, y, f"{name}_{place}", 2.6)
    # The line falls, so that this corner is free.
    width = text_width(label) + 2.0
    picture.backed_text(label, _RIGHT - width - 4.0, top + 3.0, width)
    return _draw_stations(picture, stations, places, pitch, bottom)


def _draw_circuits(picture: Picture, stations: Sequence[_Station], pitch: float) -> float:
    """Write above a panel which stations belong to which circuit; return where the panel begins."""
    top = picture.top + LINE_HEIGHT + 4.0
    place = 0
    for circuit, members in groupby(stations, key=lambda station: station.circuit):
        count = len(list(members))
        start, end = _LEFT + place * pitch, _LEFT + (place + count) * pitch
        place += count
        if circuit is None:
            continue
        picture.line(((start + 2.0, top - 3.0), (end - 2.0, top - 3.0)), width=1.4)
        text = shortened(circuit, end - start - 4.0)
        # Three dots alone say nothing.
        if text.strip("."):
            picture.text(text, 0.5 * (start + end), top - 7.0, anchor="middle")
    return top


def _volts(start_v: float, stations: Sequence[_Station], top: float, bottom: float) -> LinearScale:
    voltages = [start_v, *(station.end_v for station in stations)]
    middle = 0.5 * (max(voltages) + min(voltages))
    half = 0.56 * _span_v(start_v, stations)
    return LinearScale(middle - half, middle + half, bottom, top)


def _draw_axis(picture: Picture, name: str, scale: LinearScale, ends: tuple[float, float]) -> None:
    grid, ticks, widest = [], [], 0.0
    for tick in scale.ticks(22.0):
        y = scale.place(tick.value)
        ticks.append(f"M{_LEFT:.2f},{y:.2f}h{3 if tick.is_minor else MAJOR_TICK:g}")
        if tick.label:
            grid.append(f"M{_LEFT:.2f},{y:.2f}H{_RIGHT:.2f}")
            widest = max(widest, text_width(tick.label))
            picture.text(tick.label, _LEFT - 5.0, y + 0.36 * TEXT_SIZE, anchor="end")
    picture.add(f'<path stroke="{GRID}" stroke-width="0.7" d="{"".join(grid)}"/>')
    identifier = picture.identifier(f"{name}_ticks")
    picture.add(f'<path id="{identifier}" d="{"".join(ticks)}"/>')
    base = max(_LEFT - widest - 11.0, MARGIN + TEXT_SIZE - 4.0)
    middle = 0.5 * (ends[0] + ends[1])
    picture.text(f"{name.capitalize()} [V]", base, middle, anchor="middle", upwards=True)


def _draw_stations(
    picture: Picture,
    stations: Sequence[_Station],
    places: Sequence[float],
    pitch: float,
    bottom: float,
) -> float:
    """Write name and drop below each station: across where there is room, else upwards."""
    drops = [quantity(1e3 * station.drop_v, "mV", 1e-3) for station in stations]
    across = [
        (*wrapped(station.name, pitch - 3.0), drop)
        for station, drop in zip(stations, drops, strict=True)
    ]
    fits = all(
        len(lines) <= _MOST_LINES
        and text_width(lines[-1]) <= pitch - 3.0
        and not any(line.endswith("...") for line in lines)
        for lines in across
    )
    middles = [0.5 * (start + end) for start, end in pairwise(places)]
    if fits:
        for x, lines in zip(middles, across, strict=True):
            for row, line in enumerate(lines, 1):
                picture.text(line, x, bottom + row * LINE_HEIGHT, anchor="middle")
        return bottom + LINE_HEIGHT * max(map(len, across)) + 4.0
    upwards = [
        f"{shortened(station.name, 110.0)} {drop}"
        for station, drop in zip(stations, drops, strict=True)
    ]
    for x, text in zip(middles, upwards, strict=True):
        picture.text(text, x + 0.36 * TEXT_SIZE, bottom + 6.0, anchor="end", upwards=True)
    return bottom + 6.0 + max(map(text_width, upwards)) + 4.0


# --- in words ---


def _circuit_of(job: Job, key: str) -> Circuit:
    return next(item for item in job.circuits if item.key == key)


def _verdict(plan: SizedPlan, path: VoltagePath) -> str:
    lost = path.emf_v - path.load_v
    percent = three_digits(100.0 * lost / path.emf_v)
    text = f"Of {quantity(path.emf_v, 'V')} at rest {quantity(lost, 'V')} is lost ({percent} %)."
    if path.circuit in plan.consistent.short_of_voltage:
        text += " The equipment needs more."
    return text


def _description(
    plan: SizedPlan,
    path: VoltagePath,
    feed: Sequence[_Station],
    back: Sequence[_Station],
    verdict: str,
) -> str:
    return sentences(
        f"Voltage [V] along circuit {path.circuit} of the plan {plan.name}, from source"
        f" {path.source} to the load and back, with everything on",
        verdict,
        f"The circuit carries {quantity(path.current_a, 'A')}; its load has"
        f" {quantity(path.load_v, 'V')}, between {quantity(path.plus_v, 'V')} and"
        f" {quantity(path.minus_v, 'V')} over the negative pole of the source",
        f"Lost on the way there: {_listed(feed)}",
        f"Lost on the way back: {_listed(back)}",
    )


def _listed(stations: Sequence[_Station]) -> str:
    parts = []
    for circuit, members in groupby(stations, key=lambda station: station.circuit):
        drops = ", ".join(
            f"{station.name} {quantity(1e3 * station.drop_v, 'mV', 1e-3)}" for station in members
        )
        parts.append(drops if circuit is None else f"in {circuit} {drops}")
    return "; ".join(parts)


# --- without a path ---


def _drawing_without_path(plan: SizedPlan, job: Job, key: str | None) -> Drawing:
    """Return what can be drawn where no operating point is known: the voltage of the source."""
    about = "" if key is None else f", {_circuit_of(job, key).description}"
    title = f"Voltage path{about}: not known"
    if plan.solved.state != STATES[SOLVED]:
        reason = "All loads together ask for more than the sources deliver: no operating point."
    else:
        reason = "No conductor of its series serves this circuit, or one that feeds it."
    picture = Picture(NAME)
    picture.heading(title, (reason,))
    top = picture.top + 8.0
    bottom = top + _LEAST_PANEL
    sources = list(job.power_sources.values())
    if key is not None:
        feeding = job.feeders_down_to(_circuit_of(job, key).fed_from)
        first = feeding[0] if feeding else _circuit_of(job, key)
        sources = [job.power_sources[first.fed_from]]
    emf_v = sources[0].emf_v
    scale = LinearScale(0.0, 1.2 * emf_v, bottom, top)
    _draw_axis(picture, "source", scale, (top, bottom))
    picture.line(
        ((_LEFT, top), (_RIGHT, top), (_RIGHT, bottom), (_LEFT, bottom), (_LEFT, top)), width=1.2
    )
    y = scale.place(emf_v)
    picture.line(((_LEFT, y), (_RIGHT, y)), "source_voltage", width=2.2, dash="6 3")
    label = f"at rest {quantity(emf_v, 'V')}"
    picture.backed_text(label, _LEFT + 12.0, y + 4.0, text_width(label) + 2.0)
    description = sentences(
        f"Voltage [V] of source {sources[0].key} at rest: {quantity(emf_v, 'V')}",
        reason,
        "No voltage along the path is known",
    )
    return picture.drawing(title, description, bottom + MARGIN)
