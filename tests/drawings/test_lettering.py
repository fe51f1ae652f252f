"""Text of drawings: figures of three digits, times, line breaks, and what is harmless."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from loomwright.drawings.lettering import (
    TEXT_SIZE,
    duration,
    quantity,
    shortened,
    text_width,
    wrapped,
)
from loomwright.drawings.shown_text import printable, xml_text


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (0.0, "0 A"),
        (319.4, "319 A"),
        (1419.0, "1420 A"),
        (9999.0, "10 kA"),
        (12_345.0, "12.3 kA"),
        (0.0382, "38.2 mA"),
        (0.99999, "1 A"),
        (1.5e-6, "1.5 µA"),
        (-0.25, "\N{MINUS SIGN}250 mA"),
        (float("inf"), "∞ A"),
    ],
)
def test_quantities_have_three_digits_and_a_prefix(value, expected):
    assert quantity(value, "A") == expected


@pytest.mark.parametrize(
    ("seconds", "expected"),
    [
        (0.1, "0.1 s"),
        (0.0204, "0.0204 s"),
        (119.0, "119 s"),
        (600.0, "10 min"),
        (360_000.0, "100 h"),
        (14_400.0, "4 h"),
    ],
)
def test_times_are_in_what_people_say(seconds, expected):
    assert duration(seconds) == expected


@given(st.floats(1e-9, 1e9))
def test_figures_are_right_to_half_a_unit_of_the_third_digit(value):
    words, unit = quantity(value, "A").split()
    factor = {"nA": 1e-9, "µA": 1e-6, "mA": 1e-3, "A": 1.0, "kA": 1e3, "MA": 1e6, "GA": 1e9}[unit]
    assert float(words) * factor == pytest.approx(value, rel=5.1e-3)
    assert len(words.replace(".", "").strip("0")) <= 3


@given(st.text(max_size=80))
def test_any_text_is_one_line_of_xml(text):
    element = etree.fromstring(f'<t a="{xml_text(text)}">{xml_text(text)}</t>'.encode())
    shown = printable(text)
    assert (element.text or "") == shown
    assert len(element) == 0
    assert "\n" not in shown


@given(st.text(max_size=300), st.floats(20.0, 400.0))
def test_lines_fit_their_width(text, width):
    lines = wrapped(text, width, most_lines=3)
    assert len(lines) <= 3
    for line in lines:
        assert text_width(line) <= width or line == "..."


def test_lines_keep_figure_and_unit_together():
    lines = wrapped("fuse 30 A and 110 % of it", 40.0)
    assert "30\xa0A" in lines
    assert "110\xa0%" in " ".join(lines)


def test_nothing_is_lost_in_lines():
    text = "a conductor of the series that meets every criterion of the request"
    assert " ".join(wrapped(text, 120.0)) == text
    assert wrapped(text, 120.0, most_lines=2)[-1].endswith("...")


def test_short_text_stays():
    assert shortened("8 AWG", 100.0) == "8 AWG"
    assert text_width(shortened("W" * 200, 100.0)) <= 100.0


def test_widths_are_those_of_the_font():
    """DejaVu Sans 2.37, table hmtx: a 613, W 989, figures 636, space 318; none is less."""
    for characters, thousandths in (("aaaa", 613), ("WWWW", 989), ("0000", 636), ("    ", 318)):
        assert text_width(characters) >= 4 * thousandths / 1000 * TEXT_SIZE * 0.999
        assert text_width(characters) <= 4 * (thousandths + 30) / 1000 * TEXT_SIZE
