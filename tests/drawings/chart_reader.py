"""Charts read back from their SVG: texts with their boxes, lines, and axes by their own ticks."""

import math
import re
from dataclasses import dataclass
from itertools import combinations

from lxml import etree

from loomwright.drawings.lettering import MINUS, TEXT_SIZE, text_width

SVG = "{http://www.w3.org/2000/svg}"
PREFIXES = {"n": 1e-9, "µ": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6, "G": 1e9}
NUMBER = re.compile(rf"([{MINUS}+]?\d+(?:\.\d+)?)(?: ([nµmkMG]))?$")
# Parts of the size of a font: above the base line of capitals and figures, and below it.
ASCENT, DESCENT = 0.73, 0.2


@dataclass(frozen=True)
class Text:
    """A line of text: where its base line is anchored, and the box of its ink [px]."""

    words: str
    x: float
    y: float
    left: float
    top: float
    right: float
    bottom: float

    def overlaps(self, other):
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )


def text_of(element):
    words, x, y = element.text, float(element.get("x")), float(element.get("y"))
    size = float(element.get("font-size", TEXT_SIZE))
    width = text_width(words, size, bold=element.get("font-weight") == "bold")
    start = {"start": 0.0, "middle": 0.5, "end": 1.0}[element.get("text-anchor", "start")] * width
    up, down = ASCENT * size, DESCENT * size
    if "transform" not in element.attrib:
        return Text(words, x, y, x - start, y - up, x - start + width, y + down)
    turn = re.fullmatch(r"rotate\(-90 (\S+) (\S+)\)", element.get("transform"))
    assert (float(turn[1]), float(turn[2])) == (x, y)
    return Text(words, x, y, x - up, y + start - width, x + down, y + start)


class Chart:
    """An SVG chart, parsed strictly."""

    def __init__(self, svg):
        self.svg = svg
        self.root = etree.fromstring(svg.encode(), etree.XMLParser(resolve_entities=False))
        assert self.root.tag == f"{SVG}svg"
        self.width, self.height = map(float, self.root.get("viewBox").split()[2:])
        self.name = self.root[0].get("id").removesuffix("_title")
        self.by_id = {e.get("id"): e for e in self.root.iter() if e.get("id")}
        self.texts = [text_of(e) for e in self.root.iter(f"{SVG}text")]

    @property
    def title(self):
        return self.by_id[f"{self.name}_title"].text

    @property
    def description(self):
        return self.by_id[f"{self.name}_desc"].text

    @property
    def words(self):
        return [text.words for text in self.texts]

    def has(self, name):
        return f"{self.name}_{name}" in self.by_id

    def element(self, name):
        return self.by_id[f"{self.name}_{name}"]

    def points(self, name):
        """Return the points of a path of straight lines [px]."""
        data = self.element(name).get("d")
        assert data.startswith("M")
        return [tuple(map(float, pair.split(","))) for pair in data[1:].split("L")]

    def dot(self, name):
        element = self.element(name)
        return float(element.get("cx")), float(element.get("cy"))

    def ticks(self, name="ticks"):
        """Return the places of ticks across and down [px]."""
        data = self.element(name).get("d")
        across = [float(x) for x in re.findall(r"M([-\d.]+),[-\d.]+v-", data)]
        down = [float(y) for y in re.findall(r"M[-\d.]+,([-\d.]+)h", data)]
        return across, down

    def across(self, *, log, ticks="ticks"):
        """Return the axis below as a function from a value to a place, by its labelled ticks."""
        places, _ = self.ticks(ticks)
        bottom = max(
            float(y) for y in re.findall(r"M[-\d.]+,([-\d.]+)v-", self.element(ticks).get("d"))
        )
        labels = [
            (text.x, number_of(text.words))
            for text in self.texts
            if abs(text.y - bottom - 16.0) < 0.02
            and NUMBER.match(text.words)
            and any(abs(text.x - place) < 0.02 for place in places)
        ]
        return Axis(labels, log=log)

    def upwards(self, *, log, ticks="ticks"):
        """Return the axis on the left likewise."""
        _, places = self.ticks(ticks)
        left = min(
            float(x) for x in re.findall(r"M([-\d.]+),[-\d.]+h", self.element(ticks).get("d"))
        )
        labels = [
            (place, number_of(text.words))
            for text in self.texts
            for place in places
            if abs(text.x - left + 5.0) < 0.02
            and abs(text.y - place - 0.36 * TEXT_SIZE) < 0.02
            and NUMBER.match(text.words)
        ]
        return Axis(labels, log=log)


def number_of(words):
    figure, prefix = NUMBER.match(words).groups()
    return float(figure.replace(MINUS, "-")) * PREFIXES[prefix or ""]


class Axis:
    """Straight line through the labels of an axis, each of which has to lie on it."""

    def __init__(self, labels, *, log):
        assert len(labels) >= 2, labels
        self.log = log
        self.labels = sorted(labels)
        (self.first, low), (self.last, high) = self.labels[0], self.labels[-1]
        self.low, self.high = self._on_axis(low), self._on_axis(high)
        for place, value in self.labels:
            assert abs(self.place(value) - place) < 0.02, (place, value)

    def _on_axis(self, value):
        return math.log10(value) if self.log else value

    def place(self, value):
        share = (self._on_axis(value) - self.low) / (self.high - self.low)
        return self.first + share * (self.last - self.first)

    def value(self, place):
        share = (place - self.first) / (self.last - self.first)
        found = self.low + share * (self.high - self.low)
        return 10.0**found if self.log else found


# Black, white, grey of hatches, light grey of grids: no line or text hangs on the lightest.
ELEMENTS = {"svg", "title", "desc", "g", "rect", "path", "circle", "text", "defs", "pattern"}
COLOURS = {"#000", "#fff", "#888", "#c8c8c8", "none"}


def assert_sound(svg):
    """Assert what holds for every drawing, and return the chart."""
    chart = Chart(svg)
    root = chart.root
    assert root.get("role") == "img"
    title, desc = root[0], root[1]
    assert (title.tag, desc.tag) == (f"{SVG}title", f"{SVG}desc")
    assert root.get("aria-labelledby") == f"{title.get('id')} {desc.get('id')}"
    assert title.text.strip()
    assert len(desc.text) > len(title.text) / 2
    identifiers = [e.get("id") for e in root.iter() if e.get("id")]
    assert len(set(identifiers)) == len(identifiers)
    assert all(each.startswith(f"{chart.name}_") for each in identifiers)
    for element in root.iter():
        assert element.tag.removeprefix(SVG) in ELEMENTS
        names = set(element.attrib)
        assert not names & {"style", "class", "href"}
        assert not any(name.startswith("on") for name in names)
        for name in ("fill", "stroke"):
            colour = element.get(name, "none")
            assert colour in COLOURS or colour[:-1].removeprefix("url(#") in chart.by_id
    texts = list(root.iter(f"{SVG}text"))
    assert all(e.get("fill") == "#000" for e in texts)
    for number in re.findall(r'(?:d|x|y|cx|cy|width|height)="([^"#]*)"', svg):
        assert not re.search("nan|inf", number), number
    assert_within(chart)
    assert_apart(chart)
    return chart


def assert_within(chart):
    """Assert that texts and lines lie in the view box."""
    for text in chart.texts:
        assert text.left >= 0.0, text
        assert text.right <= chart.width, text
        assert text.top >= 0.0, text
        assert text.bottom <= chart.height, text
    for path in chart.root.iter(f"{SVG}path"):
        if path.getparent().tag == f"{SVG}pattern":
            continue
        for x, y in re.findall(r"[ML](-?[\d.]+),(-?[\d.]+)", path.get("d")):
            assert -0.5 <= float(x) <= chart.width + 0.5, path.get("d")
            assert -0.5 <= float(y) <= chart.height + 0.5, path.get("d")


def assert_apart(chart):
    """Assert that no two texts lie over one another."""
    for one, other in combinations(chart.texts, 2):
        assert not one.overlaps(other), (one, other)
