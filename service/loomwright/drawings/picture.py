"""A chart under construction: lines and texts by places in px, closed to a drawing.

Plain text is put together: a library that builds a tree of elements takes several times as long as
all the engineering behind a chart.
"""

from collections.abc import Iterable, Sequence

from loomwright.drawings.drawing import Drawing, drawing_of
from loomwright.drawings.lettering import (
    FONT,
    HEADING_SIZE,
    LINE_HEIGHT,
    TEXT_SIZE,
    wrapped,
)
from loomwright.drawings.shown_text import xml_text

# px of CSS. Shown on a screen of 360 px, a text of 12 px is still one of 11 px.
WIDTH = 376
MARGIN = 8.0
BLACK, WHITE, SHADE, GRID = "#000", "#fff", "#888", "#c8c8c8"
_GREATEST_HEADING_LINES = 3

Points = Iterable[tuple[float, float]]


def px(place: float) -> str:
    """Return a place to a hundredth of a pixel."""
    return f"{place:.2f}"


def path_data(points: Points) -> str:
    """Return straight lines through points as the ``d`` of a path."""
    return "M" + "L".join([f"{x:.2f},{y:.2f}" for x, y in points])


class Picture:
    """Elements one over the other, with headings from the top down.

    Parameters
    ----------
    name
        Of the drawing; every ``id`` starts with it.
    width
        Of the view box [px].
    """

    def __init__(self, name: str, width: int = WIDTH) -> None:
        self.name = name
        self.width = width
        self.top = MARGIN
        self._elements: list[str] = []

    def identifier(self, suffix: str) -> str:
        """Return an ``id`` of this drawing."""
        return f"{self.name}_{suffix}"

    def add(self, element: str) -> None:
        """Add an element as it is."""
        self._elements.append(element)

    def heading(self, text: str, notes: Sequence[str] = ()) -> None:
        """Write a heading in bold and notes below it, each in lines of the width.

        Parameters
        ----------
        text
            What is shown.
        notes
            Sentences, each on lines of its own.
        """
        room = self.width - 2.0 * MARGIN
        lines = wrapped(text, room, HEADING_SIZE, bold=True, most_lines=_GREATEST_HEADING_LINES)
        for line in lines:
            self.top += LINE_HEIGHT + 1.0
            self.text(line, MARGIN, self.top - 4.0, size=HEADING_SIZE, bold=True)
        for note in notes:
            for line in wrapped(note, room):
                self.top += LINE_HEIGHT
                self.text(line, MARGIN, self.top - 4.0)
        self.top += 4.0

    def text(
        self,
        text: str,
        x: float,
        y: float,
        *,
        anchor: str = "start",
        size: float = TEXT_SIZE,
        bold: bool = False,
        upwards: bool = False,
    ) -> None:
        """Write one line.

        Parameters
        ----------
        text
            Any; what is harmful in it is made harmless.
        x
            Where its base line starts, has its middle or ends [px].
        y
            Of its base line [px].
        anchor
            ``start``, ``middle`` or ``end``.
        size
            Of the font [px].
        bold
            Whether it is bold.
        upwards
            Whether it is read from below.
        """
        stated = "" if anchor == "start" else f' text-anchor="{anchor}"'
        if size != TEXT_SIZE:
            stated += f' font-size="{size:g}"'
        if bold:
            stated += ' font-weight="bold"'
        if upwards:
            stated += f' transform="rotate(-90 {px(x)} {px(y)})"'
        self.add(f'<text x="{px(x)}" y="{px(y)}"{stated}>{xml_text(text)}</text>')

    def line(
        self,
        points: Points,
        name: str = "",
        *,
        width: float = 1.0,
        dash: str = "",
        fill: str = "none",
        stroke: str = BLACK,
    ) -> None:
        """Draw straight lines through points.

        Parameters
        ----------
        points
            Places [px], two or more.
        name
            Suffix of its ``id``, for what stands for a figure.
        width
            Of the stroke [px].
        dash
            Lengths of strokes and gaps [px]; solid without.
        fill
            Of the area.
        stroke
            Colour of the line, or ``none``.
        """
        stated = f' id="{self.identifier(name)}"' if name else ""
        if fill != "none":
            stated += f' fill="{fill}"'
        if stroke != BLACK:
            stated += f' stroke="{stroke}"'
        if width != 1.0:
            stated += f' stroke-width="{width:g}"'
        if dash:
            stated += f' stroke-dasharray="{dash}"'
        self.add(f'<path{stated} d="{path_data(points)}"/>')

    def dot(self, x: float, y: float, name: str, radius: float = 3.0) -> None:
        """Draw a black dot that stands for a figure.

        Parameters
        ----------
        x
            Its middle across [px].
        y
            Its middle down [px].
        name
            Suffix of its ``id``.
        radius
            Radius [px].
        """
        self.add(
            f'<circle id="{self.identifier(name)}" cx="{px(x)}" cy="{px(y)}" r="{radius:g}"'
            f' fill="{BLACK}" stroke="{WHITE}"/>'
        )

    def backed_text(self, text: str, left: float, top: float, width: float) -> None:
        """Write a label on white, so that what is drawn below does not disturb it.

        Parameters
        ----------
        text
            The label.
        left
            Left end of its box [px].
        top
            Top of its box, which is as high as a line [px].
        width
            Width of its box [px].
        """
        self.add(
            f'<rect x="{px(left)}" y="{px(top + 1.0)}" width="{px(width)}"'
            f' height="{LINE_HEIGHT - 1.0:g}" fill="{WHITE}" stroke="none"/>'
        )
        self.text(text, left + 1.0, top + LINE_HEIGHT - 4.0)

    def hatch(self, suffix: str, *, falls: bool = False, gap: float = 5.0) -> str:
        """Add a pattern of slanting lines and return what fills an area with it.

        Parameters
        ----------
        suffix
            Of its ``id``.
        falls
            Whether the lines fall to the right.
        gap
            From line to line [px].

        Returns
        -------
        str
            Value of ``fill``.
        """
        identifier = self.identifier(suffix)
        angle = -45 if falls else 45
        self.add(
            f'<defs><pattern id="{identifier}" width="{gap:g}" height="{gap:g}"'
            f' patternUnits="userSpaceOnUse" patternTransform="rotate({angle})">'
            f'<path d="M0,0V{gap:g}" stroke="{SHADE}"/></pattern></defs>'
        )
        return f"url(#{identifier})"

    def drawing(self, title: str, description: str, height: float) -> Drawing:
        """Return the finished drawing.

        Parameters
        ----------
        title
            What it shows, in one line.
        description
            What a person who does not see it has to know.
        height
            Of the view box [px].

        Returns
        -------
        Drawing
            With title and description inside.
        """
        return drawing_of(
            self.name,
            title,
            description,
            width=self.width,
            height=int(height) + 1,
            style=(
                f'fill="none" stroke="{BLACK}" stroke-linejoin="round" font-family="{FONT}"'
                f' font-size="{TEXT_SIZE:g}"'
            ),
            elements=_lettered("".join(self._elements)),
        )


def _lettered(body: str) -> str:
    """Return elements of which texts are filled and not outlined."""
    return body.replace("<text ", f'<text fill="{BLACK}" stroke="none" ')
