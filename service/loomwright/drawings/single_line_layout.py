"""Places a single-line diagram: sources at the top, each circuit downwards to its load.

A feeding point is a node from which circuits hang: a single one goes straight down, several go each
into a column to the right of their bus. All texts stand in one column to the right of all lines, so
that no text can meet a line; each row is as high as its symbol and its lines of text.
"""

import math

from loomwright.drawings.canvas import FONT_PX, Canvas
from loomwright.drawings.drawing import Drawing
from loomwright.drawings.monospaced import CELL, wrapped
from loomwright.drawings.single_line import DISTRIBUTION, DrawnCircuit, DrawnSource, SingleLine
from loomwright.drawings.symbols import Symbol, symbols

NAME = "single_line"
WIDTH = 380
_MARGIN = 8
# Centre of the first column: the frame connection of a battery has room to its left.
_FIRST_COLUMN = 33
# Where several circuits of a feeding point nest deeper than this, the one with most behind it goes
# straight down: 50 circuits then need five columns beside the first.
_USUAL_DEPTH = 4
_STEP, _NARROW_STEP = 27, 20
_BESIDE_COLUMN = 20
_PITCH = 15
_HEADING_PX, _HEADING_PITCH = 13, 18
_BATTERY_TO_FRAME = 18
_TITLE_LINES, _TEXT_LINES, _NOTE_LINES = 2, 2, 3


def single_line_drawing(content: SingleLine) -> Drawing:
    """Return a single-line diagram.

    Parameters
    ----------
    content
        What it shows.

    Returns
    -------
    Drawing
        380 px wide and as high as its circuits need.
    """
    return _Sheet(content).drawn()


def _columns(circuits: tuple[DrawnCircuit, ...], *, narrow: bool) -> int:
    """Return how many columns circuits of one feeding point need to the right of its own."""
    needed = sorted(_columns(circuit.branches, narrow=narrow) for circuit in circuits)
    if len(needed) < 2:
        return needed[0] if needed else 0
    if not narrow:
        return 1 + needed[-1]
    return max(needed[-1], 1 + needed[-2])


class _Sheet:
    """The sheet with its columns, and how far down it is drawn."""

    def __init__(self, content: SingleLine) -> None:
        self._content = content
        self._say = content.wording.say
        usual = self._needed(narrow=False)
        self._narrow = usual > _USUAL_DEPTH
        columns = self._needed(narrow=True) if self._narrow else usual
        self._step = _NARROW_STEP if columns > _USUAL_DEPTH else _STEP
        self._text_x = _FIRST_COLUMN + columns * self._step + _BESIDE_COLUMN
        self._cells = _cells(WIDTH - _MARGIN - self._text_x)
        self._y = _MARGIN
        self._canvas = Canvas(NAME, WIDTH)
        self._symbols = symbols()

    def _needed(self, *, narrow: bool) -> int:
        return max(_columns(source.circuits, narrow=narrow) for source in self._content.sources)

    def drawn(self) -> Drawing:
        content = self._content
        self._block(content.title, _TITLE_LINES, is_heading=True)
        self._block(content.vehicle, _NOTE_LINES)
        self._y += 4
        self._block(content.subtitle, _NOTE_LINES)
        for warning in content.warnings:
            self._block(warning, _NOTE_LINES, is_bold=True)
        for source in content.sources:
            self._y += 12
            self._source(source)
        self._foot()
        return self._canvas.drawing(
            self._say("Single-line diagram: {title}", title=content.title),
            content.in_words,
            self._y + _MARGIN,
        )

    # --- blocks across the sheet ---

    def _block(
        self, text: str, most: int, *, is_heading: bool = False, is_bold: bool = False
    ) -> None:
        size, pitch = (_HEADING_PX, _HEADING_PITCH) if is_heading else (FONT_PX, _PITCH)
        for line in wrapped(text, _cells(WIDTH - 2 * _MARGIN, size), most):
            self._canvas.text(
                line, _MARGIN, self._y + pitch // 2, is_bold=is_heading or is_bold, size=size
            )
            self._y += pitch

    def _foot(self) -> None:
        if self._content.unfed:
            self._y += 6
            self._block(self._say("Fed by no circuit of this drawing:"), 1, is_bold=True)
            for item in self._content.unfed:
                self._block(item, _TEXT_LINES)
        self._y += 8
        self._canvas.line((_MARGIN, self._y), (WIDTH - _MARGIN, self._y))
        self._y += 5
        for note in self._content.notes:
            self._block(note, _NOTE_LINES)

    # --- sources and circuits ---

    def _source(self, source: DrawnSource) -> None:
        canvas, symbol, x = self._canvas, self._symbols[source.symbol], _FIRST_COLUMN
        canvas.begin(f"source-{source.number}", source.in_words)
        titles = wrapped(source.title, self._cells, _TITLE_LINES)
        lines = [*titles, *self._wrapped(source.lines)]
        self._y += 6
        middle = self._row(lines, 30, bold=len(titles))
        if not symbol.height:
            canvas.symbol(symbol, x, middle)
            end = middle + 4
        else:
            top = middle - int(symbol.height) // 2
            canvas.symbol(symbol, x, top)
            end = top + int(symbol.height)
            if source.is_grounded:
                frame_x = x - _BATTERY_TO_FRAME
                canvas.line((x, top), (x, top - 4), (frame_x, top - 4), (frame_x, top + 4))
                canvas.symbol(self._symbols["chassis"], frame_x, top + 4)
        canvas.end()
        self._y += 4
        self._fed(source.circuits, x, end)
        if not source.circuits:
            canvas.line((x, end), (x, self._y))

    def _fed(self, circuits: tuple[DrawnCircuit, ...], x: int, top: int) -> None:
        """Draw the circuits of a feeding point whose column is drawn down to ``top``."""
        if not circuits:
            return
        *aside, last = circuits
        if self._narrow and aside:
            last = max(circuits, key=lambda circuit: _columns(circuit.branches, narrow=True))
            aside = [circuit for circuit in circuits if circuit is not last]
        elif aside:
            aside = [*aside, last]
        end = top
        for circuit in aside:
            self._y += 4
            end = self._y + _PITCH // 2
            self._canvas.dot(x, end)
            self._canvas.line((x, end), (x + self._step, end), is_broken=bool(circuit.fault))
            self._circuit(circuit, x + self._step, end)
        if end > top:
            self._canvas.line((x, top), (x, end), is_thick=True)
        if self._narrow or not aside:
            self._y += 4
            self._circuit(last, x, end)

    def _circuit(self, circuit: DrawnCircuit, x: int, top: int) -> None:
        """Draw a circuit and all behind it; its column begins at ``top``."""
        canvas, broken = self._canvas, bool(circuit.fault)
        canvas.begin(f"circuit-{circuit.number}", circuit.in_words)
        titles = wrapped(circuit.title, self._cells, _TITLE_LINES)
        faults = wrapped(circuit.fault, self._cells, _NOTE_LINES) if broken else ()
        self._row([*titles, *faults], 0, bold=len(titles) + len(faults))
        end = top
        if circuit.fuse:
            end = self._in_column("fuse", x, end, self._wrapped((circuit.fuse,)), broken=broken)
        middle = self._row(self._wrapped(circuit.conductor), 36)
        if circuit.returns_by_conductor:
            for shift in (-2, 3):
                canvas.line((x - 5, middle + shift + 3), (x + 5, middle + shift - 3))
        if circuit.charges_source:
            canvas.arrow_head(x, middle + 8)
        if circuit.ends_in == DISTRIBUTION:
            end = self._distribution(circuit, x, end)
        else:
            self._load(circuit, x, end)
        canvas.end()
        self._y += 8
        self._fed(circuit.branches, x, end)

    def _distribution(self, circuit: DrawnCircuit, x: int, top: int) -> int:
        canvas = self._canvas
        node = self._row(self._wrapped(circuit.at_end) or [self._say("distribution")], 16)
        canvas.line((x, top), (x, node), is_broken=bool(circuit.fault))
        canvas.dot(x, node)
        if circuit.ground:
            # The frame connection is that of the negative bar, which one line does not show.
            first, *others = circuit.ground
            texts = (self._say("negative bar: {ground}", ground=first), *others)
            lines = [line for text in texts for line in wrapped(text, self._cells - 4, _TEXT_LINES)]
            middle = self._row(lines, 22, shift=_cells_px(4))
            canvas.symbol(self._symbols["chassis"], self._text_x + 8, middle - 5)
        return node

    def _load(self, circuit: DrawnCircuit, x: int, top: int) -> None:
        canvas, broken = self._canvas, bool(circuit.fault)
        if circuit.at_end:
            canvas.dot(x, self._row(self._wrapped(circuit.at_end), 16))
        lines = self._wrapped(circuit.equipment)
        end = self._in_column(circuit.ends_in, x, top, lines, broken=broken)
        if circuit.ground:
            frame = self._symbols["chassis"]
            middle = self._row(self._wrapped(circuit.ground), 22)
            canvas.line((x, end), (x, middle - 5), is_broken=broken)
            canvas.symbol(frame, x, middle - 5)

    def _in_column(self, name: str, x: int, top: int, lines: list[str], *, broken: bool) -> int:
        """Draw a symbol of two terminals below a line from ``top``; return its lower end."""
        symbol: Symbol = self._symbols[name]
        height = int(symbol.height)
        start = self._row(lines, height + 8) - height // 2
        self._canvas.line((x, top), (x, start), is_broken=broken)
        self._canvas.symbol(symbol, x, start)
        return start + height

    # --- rows ---

    def _row(self, lines: list[str], least: int, *, bold: int = 0, shift: int = 0) -> int:
        """Write lines in a row of a least height; return the middle of the row."""
        height = max(least, len(lines) * _PITCH)
        y = self._y + (height - len(lines) * _PITCH) // 2 + _PITCH // 2
        for number, line in enumerate(lines):
            self._canvas.text(
                line, self._text_x + shift, y + number * _PITCH, is_bold=number < bold
            )
        middle = self._y + height // 2
        self._y += height
        return middle

    def _wrapped(self, texts: tuple[str, ...]) -> list[str]:
        return [line for text in texts for line in wrapped(text, self._cells, _TEXT_LINES)]


def _cells(width: int, size: int = FONT_PX) -> int:
    return int(width / (CELL * size))


def _cells_px(cells: int) -> int:
    return math.ceil(cells * CELL * FONT_PX)
