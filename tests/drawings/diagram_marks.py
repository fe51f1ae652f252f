"""What stands in a diagram, read from its SVG: lines, symbols and texts with their places."""

import math
import re
from dataclasses import dataclass, field
from itertools import combinations, pairwise
from xml.etree import ElementTree

from loomwright.drawings.monospaced import CELL, cells
from loomwright.drawings.symbols import symbols

SVG = "{http://www.w3.org/2000/svg}"
_POINT = re.compile(r"(-?[\d.]+),(-?[\d.]+)")
Point = tuple[float, float]
# A terminal is a circle: a line ends at its edge.
_REACH_PX = {"terminal": 4.2}


@dataclass
class Words:
    """A line of text; its box follows from the width of a cell."""

    text: str
    x: float
    baseline: float
    size: float
    is_bold: bool

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, top, right and bottom [px], as high as ascenders and descenders go."""
        right = self.x + CELL * self.size * cells(self.text)
        return self.x, self.baseline - 0.76 * self.size, right, self.baseline + 0.24 * self.size


@dataclass
class Marks:
    """Marks of one group without those of the groups inside that have an id.

    ``symbols`` are name and the points where lines may join; ``wires`` are segments.
    """

    title: str
    wires: list[tuple[Point, Point]] = field(default_factory=list)
    symbols: list[tuple[str, list[Point]]] = field(default_factory=list)
    texts: list[Words] = field(default_factory=list)
    nodes: list[Point] = field(default_factory=list)

    def names(self) -> list[str]:
        """Return the names of the symbols."""
        return [name for name, _ in self.symbols]

    def said(self) -> str:
        """Return all texts, one after another."""
        return " ".join(words.text for words in self.texts)


def marks_of(svg: str) -> dict[str, Marks]:
    """Return the marks by id of their group; those outside of all groups under ``sheet``."""
    root = ElementTree.fromstring(svg)
    found = {"sheet": Marks(root.findtext(f"{SVG}title") or "")}
    _collect(root, "sheet", 11.0, found)
    return found


def _collect(holder: ElementTree.Element, group: str, size: float, found: dict[str, Marks]) -> None:
    marks = found[group]
    for element in holder:
        own_size = float(element.get("font-size", size))
        if element.tag == f"{SVG}text":
            words = Words(
                element.text or "",
                float(element.attrib["x"]),
                float(element.attrib["y"]),
                own_size,
                element.get("font-weight") == "bold",
            )
            marks.texts.append(words)
        elif element.get("class") in symbols():
            marks.symbols.append(_symbol(element))
        elif element.get("class") == "node":
            marks.nodes.append((float(element.attrib["cx"]), float(element.attrib["cy"])))
        elif element.tag == f"{SVG}path" and "fill" not in element.attrib:
            points = [(float(x), float(y)) for x, y in _POINT.findall(element.attrib["d"])]
            marks.wires.extend(pairwise(points))
        elif element.tag == f"{SVG}g":
            inner = element.get("id", group)
            if inner not in found:
                found[inner] = Marks(element.findtext(f"{SVG}title") or "")
            _collect(element, inner, own_size, found)


def _symbol(element: ElementTree.Element) -> tuple[str, list[Point]]:
    name, place = element.attrib["class"], element.attrib["transform"]
    x, y = (float(number) for number in re.findall(r"-?[\d.]+", place))
    height = symbols()[name].height
    return name, [(x, y), (x, y + height)] if height else [(x, y)]


def joined(marks: list[Marks]) -> list[set[str]]:
    """Return which symbols are joined by lines, as sets of ``group number:name:number``.

    Two lines join where an end of one lies on the other, a line and a symbol where the line ends
    at a terminal.
    """
    wires = [wire for each in marks for wire in each.wires]
    named = [
        (f"{place}:{name}:{number}", name, points)
        for place, each in enumerate(marks)
        for number, (name, points) in enumerate(each.symbols)
    ]
    parent = list(range(len(wires) + len(named)))

    def top(place: int) -> int:
        while parent[place] != place:
            place = parent[place]
        return place

    for (one, first), (other, second) in combinations(enumerate(wires), 2):
        if any(_off(point, second) < 0.1 for point in first) or any(
            _off(point, first) < 0.1 for point in second
        ):
            parent[top(one)] = top(other)
    for number, (_, name, points) in enumerate(named):
        reach = _REACH_PX.get(name, 0.1)
        for place, wire in enumerate(wires):
            if any(math.dist(end, point) <= reach for end in wire for point in points):
                parent[top(place)] = top(len(wires) + number)
    sets: dict[int, set[str]] = {}
    for number, (key, _, _) in enumerate(named):
        sets.setdefault(top(len(wires) + number), set()).add(key)
    return list(sets.values())


def _off(point: Point, wire: tuple[Point, Point]) -> float:
    """Return the distance of a point from a segment."""
    (x, y), ((ax, ay), (bx, by)) = point, wire
    length = (bx - ax) ** 2 + (by - ay) ** 2
    along = 0.0 if length == 0 else ((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / length
    along = min(1.0, max(0.0, along))
    return math.hypot(x - ax - along * (bx - ax), y - ay - along * (by - ay))


def overlapping(texts: list[Words]) -> list[tuple[str, str]]:
    """Return pairs of texts whose boxes overlap."""
    ordered = sorted(texts, key=lambda words: words.box[1])
    found = []
    for place, one in enumerate(ordered):
        for other in ordered[place + 1 :]:
            if other.box[1] >= one.box[3] - 0.01:
                break
            if one.box[0] < other.box[2] and other.box[0] < one.box[2]:
                found.append((one.text, other.text))
    return found


def crossed(texts: list[Words], wires: list[tuple[Point, Point]]) -> list[str]:
    """Return texts that an upright or level line runs through."""
    found = []
    for words in texts:
        left, top, right, bottom = words.box
        for (ax, ay), (bx, by) in wires:
            if (
                min(ax, bx) < right
                and max(ax, bx) > left
                and min(ay, by) < bottom
                and max(ay, by) > top
            ):
                found.append(words.text)
    return found
