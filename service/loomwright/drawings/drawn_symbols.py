"""Graphical symbols of IEC 60617 as schemdraw draws them; imported with the first diagram only.

The symbols of two terminals stand upright, from (0, 0) down to (0, height).
"""

import math
import re
from collections.abc import Callable
from types import MappingProxyType
from typing import NamedTuple
from xml.etree import ElementTree  # parses our own drawings only  # nosec B405

import schemdraw
from schemdraw import elements
from schemdraw.segments import Segment, SegmentCircle

# schemdraw draws one of its units as so many px.
_UNIT_PX = 36.0
_NUMBER_PAIR = re.compile(r"(-?[\d.]+(?:e-?\d+)?),(-?[\d.]+(?:e-?\d+)?)")
_IDLE_MOVE = re.compile(r"M ([^ ]+)(?: L \1)* *(?=M|$)")
_SVG = "{http://www.w3.org/2000/svg}"
_GAP = (math.nan, math.nan)
Points = list[tuple[float, float]]


def _boxed(half_length: float, half_width: float, *marks: Points) -> elements.Element2Term:
    """Return a rectangle between two terminals, as wide across the line as it says."""
    length, width = 2.0 * half_length, half_width
    corners = [(0, 0), (0, width), (length, width), (length, -width), (0, -width), (0, 0)]
    element = elements.Element2Term()
    element.segments.append(Segment([*corners, _GAP, (length, 0)]))
    element.segments.extend(Segment(points) for points in marks)
    return element


def _motor() -> elements.Element2Term:
    """Return a circle with the letter M."""
    letter = [(0.72, -0.2), (0.3, -0.2), (0.55, 0.0), (0.3, 0.2), (0.72, 0.2)]
    element = elements.Element2Term()
    element.segments.append(Segment([(0, 0), _GAP, (1, 0)]))
    element.segments.append(SegmentCircle((0.5, 0), 0.5))
    element.segments.append(Segment(letter))
    return element


def _converter(*marks: Points) -> elements.Element2Term:
    return _boxed(0.5, 0.5, [(1.0, -0.5), (0.0, 0.5)], *marks)


def _heater() -> elements.Element2Term:
    bars: list[Points] = [[(0.0, y), (1.0, y)] for y in (-0.3, 0.0, 0.3)]
    return _boxed(0.5, 0.6, *bars)


# Marks of direct and of alternating current in the halves of a converter, along and across the
# line, which runs downwards.
_DIRECT_IN: tuple[Points, ...] = (
    [(0.18, -0.32), (0.18, -0.02)],
    [(0.3, -0.32), (0.3, -0.02)],
)
_DIRECT_OUT: tuple[Points, ...] = ([(0.7, 0.02), (0.7, 0.32)], [(0.82, 0.02), (0.82, 0.32)])
_ALTERNATING_OUT: Points = [
    (0.78, 0.0),
    (0.71, 0.04),
    (0.69, 0.09),
    (0.72, 0.14),
    (0.8, 0.2),
    (0.83, 0.25),
    (0.81, 0.3),
    (0.74, 0.34),
]


class _Made(NamedTuple):
    """How a symbol is made: px of a schemdraw unit and height, both in the diagram."""

    make: Callable[[], elements.Element]
    unit_px: float
    height: float
    is_reversed: bool = False


# Numbers of the symbols in IEC 60617 are from memory: S00362 fuse, S01342 cell, S00202 frame,
# S00017 terminal, S00213 converter.
_MADE: MappingProxyType[str, _Made] = MappingProxyType(
    {
        "fuse": _Made(elements.FuseIEEE, 20.0, 20.0),
        # The negative pole is above, so that the positive one feeds what hangs below.
        "battery": _Made(elements.BatteryCell, 26.0, 24.0, is_reversed=True),
        "chassis": _Made(elements.GroundChassis, 21.0, 0.0),
        "terminal": _Made(lambda: elements.Dot(open=True, radius=0.16), 26.0, 0.0),
        "load": _Made(lambda: _boxed(0.5, 0.6), 18.0, 18.0),
        "heater": _Made(_heater, 18.0, 18.0),
        "amplifier": _Made(
            lambda: _boxed(0.5, 0.5, [(0.22, -0.3), (0.22, 0.3), (0.8, 0), (0.22, -0.3)]),
            18.0,
            18.0,
        ),
        "lamp": _Made(elements.Lamp2, 16.0, 16.0),
        "motor": _Made(_motor, 18.0, 18.0),
        "converter": _Made(lambda: _converter(*_DIRECT_IN, *_DIRECT_OUT), 20.0, 20.0),
        "inverter": _Made(lambda: _converter(*_DIRECT_IN, _ALTERNATING_OUT), 20.0, 20.0),
    }
)


def drawn_symbols() -> dict[str, tuple[str, float]]:
    """Return every symbol as SVG with its height.

    Returns
    -------
    dict
        By name: ``path`` and ``circle`` elements without any style, in px of the diagram with the
        upper terminal at (0, 0); height [px] of those that have two terminals, otherwise 0.
    """
    schemdraw.use("svg")
    return {name: (_svg_of(made), made.height) for name, made in _MADE.items()}


def _svg_of(made: _Made) -> str:
    drawing = schemdraw.Drawing(show=False)
    element = made.make()
    if isinstance(element, elements.Element2Term):
        element = element.down().length(made.height / made.unit_px)
        if made.is_reversed:
            element = element.reverse()
    drawing.add(element)
    scale = made.unit_px / _UNIT_PX
    # A symbol of the library, drawn once without a word of any request.
    root = ElementTree.fromstring(drawing.get_imagedata("svg"))  # nosec B314
    return "".join(_shape(shape, scale) for shape in root)


def _shape(shape: ElementTree.Element, scale: float) -> str:
    if shape.tag == f"{_SVG}circle":
        x, y, radius = (_scaled(shape.attrib[name], scale) for name in ("cx", "cy", "r"))
        return f'<circle cx="{x}" cy="{y}" r="{radius}"/>'
    if shape.tag != f"{_SVG}path":
        raise ValueError(f"schemdraw drew a {shape.tag}, which no symbol here is made of")
    points = _NUMBER_PAIR.sub(
        lambda pair: f"{_scaled(pair[1], scale)},{_scaled(pair[2], scale)}", shape.attrib["d"]
    )
    # Leads without length leave moves behind that draw nothing.
    drawn = _IDLE_MOVE.sub("", points).strip()
    return f'<path d="{drawn}"/>' if drawn else ""


def _scaled(number: str, scale: float) -> str:
    # Adding zero takes the sign off a negative one.
    return f"{round(float(number) * scale, 2) + 0.0:g}"
