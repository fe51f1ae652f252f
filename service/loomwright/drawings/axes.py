"""A frame with two axes, in which charts are drawn, and the labels around it."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from loomwright.drawings.labels import Box, LabelBoard, Mark, placed_marks
from loomwright.drawings.lettering import LINE_HEIGHT, TEXT_SIZE, text_width
from loomwright.drawings.picture import GRID, MARGIN, Picture
from loomwright.drawings.scales import Scale, Tick

Array = npt.NDArray[np.float64]

# px of CSS.
MAJOR_TICK, MINOR_TICK = 5.0, 3.0
X_LABEL_PX, Y_LABEL_PX = 40.0, 24.0
# From the frame to the middle of a digit next to it.
_HALF_DIGIT = 0.36 * TEXT_SIZE


class Axes:
    """Two scales around a frame of a picture.

    Parameters
    ----------
    picture
        It is drawn in.
    x
        Scale across, whose ends are those of the frame.
    y
        Scale upwards, likewise.
    """

    def __init__(self, picture: Picture, x: Scale, y: Scale) -> None:
        self.picture = picture
        self.x, self.y = x, y
        self.frame = Box(x.start, y.end, x.end, y.start)
        self.board = LabelBoard(self.frame)

    def draw_grid(self, x_name: str, y_name: str, *, x_label_px: float = X_LABEL_PX) -> None:
        """Draw grid, ticks with labels, and the names of the axes with their units.

        Parameters
        ----------
        x_name
            Quantity and unit of the axis below, as in "Current [A]".
        y_name
            Those of the axis on the left.
        x_label_px
            Room of a label along the axis [px].
        """
        picture, frame = self.picture, self.frame
        x_ticks, y_ticks = self.x.ticks(x_label_px), self.y.ticks(Y_LABEL_PX)
        across = [self.x.place(tick.value) for tick in x_ticks]
        along = [self.y.place(tick.value) for tick in y_ticks]
        # One path for all lines of the grid, and one for all ticks.
        grid = [
            f"M{x:.2f},{frame.top:.2f}V{frame.bottom:.2f}"
            for x, tick in zip(across, x_ticks, strict=True)
            if not tick.is_minor
        ] + [
            f"M{frame.left:.2f},{y:.2f}H{frame.right:.2f}"
            for y, tick in zip(along, y_ticks, strict=True)
            if not tick.is_minor
        ]
        ticks = [
            f"M{x:.2f},{frame.bottom:.2f}v-{_length(tick):g}"
            for x, tick in zip(across, x_ticks, strict=True)
        ] + [
            f"M{frame.left:.2f},{y:.2f}h{_length(tick):g}"
            for y, tick in zip(along, y_ticks, strict=True)
        ]
        picture.add(f'<path stroke="{GRID}" stroke-width="0.7" d="{"".join(grid)}"/>')
        picture.add(f'<path id="{picture.identifier("ticks")}" d="{"".join(ticks)}"/>')
        widest = 0.0
        for x, tick in zip(across, x_ticks, strict=True):
            if tick.label:
                picture.text(tick.label, x, frame.bottom + LINE_HEIGHT + 1.0, anchor="middle")
        for y, tick in zip(along, y_ticks, strict=True):
            if tick.label:
                widest = max(widest, text_width(tick.label))
                picture.text(tick.label, frame.left - 5.0, y + _HALF_DIGIT, anchor="end")
        middle_x, middle_y = 0.5 * (frame.left + frame.right), 0.5 * (frame.top + frame.bottom)
        picture.text(x_name, middle_x, frame.bottom + 2.0 * LINE_HEIGHT + 3.0, anchor="middle")
        base = max(frame.left - widest - 11.0, MARGIN + TEXT_SIZE - 4.0)
        picture.text(y_name, base, middle_y, anchor="middle", upwards=True)

    def draw_frame(self) -> None:
        """Draw the frame, over what was cut off at it."""
        frame = self.frame
        self.picture.add(
            f'<path stroke-width="1.2" d="M{frame.left:.2f},{frame.top:.2f}H{frame.right:.2f}'
            f'V{frame.bottom:.2f}H{frame.left:.2f}Z"/>'
        )

    def curve(
        self,
        x: Array,
        y: Array,
        name: str,
        *,
        width: float = 1.0,
        dash: str = "",
    ) -> list[tuple[float, float]]:
        """Draw a curve through points, cut off at the frame.

        Parameters
        ----------
        x
            Values across, rising; finite, and on a logarithmic scale above 0.
        y
            Values upwards, as many, without turns; likewise.
        name
            Suffix of its ``id``.
        width
            Of the stroke [px].
        dash
            Lengths of strokes and gaps [px].

        Returns
        -------
        list of tuple of float
            Places of what is drawn [px]; empty where nothing lies within.
        """
        across, along = clipped(self.x.places(x), self.y.places(y), self.frame)
        if across.size < 2:
            return []
        points = list(zip(across.tolist(), along.tolist(), strict=True))
        self.picture.line(points, name, width=width, dash=dash)
        self.board.draw(across, along)
        return points

    def upright(self, value: float, name: str, *, width: float = 1.0, dash: str = "") -> float:
        """Draw a vertical line at a value from top to bottom, and return its place [px]."""
        x = self.x.place(value)
        frame = self.frame
        self.picture.line(((x, frame.top), (x, frame.bottom)), name, width=width, dash=dash)
        self.board.draw(np.array([x, x]), np.array([frame.top, frame.bottom]))
        return x

    def level(self, value: float, name: str, *, width: float = 1.0, dash: str = "") -> float:
        """Draw a horizontal line at a value from side to side, and return its place [px]."""
        y = self.y.place(value)
        frame = self.frame
        self.picture.line(((frame.left, y), (frame.right, y)), name, width=width, dash=dash)
        self.board.draw(np.array([frame.left, frame.right]), np.array([y, y]))
        return y

    def label(
        self, text: str, anchors: Sequence[tuple[float, float]], *, on_line: bool = False
    ) -> bool:
        """Write a label at the best of some places.

        Parameters
        ----------
        text
            The label.
        anchors
            Places beside which it may stand, the best first [px].
        on_line
            Whether it is to stand over the place.

        Returns
        -------
        bool
            Whether there was room.
        """
        box = self.board.place(text, anchors, on_line=on_line)
        if box is None:
            return False
        self.picture.backed_text(text, box.left, box.top, box.right - box.left)
        return True


def _length(tick: Tick) -> float:
    return MINOR_TICK if tick.is_minor else MAJOR_TICK


def rows_of_marks(marks: Sequence[Mark], left: float, right: float) -> float:
    """Return how high the labels of vertical lines are together [px]."""
    placed = placed_marks(marks, left, right)
    return LINE_HEIGHT * (1 + max([mark.row for mark in placed])) + 3.0 if placed else 0.0


def draw_marks(
    picture: Picture, marks: Sequence[Mark], ends: tuple[float, float], top: float
) -> None:
    """Write the labels of vertical lines above a frame, with leaders down to it.

    Parameters
    ----------
    picture
        It is drawn in.
    marks
        The lines.
    ends
        Between which labels stand [px].
    top
        Of the frame [px].
    """
    for placed in placed_marks(marks, *ends):
        base = top - 6.0 - placed.row * LINE_HEIGHT
        x, right = placed.mark.x, placed.left + text_width(placed.mark.label)
        # A leader ends below a label that stands over it, and beside one that does not.
        end = base + 3.0 if placed.left <= x <= right else base - 9.0
        picture.line(((x, top), (x, end)), width=0.7)
        picture.text(placed.mark.label, placed.left, base)


def clipped(x: Array, y: Array, frame: Box) -> tuple[Array, Array]:
    """Return the part of a curve that lies within a frame.

    Parameters
    ----------
    x
        Places across [px], rising.
    y
        Places down [px], without turns.
    frame
        The frame.

    Returns
    -------
    tuple of ndarray
        Places; ends that are cut off lie on the frame.
    """
    x, y = _cut(x, y, frame.left, frame.right)
    y, x = _cut(y, x, frame.top, frame.bottom)
    return x, y


def _cut(along: Array, other: Array, low: float, high: float) -> tuple[Array, Array]:
    """Return what of a line without turns lies between two values of its first coordinate."""
    if along.size < 2:
        return along[:0], other[:0]
    if along[0] > along[-1]:
        cut_along, cut_other = _cut(along[::-1], other[::-1], low, high)
        return cut_along[::-1], cut_other[::-1]
    if along[0] >= low and along[-1] <= high:
        return along, other
    ends = np.array([value for value in (low, high) if along[0] < value < along[-1]])
    if ends.size == 0:
        return along[:0], other[:0]
    inside = (along > low) & (along < high)
    at = np.concatenate([ends, along[inside]])
    values = np.concatenate([np.interp(ends, along, other), other[inside]])
    order = np.argsort(at, kind="stable")
    return at[order], values[order]
