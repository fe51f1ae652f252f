"""The claim of an amplifier beside what its fuse lets in and what it can put out."""

import math

from loomwright.drawings.axes import MAJOR_TICK, Axes
from loomwright.drawings.drawing import Drawing
from loomwright.drawings.lettering import (
    LINE_HEIGHT,
    quantity,
    sentences,
    text_width,
    three_digits,
)
from loomwright.drawings.picture import BLACK, GRID, WHITE, WIDTH, Picture
from loomwright.drawings.scales import LinearScale, LogScale, log_window
from loomwright.engineering.audio.output_answer import OutputEstimate
from loomwright.engineering.audio.output_words import BOUNDS, VERDICTS
from loomwright.engineering.record import record

NAME = "output_against_claim"
# px of CSS.
_LEFT, _RIGHT, _ROW = 62.0, WIDTH - 22.0, 42.0
_BAR = 14.0
# Of its row, from the top: the middle of what is drawn, below the line of its figures.
_BAR_PLACE = 0.64
_ROWS = ("claim", "input", "output", "limit")
# A claim that is re-rated by less is the same to three digits.
_LEAST_RERATING = 5e-4

_HEADINGS = {
    "plausible": "The claim is plausible",
    "doubtful": "The claim is doubtful",
    "impossible": "The claim is impossible",
}


@record
class _Powers:
    """The powers that are drawn [W]; the claim as printed, and re-rated to supply and load."""

    claim: float | None
    claim_here: float | None
    ceiling: float
    overload: float
    burst: float
    low: float
    likely: float
    high: float
    limit: float

    @property
    def all(self) -> list[float]:
        """Every power that is there."""
        found = (
            self.claim,
            self.claim_here,
            self.ceiling,
            self.overload,
            self.burst,
            self.low,
            self.likely,
            self.high,
            self.limit,
        )
        return [power for power in found if power is not None]


def output_against_claim_drawing(estimate: OutputEstimate) -> Drawing:
    """Return the chart of an amplifier's claim against its input and its output.

    Totals over all channels on a logarithmic axis in watts, with the level over the likely output
    in decibels above it.

    Parameters
    ----------
    estimate
        What ``output_estimate`` answers.

    Returns
    -------
    Drawing
        Named ``output_against_claim``.
    """
    powers = _powers(estimate)
    verdict = _verdict(estimate)
    title = f"{_heading(estimate)}: likely output {quantity(powers.likely, 'W')}"
    picture = Picture(NAME)
    picture.heading(title, (verdict,))
    top = picture.top + 2.0 * LINE_HEIGHT + 6.0
    bottom = top + len(_ROWS) * _ROW
    across = LogScale(*log_window(powers.all, 1.7, 1.7), _LEFT, _RIGHT)
    # Rows from the top down, each one unit high.
    axes = Axes(picture, across, LinearScale(float(len(_ROWS)), 0.0, bottom, top))
    _draw_power_axis(axes)
    _draw_level_axis(axes, powers.likely)
    _draw_limit(axes, powers)
    _draw_claim(axes, powers)
    _draw_input(axes, powers)
    _draw_output(axes, powers)
    axes.draw_frame()
    return picture.drawing(title, _description(estimate, powers, verdict), bottom + 40.0)


def _powers(estimate: OutputEstimate) -> _Powers:
    claim, here = estimate.claimed_output_w, estimate.claimed_output_here_w
    return _Powers(
        claim=None if claim is None else float(claim),
        claim_here=None if here is None else float(here),
        ceiling=float(estimate.input_ceiling_w),
        overload=float(estimate.input_ceiling_overload_w),
        burst=float(estimate.input_ceiling_burst_w),
        low=float(estimate.output_low_w),
        likely=float(estimate.output_likely_w),
        high=float(estimate.output_high_w),
        limit=float(estimate.output_limit_w),
    )


def _draw_power_axis(axes: Axes) -> None:
    picture, frame = axes.picture, axes.frame
    ticks = axes.x.ticks(34.0)
    lines, marks = [], []
    for tick in ticks:
        x = axes.x.place(tick.value)
        marks.append(f"M{x:.2f},{frame.bottom:.2f}v-{3 if tick.is_minor else 5}")
        if tick.label:
            lines.append(f"M{x:.2f},{frame.top:.2f}V{frame.bottom:.2f}")
            picture.text(tick.label, x, frame.bottom + LINE_HEIGHT + 1.0, anchor="middle")
    picture.add(f'<path stroke="{GRID}" stroke-width="0.7" d="{"".join(lines)}"/>')
    picture.add(f'<path id="{picture.identifier("ticks")}" d="{"".join(marks)}"/>')
    for row, name in enumerate(_ROWS):
        y = axes.y.place(float(row))
        if row:
            picture.line(((frame.left, y), (frame.right, y)), width=0.7, stroke=GRID)
        picture.text(name, frame.left - 6.0, y + 0.5 * _ROW + 4.0, anchor="end")
    picture.text(
        "Power, all channels [W]",
        0.5 * (frame.left + frame.right),
        frame.bottom + 2.0 * LINE_HEIGHT + 3.0,
        anchor="middle",
    )


def _draw_level_axis(axes: Axes, likely_w: float) -> None:
    """Draw the level over the likely output above the frame."""
    picture, frame = axes.picture, axes.frame
    ends = [_level_db(axes.x.value_at(place), likely_w) for place in (_LEFT, _RIGHT)]
    scale = LinearScale(ends[0], ends[1], _LEFT, _RIGHT)
    for tick in scale.ticks(34.0):
        if tick.label:
            x = scale.place(tick.value)
            picture.line(((x, frame.top), (x, frame.top + MAJOR_TICK)))
            sign = "+" if tick.value > 0.0 else ""
            picture.text(f"{sign}{tick.label}", x, frame.top - 5.0, anchor="middle")
    picture.text(
        "Level over the likely output [dB]",
        0.5 * (frame.left + frame.right),
        frame.top - 5.0 - LINE_HEIGHT,
        anchor="middle",
    )


def _level_db(power_w: float, reference_w: float) -> float:
    return 10.0 * math.log10(power_w / reference_w)


def _write_over(axes: Axes, row: int, text: str, left: float, right: float) -> None:
    """Write the figures of a row above what is drawn of it, which reaches from left to right."""
    width = text_width(text) + 2.0
    frame, middle = axes.frame, 0.5 * (left + right)
    start = min(max(middle - 0.5 * width, frame.left + 2.0), frame.right - width - 2.0)
    axes.picture.backed_text(text, start, axes.y.place(float(row)) + 2.0, width)


def _draw_claim(axes: Axes, powers: _Powers) -> None:
    here, printed = powers.claim_here, powers.claim
    if here is None or printed is None:
        _write_over(axes, 0, "none is stated", axes.frame.left, axes.frame.right)
        return
    y, x, other = axes.y.place(_BAR_PLACE), axes.x.place(here), axes.x.place(printed)
    text = quantity(here, "W")
    if abs(here / printed - 1.0) > _LEAST_RERATING:
        text += f" here, printed {quantity(printed, 'W')}"
        axes.picture.line(((other, y), (x, y)), dash="2 2")
        _draw_diamond(axes, other, y, "claim_printed", WHITE)
    _draw_diamond(axes, x, y, "claim", BLACK)
    _write_over(axes, 0, text, min(x, other), max(x, other))


def _draw_diamond(axes: Axes, x: float, y: float, name: str, fill: str) -> None:
    half = 0.5 * _BAR
    points = ((x, y - half), (x + half, y), (x, y + half), (x - half, y), (x, y - half))
    axes.picture.line(points, name, fill=fill, width=1.4)


def _draw_input(axes: Axes, powers: _Powers) -> None:
    """Draw what the fuse lets in: at its rating, at 110 % of it, and in short bursts at 200 %."""
    picture, y, half = axes.picture, axes.y.place(1.0 + _BAR_PLACE), 0.5 * _BAR
    rated, overload, burst = (
        axes.x.place(power) for power in (powers.ceiling, powers.overload, powers.burst)
    )
    picture.line(((rated, y - half), (rated, y + half)), "ceiling", width=3.0)
    picture.line(((rated, y), (overload, y)), "overload", width=1.6)
    picture.line(((overload, y - 4.0), (overload, y + 4.0)), width=1.6)
    picture.line(((overload, y), (burst, y)), "burst", dash="2 2")
    picture.line(((burst, y - 4.0), (burst, y + 4.0)))
    figures = f"fuse {quantity(powers.ceiling, 'W')}, bursts {quantity(powers.burst, 'W')}"
    _write_over(axes, 1, figures, rated, burst)


def _draw_output(axes: Axes, powers: _Powers) -> None:
    picture, y, half = axes.picture, axes.y.place(2.0 + _BAR_PLACE), 0.5 * _BAR
    low, likely, high = (axes.x.place(power) for power in (powers.low, powers.likely, powers.high))
    box = ((low, y - half), (high, y - half), (high, y + half), (low, y + half), (low, y - half))
    fill = picture.hatch("output_hatch", gap=4.0)
    picture.line(box, "output_band", fill=fill, width=1.2)
    picture.line(((likely, y - half), (likely, y + half)), "likely", width=3.0)
    low_figure = quantity(powers.low, "W")
    figures = f"{low_figure} to {quantity(powers.high, 'W')}, likely {quantity(powers.likely, 'W')}"
    _write_over(axes, 2, figures, low, high)


def _draw_limit(axes: Axes, powers: _Powers) -> None:
    """Draw the power above which a claim is impossible, through all rows."""
    x, frame = axes.x.place(powers.limit), axes.frame
    top = axes.y.place(3.0)
    area = ((x, top), (frame.right, top), (frame.right, frame.bottom), (x, frame.bottom))
    fill = axes.picture.hatch("limit_hatch", falls=True, gap=7.0)
    axes.picture.line(area, fill=fill, stroke="none")
    axes.upright(powers.limit, "limit", dash="6 3", width=1.4)
    _write_over(axes, 3, f"impossible above {quantity(powers.limit, 'W')}", x, x)


def _heading(estimate: OutputEstimate) -> str:
    return _HEADINGS.get(str(estimate.claim_verdict), "Output of the amplifier")


def _verdict(estimate: OutputEstimate) -> str:
    if estimate.claim_verdict is None:
        return "No claim is stated."
    words = VERDICTS[str(estimate.claim_verdict)]
    return f"{words[0].upper()}{words[1:]}."


def _level_words(above_db: float) -> str:
    if abs(above_db) < 0.05:
        return "as much as the likely output"
    side = "above" if above_db > 0.0 else "below"
    return f"{three_digits(abs(above_db))} dB {side} the likely output"


def _description(estimate: OutputEstimate, powers: _Powers, verdict: str) -> str:
    claim = None
    if powers.claim is not None and powers.claim_here is not None:
        level = _level_words(float(estimate.claim_above_likely_db or 0.0))
        claim = f"The claim is {quantity(powers.claim, 'W')}"
        if abs(powers.claim_here / powers.claim - 1.0) > 1e-3:
            claim += f", {quantity(powers.claim_here, 'W')} at the supply and load stated"
        claim += f"; that is {level}"
    return sentences(
        "Power of all channels [W] on a logarithmic axis, with the level over the likely output"
        " [dB]",
        verdict,
        claim,
        f"The fuses of {quantity(float(estimate.fuse_rating_total_a), 'A')} let in"
        f" {quantity(powers.ceiling, 'W')} sustained and {quantity(powers.burst, 'W')} in bursts"
        " shorter than 0.15 s",
        f"A sustained sine comes out with {quantity(powers.low, 'W')} at least,"
        f" {quantity(powers.likely, 'W')} likely and {quantity(powers.high, 'W')} at most:"
        f" {BOUNDS[str(estimate.likely_bound)]}",
        f"Above {quantity(powers.limit, 'W')} a claim of sustained power is impossible",
    )
