"""Words and figures of a document, in its language and its units.

Money is set from the decimal text of the answer, with the digits that stand there; it never passes
through a float. Quantities are converted by ``loomwright.units`` alone.
"""

from collections.abc import Mapping
from datetime import date, datetime
from decimal import ROUND_HALF_EVEN, Decimal
from functools import cache
from math import floor, log10

from babel import Locale
from babel.dates import format_date, format_time
from babel.numbers import format_currency, format_percent, get_currency_symbol
from babel.units import format_unit

from loomwright.documents.catalogue import catalogue
from loomwright.documents.options import METRIC, US, DocumentOptions
from loomwright.drawings.wording import Wording
from loomwright.units import LENGTH, TEMPERATURE, TORQUE, QuantityKind

# How dates and figures are written where a language is asked for.
_LOCALES: Mapping[tuple[str, str], str] = {
    ("en", METRIC): "en_GB",
    ("en", US): "en_US",
    ("de", METRIC): "de_DE",
    ("de", US): "de_DE",
    ("es", METRIC): "es_ES",
    ("es", US): "es_ES",
}
PAPERS: Mapping[str, str] = {METRIC: "a4", US: "us-letter"}
# Joins a figure to its unit, so that no line ends between them.
JOIN = "\u00a0"
# Stands where there is nothing to state; a multiplication sign.
NOTHING, TIMES = "\u2013", "\u00d7"
_DIGITS_OF_PATTERN = "#,##0"
# From here on a torque is read in pound-force feet.
_LEAST_LBF_FT = 20.0


class Words:
    """What a document says in one language and one system of units.

    Parameters
    ----------
    options
        Language and units.
    """

    def __init__(self, options: DocumentOptions) -> None:
        self.language, self.units = options.language, options.units
        self.paper = PAPERS[options.units]
        self.locale = _locale(_LOCALES[options.language, options.units])
        self._signs = _signs(_LOCALES[options.language, options.units])
        self._texts = catalogue(options.language)

    def say(self, text: str, **values: str) -> str:
        """Return an English text in the language of the document.

        Parameters
        ----------
        text
            Such as ``"Page {page}"``; one that the catalogue lacks stays as it is, which no text of
            this package does.
        **values
            What stands in its placeholders.

        Returns
        -------
        str
            Plain text.
        """
        found = self._texts.get(text, text)
        return found.format(**values) if values else found

    def of_drawings(self) -> Wording:
        """Return how a drawing in the document says what it shows."""
        return Wording(self._texts, self.exact(Decimal("0.1"))[1], self.length)

    # --- money and numbers ---

    def amount(self, text: str) -> str:
        """Return an amount of money without its currency, with the digits that it has."""
        return self.exact(Decimal(text))

    def money(self, text: str, currency: str) -> str:
        """Return an amount of money with its currency.

        Parameters
        ----------
        text
            Decimal number.
        currency
            ISO 4217 code.

        Returns
        -------
        str
            Such as ``"€705.16"``.
        """
        amount = Decimal(text)
        pattern = self.locale.currency_formats["standard"].pattern
        digits = _pattern_of(_places_of(amount))
        stated = pattern.replace(f"{_DIGITS_OF_PATTERN}.00", digits)
        if get_currency_symbol(currency, locale=self.locale)[-1].isalpha():
            # As Unicode's CLDR asks for between letters and digits, which the library leaves out.
            stated = stated.replace(f"¤{_DIGITS_OF_PATTERN}", f"¤{JOIN}{_DIGITS_OF_PATTERN}")
        return format_currency(
            amount, currency, format=stated, locale=self.locale, currency_digits=False
        )

    def exact(self, number: Decimal) -> str:
        """Return a decimal number with all its digits."""
        # As Babel sets it by such a pattern, which it takes apart anew for each number.
        return format(number, f",.{_places_of(number)}f").translate(self._signs)

    def quantity(self, text: str) -> str:
        """Return a decimal number without zeros at its end."""
        number = Decimal(text).normalize()
        return self.exact(number if _places_of(number) else number.quantize(Decimal(1)))

    def number(self, value: float, places: int) -> str:
        """Return a number rounded half to even in decimal.

        Parameters
        ----------
        value
            Any finite number.
        places
            Decimal places, 0 or more.

        Returns
        -------
        str
            With as many places, also where they are zeros.
        """
        step = Decimal(1).scaleb(-places)
        return self.exact(Decimal(repr(float(value))).quantize(step, ROUND_HALF_EVEN))

    def percent(self, text: str) -> str:
        """Return a rate in per cent, stated as a decimal number of per cent."""
        rate = Decimal(text)
        pattern = self.locale.percent_formats[None].pattern
        stated = pattern.replace(_DIGITS_OF_PATTERN, _pattern_of(_places_of(rate)))
        return format_percent(rate / 100, format=stated, locale=self.locale)

    # --- time ---

    def day(self, text: str) -> str:
        """Return a day of ISO 8601 as it is written out."""
        return format_date(date.fromisoformat(text), "long", locale=self.locale)

    def instant(self, text: str) -> str:
        """Return day and time of ISO 8601 by the clock of the place that they state."""
        moment = datetime.fromisoformat(text).replace(tzinfo=None)
        at = format_time(moment, "short", locale=self.locale)
        return f"{format_date(moment, 'long', locale=self.locale)}, {at}"

    def duration(self, text: str) -> str:
        """Return a duration of hours and minutes, such as ``"PT4H30M"``."""
        hours, _, rest = text.removeprefix("PT").rpartition("H")
        parts = {"duration-hour": hours, "duration-minute": rest.removesuffix("M")}
        stated = {unit: int(count) for unit, count in parts.items() if count}
        return " ".join(
            format_unit(count, unit, length="short", locale=self.locale).replace(" ", JOIN)
            for unit, count in stated.items()
        )

    # --- quantities ---

    def _in(self, kind: QuantityKind, unit: str, si: float, places: int, sign: str) -> str:
        return f"{self.number(kind.number_in(unit, si), places)}{JOIN}{sign}"

    def length(self, length_m: float) -> str:
        """Return a length of conductor [m], in metres or feet."""
        if self.units == US:
            return self._in(LENGTH, "ft", length_m, 1, "ft")
        return self._in(LENGTH, "m", length_m, 2, "m")

    def small_length(self, length_m: float) -> str:
        """Return a length of a hand's breadth at most [m], in millimetres or inches."""
        unit, places = ("in", 2) if self.units == US else ("mm", 1)
        found = f"{LENGTH.number_in(unit, length_m):.{places}f}"
        return f"{self.quantity(found)}{JOIN}{unit}"

    def temperature(self, temperature_k: float) -> str:
        """Return a temperature [K], in whole degrees Celsius or Fahrenheit."""
        if self.units == US:
            return self._in(TEMPERATURE, "degF", temperature_k, 0, "°F")
        return self._in(TEMPERATURE, "degC", temperature_k, 0, "°C")

    def torque(self, torque_n_m: float) -> str:
        """Return a torque [N m] to three digits at most, in N·m, lbf·in or lbf·ft."""
        unit, sign = "N m", "N·m"
        if self.units == US:
            unit, sign = (
                ("lbf ft", "lbf·ft") if torque_n_m >= _LEAST_LBF_FT else ("lbf in", "lbf·in")
            )
        found = TORQUE.number_in(unit, torque_n_m)
        return self._in(TORQUE, unit, torque_n_m, 1 if found < 20.0 else 0, sign)

    def section(self, size: str) -> str:
        """Return a size of conductor by its name in the tables.

        A gauge stays a gauge and a section a section in either system of units: the other is what
        nobody sells.
        """
        number, space, unit = size.rpartition(" ")
        if unit == "AWG" and space:
            return f"{number}{JOIN}AWG"
        if unit == "mm2" and space:
            series, gap, figure = number.rpartition(" ")
            return f"{series}{gap and JOIN}{self.quantity(figure)}{JOIN}mm²"
        return size

    def current(self, current_a: float, like_a: float | None = None) -> str:
        """Return a current [A].

        Parameters
        ----------
        current_a
            Any.
        like_a
            Whose places it takes; its own without.

        Returns
        -------
        str
            Below 10 A to two decimal places, below 100 A to one.
        """
        size = abs(current_a if like_a is None else like_a)
        places = 2 if size < 10.0 else 1 if size < 100.0 else 0
        return f"{self.number(current_a, places)}{JOIN}A"

    def rating(self, current_a: float) -> str:
        """Return the rated current of a fuse [A] as it stands on the fuse."""
        return f"{self.quantity(repr(float(current_a)))}{JOIN}A"

    def voltage(self, voltage_v: float, like_v: float | None = None) -> str:
        """Return a voltage [V], below 1 V in millivolts.

        Parameters
        ----------
        voltage_v
            Any.
        like_v
            Whose unit and places it takes, so that several compare at a glance; its own without.

        Returns
        -------
        str
            Volts to two decimal places, millivolts to three digits at most.
        """
        size = abs(voltage_v if like_v is None else like_v)
        if size >= 1.0:
            return f"{self.number(voltage_v, 2)}{JOIN}V"
        places = 1 if size < 0.01 else 0
        return f"{self.number(1e3 * voltage_v, places)}{JOIN}mV"

    def power(self, power_w: float) -> str:
        """Return a power [W] to two significant digits; an estimate is worth no more."""
        if 0.0 < power_w < 10.0:
            return f"{self.number(power_w, 1)}{JOIN}W"
        step = 10.0 ** max(0, floor(log10(power_w)) - 1) if power_w else 1.0
        return f"{self.number(round(power_w / step) * step, 0)}{JOIN}W"


@cache
def _locale(name: str) -> Locale:
    return Locale.parse(name)


@cache
def _signs(name: str) -> dict[int, str]:
    """Return the signs in the numbers of a locale by those of Python."""
    symbols = _locale(name).number_symbols["latn"]
    return str.maketrans(
        {",": symbols["group"], ".": symbols["decimal"], "-": symbols["minusSign"]}
    )


def _places_of(number: Decimal) -> int:
    exponent = number.as_tuple().exponent
    assert isinstance(exponent, int), "a number of an answer is finite"
    return max(0, -exponent)


def _pattern_of(places: int) -> str:
    return f"{_DIGITS_OF_PATTERN}.{'0' * places}" if places else _DIGITS_OF_PATTERN
