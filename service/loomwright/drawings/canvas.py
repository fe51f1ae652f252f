"""A diagram under construction: lines, monospaced texts and symbols, closed to a drawing."""

from loomwright.drawings.drawing import Drawing, drawing_of
from loomwright.drawings.monospaced import FONT_FAMILY
from loomwright.drawings.shown_text import escaped
from loomwright.drawings.symbols import Symbol

FONT_PX = 11
THIN, THICK = 1.2, 2.8


class Canvas:
    """A sheet that grows downwards.

    Coordinates are px of the view box, y downwards, whole numbers as far as the caller's are.
    """

    def __init__(self, name: str, width: int) -> None:
        self._name = name
        self._width = width
        self._parts: list[str] = []

    def line(
        self, *points: tuple[int, int], is_thick: bool = False, is_broken: bool = False
    ) -> None:
        """Draw a line through two points or more."""
        (x, y), *others = points
        path = f"M{x},{y}" + "".join([f"L{to_x},{to_y}" for to_x, to_y in others])
        more = f' stroke-width="{THICK}"' if is_thick else ""
        if is_broken:
            more += ' stroke-dasharray="5 4"'
        self._parts.append(f'<path d="{path}"{more}/>')

    def dot(self, x: int, y: int) -> None:
        """Draw a point where lines join."""
        self._parts.append(f'<circle class="node" cx="{x}" cy="{y}" r="2.8" fill="#000"/>')

    def symbol(self, symbol: Symbol, x: int, y: int) -> None:
        """Draw a symbol with its upper terminal at a point."""
        self._parts.append(
            f'<g class="{symbol.name}" transform="translate({x} {y})">{symbol.shapes}</g>'
        )

    def arrow_head(self, x: int, y: int) -> None:
        """Draw an arrow head upwards on a line, its tip at a point."""
        self._parts.append(f'<path d="M{x},{y}l-4,9h8z" fill="#000"/>')

    def text(
        self, text: str, x: int, y: int, *, is_bold: bool = False, size: int = FONT_PX
    ) -> None:
        """Write one line of printable text, centred on ``y`` as far as its capitals go."""
        more = ' font-weight="bold"' if is_bold else ""
        if size != FONT_PX:
            more += f' font-size="{size}"'
        # A capital is 0.73 of the font size high.
        baseline = y + (4 if size == FONT_PX else 5)
        self._parts.append(
            f'<text x="{x}" y="{baseline}"{more} fill="#000" stroke="none">{escaped(text)}</text>'
        )

    def begin(self, part: str, title: str) -> None:
        """Begin a group that has a title of its own; ``part`` makes its id."""
        self._parts.append(f'<g id="{self._name}_{part}"><title>{escaped(title)}</title>')

    def end(self) -> None:
        """End the group that was begun last."""
        self._parts.append("</g>")

    def drawing(self, title: str, description: str, height: int) -> Drawing:
        """Return what was drawn.

        Parameters
        ----------
        title
            What it shows.
        description
            What a person who does not see it has to know.
        height
            Of the view box [px].

        Returns
        -------
        Drawing
            Finished.
        """
        return drawing_of(
            self._name,
            title,
            description,
            width=self._width,
            height=height,
            style=(
                f'fill="none" stroke="#000" stroke-width="{THIN}" stroke-linecap="square"'
                f' font-family="{FONT_FAMILY}" font-size="{FONT_PX}"'
            ),
            elements="".join(self._parts),
        )
