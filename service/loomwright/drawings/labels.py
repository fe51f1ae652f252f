"""Where the labels of a drawing stand: by what they name, over no other label, on little ink."""

from collections.abc import Iterator, Sequence
from itertools import product
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.drawings.lettering import LINE_HEIGHT, text_width

Array = npt.NDArray[np.float64]

# px of CSS.
_CELL = 3.0
GAP = 4.0


class Box(NamedTuple):
    """A rectangle [px]; y grows downwards."""

    left: float
    top: float
    right: float
    bottom: float

    def overlaps(self, other: "Box") -> bool:
        """Return whether both have an area in common."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )

    def holds(self, other: "Box") -> bool:
        """Return whether another lies within."""
        return (
            self.left <= other.left
            and other.right <= self.right
            and self.top <= other.top
            and other.bottom <= self.bottom
        )


class LabelBoard:
    """What is drawn within a frame so far, and the labels that stand there.

    Parameters
    ----------
    frame
        Labels have to lie within.
    """

    def __init__(self, frame: Box) -> None:
        self.frame = frame
        self.taken: list[Box] = []
        columns = int((frame.right - frame.left) / _CELL) + 1
        rows = int((frame.bottom - frame.top) / _CELL) + 1
        self._ink = np.zeros((rows, columns), np.int32)

    def draw(self, x: Array, y: Array) -> None:
        """Note a line through points; what of it lies outside the frame does not count.

        Parameters
        ----------
        x
            Places across [px].
        y
            Places down [px], as many.
        """
        if x.size < 2:
            return
        # Two points to a cell, so that none is left out.
        length = np.append(0.0, np.cumsum(np.hypot(np.diff(x), np.diff(y))))
        at = np.linspace(0.0, length[-1], min(2 * int(length[-1] / _CELL) + 2, 2000))
        column = ((np.interp(at, length, x) - self.frame.left) / _CELL).astype(np.int64)
        row = ((np.interp(at, length, y) - self.frame.top) / _CELL).astype(np.int64)
        inside = (column >= 0) & (row >= 0)
        inside &= (column < self._ink.shape[1]) & (row < self._ink.shape[0])
        self._ink[row[inside], column[inside]] += 1

    def _cost(self, box: Box) -> int:
        left, top = self.frame.left, self.frame.top
        rows = slice(int((box.top - top) / _CELL), int((box.bottom - top) / _CELL) + 1)
        columns = slice(int((box.left - left) / _CELL), int((box.right - left) / _CELL) + 1)
        return int(np.count_nonzero(self._ink[rows, columns]))

    def place(
        self, text: str, anchors: Sequence[tuple[float, float]], *, on_line: bool = False
    ) -> Box | None:
        """Return where a label stands, and take the place.

        Parameters
        ----------
        text
            The label.
        anchors
            Points [px] beside one of which it is to stand, the best first.
        on_line
            Whether it is to stand over the point, so that nobody can take it for another line's.

        Returns
        -------
        Box or None
            The place with the least ink below, none where there is no place.
        """
        width = text_width(text) + 2.0
        best: tuple[int, Box] | None = None
        boxes = _boxes_over if on_line else _boxes_beside
        for box in boxes(anchors, width):
            if not self.frame.holds(box) or any(box.overlaps(other) for other in self.taken):
                continue
            cost = self._cost(box)
            if best is None or cost < best[0]:
                best = cost, box
            if cost == 0:
                break
        if best is None:
            return None
        self.taken.append(best[1])
        return best[1]


def _boxes_beside(anchors: Sequence[tuple[float, float]], width: float) -> Iterator[Box]:
    for x, y in anchors:
        for left, top in (
            (x + GAP, y - GAP - LINE_HEIGHT),
            (x - GAP - width, y + GAP),
            (x + GAP, y + GAP),
            (x - GAP - width, y - GAP - LINE_HEIGHT),
        ):
            yield Box(left, top, left + width, top + LINE_HEIGHT)


def _boxes_over(anchors: Sequence[tuple[float, float]], width: float) -> Iterator[Box]:
    for x, y in anchors:
        left, top = x - 0.5 * width, y - 0.5 * LINE_HEIGHT
        yield Box(left, top, left + width, top + LINE_HEIGHT)


class Mark(NamedTuple):
    """A vertical line that has its label above the frame: place [px] and label."""

    x: float
    label: str


class PlacedMark(NamedTuple):
    """A mark with the left end of its label [px] and the row of it, 0 next to the frame."""

    mark: Mark
    left: float
    row: int


def placed_marks(marks: Sequence[Mark], left: float, right: float) -> tuple[PlacedMark, ...]:
    """Return the labels of vertical lines in rows above a frame, none over another or its leader.

    Parameters
    ----------
    marks
        Few, in any order.
    left
        Left end of the rows [px].
    right
        Right end; a label fits between them.

    Returns
    -------
    tuple of PlacedMark
        From left to right, in as few rows as can be.
    """
    ordered = sorted(marks)
    widths = [text_width(mark.label) for mark in ordered]
    for rows in range(1, len(ordered) + 1):
        found = _in_rows(ordered, widths, rows, (left, right))
        if found is not None:
            return found
    # Leaders that run on one another: each label gets a row, whatever it crosses.
    return tuple(
        PlacedMark(mark, min(max(mark.x - 0.5 * width, left), right - width), row)
        for row, (mark, width) in enumerate(zip(ordered, widths, strict=True))
    )


def _in_rows(
    marks: Sequence[Mark], widths: Sequence[float], rows: int, ends: tuple[float, float]
) -> tuple[PlacedMark, ...] | None:
    done: list[PlacedMark] = []
    spans: list[tuple[float, float]] = []

    def is_free(x: float, span: tuple[float, float], row: int) -> bool:
        for other, taken in zip(done, spans, strict=True):
            apart = span[1] + GAP <= taken[0] or taken[1] + GAP <= span[0]
            if row == other.row and not apart:
                return False
            # The leader of the upper one goes down past the lower one.
            if row > other.row and taken[0] - 2.0 < x < taken[1] + 2.0:
                return False
            if row < other.row and span[0] - 2.0 < other.mark.x < span[1] + 2.0:
                return False
        return True

    def settle(place: int) -> bool:
        if place == len(marks):
            return True
        mark, width = marks[place], widths[place]
        over = min(max(mark.x - 0.5 * width, ends[0]), ends[1] - width)
        starts = (over, mark.x + 3.0, mark.x - 3.0 - width)
        for row, start in product(range(rows), starts):
            if start < ends[0] or start + width > ends[1]:
                continue
            if is_free(mark.x, (start, start + width), row):
                done.append(PlacedMark(mark, start, row))
                spans.append((start, start + width))
                if settle(place + 1):
                    return True
                done.pop()
                spans.pop()
        return False

    return tuple(done) if settle(0) else None
