"""Figures of documents: what they say is what the answer says, in each language and unit."""

from decimal import Decimal

import pytest
from babel.numbers import format_decimal, parse_decimal
from hypothesis import given
from hypothesis import strategies as st

from loomwright.documents.options import LANGUAGES, UNITS, DocumentOptions
from loomwright.documents.words import Words

ALL = [
    Words(DocumentOptions(language=language, units=units))
    for language in LANGUAGES
    for units in UNITS
]
IDS = [f"{words.language}-{words.units}" for words in ALL]
amounts = st.decimals(-(10**9), 10**9, allow_nan=False, places=2) | st.decimals(
    0, 10**6, allow_nan=False, places=4
)


def words_of(language="en", units="metric"):
    return Words(DocumentOptions(language=language, units=units))


@pytest.mark.parametrize("words", ALL, ids=IDS)
@given(amount=amounts)
def test_amounts_read_back_to_the_last_digit(words, amount):
    stated = format(amount, "f")
    assert parse_decimal(words.amount(stated), locale=words.locale, strict=True) == amount
    kept = "".join(sign for sign in words.money(stated, "EUR") if sign not in "€\u00a0")
    assert parse_decimal(kept, locale=words.locale) == amount


@pytest.mark.parametrize("words", ALL, ids=IDS)
@given(number=st.decimals(-(10**9), 10**9, allow_nan=False, places=3) | amounts)
def test_numbers_are_set_as_the_locale_sets_them(words, number):
    places = max(0, -number.as_tuple().exponent)
    pattern = f"#,##0.{'0' * places}" if places else "#,##0"
    assert words.exact(number) == format_decimal(number, format=pattern, locale=words.locale)


@pytest.mark.parametrize(
    ("language", "units", "text", "currency", "said"),
    [
        ("en", "metric", "1234.50", "EUR", "€1,234.50"),
        ("en", "us", "1234.50", "USD", "$1,234.50"),
        ("en", "metric", "1234.50", "USD", "US$1,234.50"),
        ("de", "metric", "1234.50", "EUR", "1.234,50\u00a0€"),
        ("es", "metric", "1234.50", "EUR", "1.234,50\u00a0€"),
        # As many digits as the amount has, which ISO 4217 gave it, whatever other lists say.
        ("de", "metric", "1234", "JPY", "1.234\u00a0¥"),
        ("en", "metric", "1.250", "KWD", "KWD\u00a01.250"),
        ("en", "metric", "12.34", "ISK", "ISK\u00a012.34"),
        ("en", "metric", "-3.00", "GBP", "-£3.00"),
    ],
)
def test_money(language, units, text, currency, said):
    assert words_of(language, units).money(text, currency) == said


def test_money_never_passes_through_a_float():
    text = "90071992547409931234567.01"
    read = parse_decimal(words_of("de").amount(text), locale="de_DE")
    assert read == Decimal(text)


@pytest.mark.parametrize(
    ("language", "units", "said"),
    [
        ("en", "metric", "30 April 2031"),
        ("en", "us", "April 30, 2031"),
        ("de", "us", "30. April 2031"),
        ("es", "metric", "30 de abril de 2031"),
    ],
)
def test_days_are_written_out(language, units, said):
    assert words_of(language, units).day("2031-04-30") == said


def test_an_instant_is_told_by_the_clock_of_its_place():
    for offset in ("+02:00", "-07:00", "+00:00"):
        assert words_of("de").instant(f"2031-05-06T08:05:00{offset}") == "6. Mai 2031, 08:05"


@pytest.mark.parametrize(
    ("language", "text", "said"),
    [
        ("en", "PT4H30M", "4 hrs 30 mins"),
        ("en", "PT1H", "1 hr"),
        ("en", "PT0M", "0 mins"),
        ("de", "PT15H15M", "15 Std. 15 Min."),
        ("es", "PT45M", "45 min"),
    ],
)
def test_durations(language, text, said):
    assert words_of(language).duration(text).replace("\u00a0", " ") == said


@pytest.mark.parametrize(
    ("language", "rate", "said"),
    [("en", "21", "21%"), ("de", "7.70", "7,70\u00a0%"), ("es", "10.5", "10,5\u00a0%")],
)
def test_rates(language, rate, said):
    assert words_of(language).percent(rate) == said


# Factors of NIST SP 811 (2008), appendix B.8 (memory): 1 ft = 0.3048 m, 1 in = 25.4 mm,
# 1 lbf in = 0.1129848 N m, 1 lbf ft = 1.355818 N m, t/F = 1.8 t/C + 32.
@pytest.mark.parametrize(
    ("metric", "us"),
    [
        (lambda words: words.length(3.048), ("3.05 m", "10.0 ft")),
        (lambda words: words.length(0.15), ("0.15 m", "0.5 ft")),
        (lambda words: words.small_length(0.0254), ("25.4 mm", "1 in")),
        (lambda words: words.small_length(0.06), ("60 mm", "2.36 in")),
        (lambda words: words.temperature(357.15), ("84 °C", "183 °F")),
        (lambda words: words.torque(2.0), ("2.0 N·m", "17.7 lbf·in")),
        (lambda words: words.torque(6.0), ("6.0 N·m", "53 lbf·in")),
        (lambda words: words.torque(47.0), ("47 N·m", "35 lbf·ft")),
        (lambda words: words.torque(20.0), ("20 N·m", "14.8 lbf·ft")),
        (lambda words: words.section("2.5 mm2"), ("2.5 mm²", "2.5 mm²")),
        (lambda words: words.section("ISO 0.35 mm2"), ("ISO 0.35 mm²", "ISO 0.35 mm²")),
        (lambda words: words.section("1/0 AWG"), ("1/0 AWG", "1/0 AWG")),
        (lambda words: words.section("SAE 18"), ("SAE 18", "SAE 18")),
    ],
)
def test_quantities_have_the_units_that_are_wanted(metric, us):
    said = tuple(metric(words_of("en", units)).replace("\u00a0", " ") for units in UNITS)
    assert said == us


@pytest.mark.parametrize(
    ("said", "text"),
    [
        (lambda words: words.current(0.914106), "0.91 A"),
        (lambda words: words.current(76.04), "76.0 A"),
        (lambda words: words.current(354.9), "355 A"),
        (lambda words: words.current(9.96, 12.0), "10.0 A"),
        (lambda words: words.rating(7.5), "7.5 A"),
        (lambda words: words.rating(125.0), "125 A"),
        (lambda words: words.voltage(12.151), "12.15 V"),
        (lambda words: words.voltage(0.280978), "281 mV"),
        (lambda words: words.voltage(0.00304), "3.0 mV"),
        (lambda words: words.voltage(0.0, 0.00304), "0.0 mV"),
        (lambda words: words.voltage(0.36, 1.0), "0.36 V"),
        (lambda words: words.power(98.8789), "99 W"),
        (lambda words: words.power(154.926), "150 W"),
        (lambda words: words.power(0.0), "0 W"),
        (lambda words: words.power(4.04), "4.0 W"),
        (lambda words: words.quantity("100"), "100"),
        (lambda words: words.quantity("5.200"), "5.2"),
        (lambda words: words.quantity("1E+3"), "1,000"),
    ],
)
def test_digits_are_those_that_mean_something(said, text):
    assert said(words_of()).replace("\u00a0", " ") == text


@given(st.floats(-1e6, 1e6), st.integers(0, 4))
def test_numbers_are_rounded_in_decimal(value, places):
    words = words_of("de")
    read = parse_decimal(words.number(value, places), locale="de_DE")
    assert abs(read - Decimal(repr(value))) <= Decimal(5).scaleb(-places - 1)
