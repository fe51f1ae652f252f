"""The reading of printed figures, against Babel that writes them and Typst that prints them."""

from decimal import Decimal

import pytest
import typst
from babel.numbers import format_currency, format_decimal
from hypothesis import given
from hypothesis import strategies as st

from pdf_text import figures_in, missing_figures, page_texts

LOCALES = ("en-GB", "en-US", "de-DE", "de-CH", "fr-FR", "nl-NL", "es-ES")
amounts = st.decimals(-10_000_000, 10_000_000, places=2)


@given(st.sampled_from(LOCALES), amounts, amounts)
def test_what_is_written_for_a_language_is_read_back(
    locale: str, amount: Decimal, other: Decimal
) -> None:
    name = locale.replace("-", "_")
    written = (
        f"Total {format_currency(amount, 'EUR', locale=name)} of "
        f"{format_decimal(other, '#,##0.00', locale=name)}."
    )
    # A sign may stand before that of the currency.
    read = [abs(figure) for figure in figures_in(written, locale)]
    assert read == [abs(amount), abs(other)]


@pytest.mark.parametrize(
    ("text", "locale", "figures"),
    [
        ("Gesamt 1.234,56 €", "de-DE", ["1234.56"]),
        ("Total €1,234.56.", "en-GB", ["1234.56"]),
        ("1.234", "de-DE", ["1234"]),
        ("1.234", "en-GB", ["1.234"]),
        ("12\u00a0345,60", "fr-FR", ["12345.60"]),
        ("12\u202f345,60", "fr-FR", ["12345.60"]),
        ("12 345", "fr-FR", ["12", "345"]),
        ("1\u2019234.50", "de-CH", ["1234.50"]),
        ("-4,2 or \u22124.2", "en-GB", ["-4.2"]),
        ("3-5 m", "en-GB", ["3", "5"]),
        ("16A, 4 mm2, M6, H07V", "en-GB", ["16", "4"]),
        ("26.11.2026", "de-DE", []),
        ("1,23 12,34,567 1,2345", "en-GB", []),
        ("from 1, 2, and 3.", "en-GB", ["1", "2", "3"]),
    ],
)
def test_what_is_a_figure_depends_on_the_language(
    text: str, locale: str, figures: list[str]
) -> None:
    assert figures_in(text, locale) == [Decimal(figure) for figure in figures]


def test_figures_of_a_plan_that_are_not_printed_are_named() -> None:
    text = "Teile 2.105,21 €, Arbeit 1.037,00 €, Leitung 2,5 mm²"
    expected: list[Decimal | str | int | float] = ["2105.21", Decimal("1037"), 2.5, "3142.21", 21]
    assert missing_figures(text, expected, "de-DE") == [Decimal("3142.21"), Decimal(21)]
    assert missing_figures(text, ["2105.21"], "en-GB") == [Decimal("2105.21")]


def test_the_text_of_each_page_is_read_with_its_figures() -> None:
    source = "Summe: 1.234,56 €\n#pagebreak()\nTotal: £9,876.50 and 12\u202f345,60"
    first, second = page_texts(typst.compile(source.encode()))
    assert figures_in(first, "de-DE") == [Decimal("1234.56")]
    assert missing_figures(second, ["9876.50"], "en-GB") == []
    assert missing_figures(second, ["12345.60"], "fr-FR") == []
