"""Scales and their ticks; labels of marks in rows."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.drawings.axes import clipped
from loomwright.drawings.labels import Box, LabelBoard, Mark, placed_marks
from loomwright.drawings.lettering import text_width
from loomwright.drawings.scales import LinearScale, LogScale, log_window, step_at_least

SPANS = st.tuples(st.floats(-100.0, 100.0), st.floats(0.01, 1000.0))
DECADES = st.tuples(st.floats(-6.0, 5.0), st.floats(1.0, 10.0))


@given(SPANS, st.floats(0.0, 1.0))
def test_linear_place_and_value_undo_each_other(span, share):
    low, length = span
    scale = LinearScale(low, low + length, 300.0, 20.0)
    value = low + share * length
    assert scale.value_at(scale.place(value)) == pytest.approx(value, abs=1e-9 * (100 + length))
    assert scale.places(np.array([value]))[0] == pytest.approx(scale.place(value))


@given(DECADES, st.floats(0.0, 1.0))
def test_logarithmic_place_and_value_undo_each_other(span, share):
    low, decades = span
    scale = LogScale(10.0**low, 10.0 ** (low + decades), 60.0, 360.0)
    value = 10.0 ** (low + share * decades)
    assert scale.value_at(scale.place(value)) == pytest.approx(value, rel=1e-9)
    assert scale.places(np.array([value]))[0] == pytest.approx(scale.place(value))
    assert scale.decade_px == pytest.approx(300.0 / decades)


@given(SPANS)
def test_linear_ticks_are_multiples_of_1_2_or_5_within_the_axis(span):
    low, length = span
    scale = LinearScale(low, low + length, 300.0, 20.0)
    ticks = scale.ticks(24.0)
    major = [tick.value for tick in ticks if not tick.is_minor]
    assert 2 <= len(major) <= 13
    for tick in ticks:
        assert low - 1e-6 * length <= tick.value <= low + length * (1.0 + 1e-6)
    step = major[1] - major[0]
    mantissa = step / 10.0 ** math.floor(math.log10(step) + 1e-9)
    assert min(abs(mantissa - each) for each in (1, 2, 5)) < 1e-6
    places = [scale.place(value) for value in major]
    assert all(a - b >= 23.9 for a, b in pairwise(places))


@given(DECADES)
def test_logarithmic_ticks_have_room_for_their_labels(span):
    low, decades = span
    scale = LogScale(10.0**low, 10.0 ** (low + decades), 60.0, 360.0)
    labelled = [tick for tick in scale.ticks(40.0) if tick.label]
    assert labelled
    places = [scale.place(tick.value) for tick in labelled]
    assert all(b - a >= 39.9 for a, b in pairwise(places))
    assert all(59.9 <= place <= 360.1 for place in places)


def test_minor_ticks_are_the_whole_multiples_of_their_decade():
    ticks = LogScale(1.0, 100.0, 0.0, 300.0).ticks(40.0)
    assert [tick.value for tick in ticks] == [*range(1, 10), *range(10, 100, 10), 100]
    assert [tick.label for tick in ticks if tick.label] == ["1", "2", "5", "10", "20", "50", "100"]


@pytest.mark.parametrize(
    ("value", "expected"), [(0.7, 1.0), (1.0, 1.0), (1.1, 2.0), (3.0, 5.0), (51.0, 100.0)]
)
def test_steps_are_the_next_of_1_2_and_5(value, expected):
    assert step_at_least(value) == expected


def test_window_has_a_decade_at_least_and_leaves_out_what_is_no_number():
    assert log_window([math.inf, math.nan, -1.0, 0.0], 2.0, 2.0) == pytest.approx(
        (10**-0.5, 10**0.5)
    )
    assert log_window([1.0, 1000.0, math.inf], 2.0, 3.0) == (0.5, 3000.0)


MARKS = st.lists(
    st.builds(Mark, st.floats(60.0, 356.0), st.sampled_from(["load 25 A", "far-end fault 373 A"])),
    min_size=1,
    max_size=5,
)


@given(MARKS)
def test_labels_of_marks_never_lie_over_one_another(marks):
    placed = placed_marks(marks, 8.0, 368.0)
    assert [each.mark for each in placed] == sorted(marks)
    for each in placed:
        assert each.left >= 8.0
        assert each.left + text_width(each.mark.label) <= 368.0
    for place, one in enumerate(placed):
        for other in placed[place + 1 :]:
            if one.row == other.row:
                ends = one.left + text_width(one.mark.label)
                others = other.left + text_width(other.mark.label)
                assert ends <= other.left or others <= one.left


FRAME = Box(10.0, 10.0, 110.0, 60.0)


def test_label_goes_where_nothing_is_drawn():
    board = LabelBoard(FRAME)
    board.draw(np.array([10.0, 110.0]), np.array([20.0, 20.0]))
    box = board.place("25 A", [(60.0, 20.0)])
    assert box.top > 20.0
    # The same place once more is taken; one that nothing is left of has no label.
    other = board.place("25 A", [(60.0, 20.0)])
    assert not other.overlaps(box)
    assert board.place("a label that is wider than the frame", [(60.0, 30.0)]) is None


@given(
    st.lists(st.tuples(st.floats(0.0, 200.0), st.floats(0.0, 50.0)), min_size=2, max_size=12),
    st.booleans(),
)
def test_curve_is_cut_at_the_frame(steps, falls):
    x = np.cumsum([step + 0.1 for step, _ in steps]) - 50.0
    y = np.cumsum([rise for _, rise in steps]) - 20.0
    if falls:
        y = y[::-1].copy()
    across, along = clipped(x, y, FRAME)
    assert across.size == along.size
    assert all(FRAME.left - 1e-6 <= each <= FRAME.right + 1e-6 for each in across)
    assert all(FRAME.top - 1e-6 <= each <= FRAME.bottom + 1e-6 for each in along)
    if across.size:
        assert list(across) == sorted(across)
        # What is left lies on the line that was given.
        assert np.interp(across, x, y) == pytest.approx(along, abs=1e-6)
