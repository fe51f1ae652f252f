"""Texts and figures of diagrams: lines that fit, and digits that mean something."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.drawings.monospaced import cells, wrapped
from loomwright.drawings.shown_text import printable
from loomwright.drawings.single_line import amperes, millivolts, volts


@given(st.text(max_size=200), st.integers(2, 60), st.integers(1, 4))
def test_lines_are_no_wider_than_they_may_be_and_lose_no_word_unsaid(
    text: str, width: int, most: int
) -> None:
    shown = printable(text)
    lines = wrapped(shown, width, most)
    assert len(lines) <= most
    assert all(cells(line) <= width for line in lines)
    joined_up = "".join("".join(lines).split())
    letters = "".join(shown.split())
    cut = joined_up.removesuffix("\u2026")
    assert joined_up == letters or (letters.startswith(cut) and joined_up != cut)


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (12.50555, "12.51 V"),
        (9.99949, "9.999 V"),
        (9.9996, "10.00 V"),
        (0.0477, "0.048 V"),
        (0, "0 V"),
    ],
)
def test_voltage_has_the_digits_that_mean_something(value: float, said: str) -> None:
    assert volts(value) == said


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (0.0, "0 mV"),
        (0.00934, "9.3 mV"),
        (0.00996, "10 mV"),
        (0.60146, "601 mV"),
        (-0.012, "-12 mV"),
    ],
)
def test_ground_potential_is_in_millivolts(value: float, said: str) -> None:
    assert millivolts(value) == said


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (0.0, "0 A"),
        (0.0456, "0.046 A"),
        (9.28968, "9.29 A"),
        (19.99999, "20.0 A"),
        (99.96, "100 A"),
    ],
)
def test_current_has_three_digits(value: float, said: str) -> None:
    assert amperes(value) == said
