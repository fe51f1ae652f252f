"""Graphical symbols of IEC 60617 as schemdraw draws them; imported with the first diagram only.

The symbols of two terminals stand upright, from (0, 0) down to (0, height).
"""

import re
from collections.abc import Callable
from types import MappingProxyType
from xml.etree import ElementTree

import schemdraw
from schemdraw import elements
from schemdraw.segments import Segment, SegmentCircle

# schemdraw draws one of its units as so many px.
_UNIT_PX = 36.0
_NUMBER_PAIR = re.compile(r"(-?[\d.]+(?:e-?\d+)?),(-?[\d.]+(?:e-?\d+)?)")
_SVG = "{http://www.w3.org/2000/svg}"
Points = list[tuple[float, float]]


class _Boxed(elements.Element2Term):  # type: ignore[misc]
    """A rectangle between two terminals, across the line as wide as it says, with marks inside."""

    def __init__(self, half_length: float, half_width: float, *marks: Points) -> None:
        super().__init__()
        length, width = 2.0 * half_length, half_width
        corners = [(0, 0), (0, width), (length, width), (length, -width), (0, -width), (0, 0)]
        self.segments.append(Segment([*corners, (float("nan"), float("nan")), (length, 0)]))
        self.segments.extend(Segment(points) for points in marks)


class _Motor(elements.Element2Term):  # type: ignore[misc]
    """A circle with the letter M."""

    def __init__(self) -> None:
        super().__init__()
        self.segments.append(Segment([(0, 0), (0, 0), (float("nan"), float("nan")), (1, 0)]))
        self.segments.append(SegmentCircle((0.5, 0), 0.5))
        letter = [(0.72, -0.2), (0.3, -0.2), (0.55, 0.0), (0.3, 0.2), (0.72, 0.2)]
        self.segments.append(Segment(letter))


def _converter(*marks: Points) -> elements.Element2Term:
    return _Boxed(0.5, 0.5, [(1.0, -0.5), (0.0, 0.5)], *marks)


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
# Drawing, px of a unit in the diagram, and height in the diagram, by name.
_MADE: MappingProxyType[str, tuple[Callable[[], elements.Element], float, float]] = (
    MappingProxyType(
        {
            # S00362, S01342, S00202 or S00200 (frame), S00017: numbers of IEC 60617 from memory.
            "fuse": (elements.FuseIEEE, 20.0, 24.0),
            "battery": (lambda: elements.BatteryCell().reverse(), 26.0, 24.0),
            "chassis": (elements.GroundChassis, 21.0, 0.0),
            "terminal": (lambda: elements.Dot(open=True, radius=0.16), 26.0, 0.0),
            "load": (lambda: _Boxed(0.5, 0.75), 14.0, 22.0),
            "heater": (
                lambda: _Boxed(0.5, 0.75, *([(0, y), (1, y)] for y in (-0.375, 0, 0.375))),
                14.0,
                22.0,
            ),
            "amplifier": (
                lambda: _Boxed(0.5, 0.5, [(0.22, -0.3), (0.22, 0.3), (0.8, 0), (0.22, -0.3)]),
                18.0,
                24.0,
            ),
            "lamp": (elements.Lamp2, 16.0, 22.0),
            "motor": (_Motor, 18.0, 24.0),
            "converter": (lambda: _converter(*_DIRECT_IN, *_DIRECT_OUT), 20.0, 26.0),
            "inverter": (lambda: _converter(*_DIRECT_IN, _ALTERNATING_OUT), 20.0, 26.0),
        }
    )
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
    return {
        name: (_svg_of(make(), px, height), height) for name, (make, px, height) in _MADE.items()
    }


def _svg_of(element: elements.Element, unit_px: float, height: float) -> str:
    drawing = schemdraw.Drawing(show=False)
    if height:
        element = element.down().length(height / unit_px)
    drawing.add(element)
    scale = unit_px / _UNIT_PX
    root = ElementTree.fromstring(drawing.get_imagedata("svg"))
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
    return f'<path d="{points}"/>'


def _scaled(number: str, scale: float) -> str:
    # Adding zero takes the sign off a negative one.
    return f"{round(float(number) * scale, 2) + 0.0:g}"
