"""Texts with points to break; their widths beside those that Typst measures."""

from typing import Any

import orjson
import pytest
import typst
from hypothesis import given
from hypothesis import strategies as st

from loomwright.documents.breaks import (
    _KERNED,
    _WIDTHS,
    BOLD,
    GREATEST_EM,
    ZERO_WIDTH_SPACE,
    Fitting,
    width_em,
)
from loomwright.harmless import one_line

MEASURE = """\
#set text(
  font: ("Libertinus Serif", "DejaVu Sans Mono"), size: 1000pt,
  number-type: "lining", number-width: "tabular",
)
#context [#metadata(json("texts.json").map(words => calc.max(
  ..WEIGHTS.map(weight => measure(text(weight: weight, words)).width.pt())
)))<widths>]
"""


def measured_em(texts: list[str], weight: int = 400) -> list[float]:
    """Widths [em] of texts in one line by Typst."""
    source = MEASURE.replace("WEIGHTS", f"({weight},)")
    files: Any = {"main": source.encode(), "texts.json": orjson.dumps(texts)}
    compiler = typst.Compiler(files, ignore_system_fonts=True)
    (answer,) = orjson.loads(compiler.query("<widths>", field="value"))
    return [width / 1000.0 for width in answer]


def test_widths_of_letters_are_bounds_of_those_measured() -> None:
    letters = sorted(_WIDTHS)
    for letter, measured in zip(letters, measured_em(letters), strict=True):
        assert measured <= _WIDTHS[letter] + 1e-6, letter
    for letter, measured in zip(letters, measured_em(letters, 700), strict=True):
        assert measured <= BOLD * _WIDTHS[letter], letter
    usual = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
    for letter, measured in zip(usual, measured_em(list(usual)), strict=True):
        assert measured > _WIDTHS[letter] - 0.021, letter


def test_widths_of_words_are_bounds_of_those_measured() -> None:
    words = [first + second for first in map(chr, range(33, 127)) for second in "AVToft1.-"]
    words += [
        "difficult office",
        "Wasser, Strom; 12.50",
        "\u0416\u0434\u0451",
        "\u2593\u2588\u2192",
    ]
    for word, measured in zip(words, measured_em(words), strict=True):
        assert measured <= _KERNED * width_em(word), word


@given(st.text(max_size=60), st.floats(1.3, 50.0))
def test_breaks_change_no_letter_and_leave_no_piece_too_wide(text: str, room_em: float) -> None:
    fitting = Fitting()
    fitted = fitting.text(text, room_em)
    clean = one_line(text)
    assert fitted.replace(ZERO_WIDTH_SPACE, "") == clean.replace(ZERO_WIDTH_SPACE, "")
    if not fitting.hyphenates:
        # Of fewer than four letters no word is broken: there is no column so narrow.
        wide = [w for w in fitted.replace(ZERO_WIDTH_SPACE, " ").split() if len(w) > 3]
        assert all(
            _KERNED * width_em(word) <= _KERNED * max(room_em, 3 * GREATEST_EM) for word in wide
        )


@pytest.mark.parametrize(
    ("text", "fitted", "hyphenates"),
    [
        ("Sicherungshalter", "Sicherungshalter", True),
        ("main_fuse_holder", "main_\u200bfuse_\u200bholder", False),
        ("F1 15 A", "F1 15 A", False),
        ("AAAAAAAA", "\u200b".join("AAAAAAAA"), False),
    ],
)
def test_words_break_where_a_reader_expects_it(text: str, fitted: str, hyphenates: bool) -> None:
    fitting = Fitting()
    assert fitting.text(text, 4.0) == fitted
    assert fitting.hyphenates is hyphenates
    assert Fitting().text(text, 100.0) == text
    assert Fitting().text("AAAA", 3.1, bold=True) == "\u200b".join("AAAA")
    assert Fitting().text("AAAA", 3.1) == "AAAA"
