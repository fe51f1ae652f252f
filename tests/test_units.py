"""Units at the door: every factor against its exact definition, and what the door lets in."""

import math
import re
from fractions import Fraction

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from loomwright import units
from loomwright.units import KINDS

# Coherent SI = number x factor + offset. Exact by definition: NIST SP 811 (2008) Appendix B
# (international foot and inch, degree Fahrenheit), BIPM SI brochure (prefixes, minute, hour).
DEFINITIONS = {
    "length": {
        "m": (1, 0),
        "cm": (Fraction(1, 100), 0),
        "mm": (Fraction(1, 1000), 0),
        "ft": (Fraction("0.3048"), 0),
        "in": (Fraction("0.0254"), 0),
    },
    "current": {"A": (1, 0), "mA": (Fraction(1, 1000), 0)},
    "voltage": {"V": (1, 0), "mV": (Fraction(1, 1000), 0)},
    "power": {"W": (1, 0), "mW": (Fraction(1, 1000), 0), "kW": (1000, 0)},
    "resistance": {"ohm": (1, 0), "mohm": (Fraction(1, 1000), 0)},
    "impedance": {"ohm": (1, 0)},
    "temperature": {
        "degC": (1, Fraction("273.15")),
        "degF": (Fraction(5, 9), Fraction("459.67") * Fraction(5, 9)),
        "K": (1, 0),
    },
    "time": {"s": (1, 0), "ms": (Fraction(1, 1000), 0), "min": (60, 0), "h": (3600, 0)},
    "charge": {"Ah": (3600, 0), "mAh": (Fraction(36, 10), 0)},
    # Revolutions are counted: one a minute is 1/60 of one a second.
    "shaft_speed": {"rpm": (Fraction(1, 60), 0)},
}
EVERY_UNIT = [
    pytest.param(KINDS[kind], unit, *definition, id=f"{kind}-{unit}")
    for kind, listed in DEFINITIONS.items()
    for unit, definition in listed.items()
]
EVERY_KIND = [pytest.param(kind, id=key) for key, kind in KINDS.items()]
NUMBERS = ["0", "1", "-1", "+2.5", "16", ".5", "0.001", "77", "1e3", "1E-3", "2.5e+02", "-40"]


def test_no_kind_or_unit_is_without_a_definition():
    assert {key: set(kind.units) for key, kind in KINDS.items()} == {
        key: set(listed) for key, listed in DEFINITIONS.items()
    }


@pytest.mark.parametrize(("kind", "unit", "factor", "offset"), EVERY_UNIT)
@pytest.mark.parametrize("number", NUMBERS)
def test_text_is_converted_by_the_exact_definition(kind, unit, factor, offset, number):
    exact = Fraction(number) * factor + offset
    assert kind.si_of_text(f"{number} {unit}") == pytest.approx(float(exact), rel=4e-16, abs=1e-13)
    assert kind.si_of_text(f"{number}{unit}") == kind.si_of_text(f"{number} {unit}")


@pytest.mark.parametrize(("kind", "unit", "factor", "offset"), EVERY_UNIT)
def test_one_unit_is_the_nearest_float_of_its_definition(kind, unit, factor, offset):
    value = kind.si_of_text(f"1 {unit}")
    exact = float(factor + offset)
    assert value == exact or abs(value - exact) <= math.ulp(exact)


@pytest.mark.parametrize("kind", EVERY_KIND)
def test_number_is_in_the_stated_unit(kind):
    assert kind.stated_unit in kind.units
    for number in NUMBERS:
        assert kind.si_of_number(float(number)) == kind.si_of_text(f"{number} {kind.stated_unit}")


def test_stated_unit_may_be_another_than_the_coherent_one():
    # NIST SP 811 (2008) Appendix B.8: foot 0.3048 m, degree Fahrenheit (t + 459.67)/1.8 kelvin.
    in_feet = units._kind("length", "metre", "ft", {"ft": "foot"})
    assert in_feet.si_of_number(10.0) == pytest.approx(3.048, rel=1e-15)
    assert in_feet.number_of_si(3.048) == pytest.approx(10.0, rel=1e-15)
    in_fahrenheit = units._kind("temperature", "kelvin", "degF", {"degF": "degF"})
    assert in_fahrenheit.si_of_number(212.0) == pytest.approx(373.15, rel=1e-15)
    assert in_fahrenheit.number_of_si(373.15) == pytest.approx(212.0, rel=1e-13)


@given(kind=st.sampled_from(list(KINDS.values())), value=st.floats(-1e6, 1e6))
def test_number_survives_the_way_there_and_back(kind, value):
    assert kind.number_of_si(kind.si_of_number(value)) == pytest.approx(value, rel=1e-12, abs=1e-9)


@pytest.mark.parametrize(
    ("kind", "same"),
    [
        ("length", ["16 ft", "192 in", "4.8768 m", "487.68 cm", "4876.8 mm"]),
        ("current", ["25 A", "25000 mA", "2.5e1 A"]),
        ("voltage", ["14.4 V", "14400 mV"]),
        ("power", ["1.5 kW", "1500 W", "1500000 mW"]),
        ("resistance", ["0.005 ohm", "5 mohm"]),
        ("temperature", ["77 degF", "25 degC", "298.15 K"]),
        ("time", ["1.5 h", "90 min", "5400 s", "5400000 ms"]),
    ],
)
def test_same_quantity_in_every_unit_is_one_value(kind, same):
    values = [KINDS[kind].si_of_text(text) for text in same]
    assert values == pytest.approx([values[0]] * len(values), rel=1e-14)


REFUSED = [
    "",
    " ",
    "m",
    "5",
    "1 mb",
    "5,5 m",
    "5 m2",
    "5 m^2",
    "NaN m",
    "nan m",
    "inf m",
    "Infinity m",
    "5 M",
    "5 Ft",
    "5  m",
    " 5 m",
    "5 m ",
    "5 m\n",
    "5\tm",
    "5\nm",
    "5\u00a0m",
    "\u0665 m",
    "\uff15 m",
    "5 \u00b5m",
    "1_0 m",
    "0x10 m",
    "5. m",
    ". m",
    "--5 m",
    "5e m",
    "5e1000 m",
    "5 m; 6 m",
    "5 * m",
    "5 km/h",
    "5 m m",
    "5 furlong",
    "1/2 m",
    "\u00bd m",
]


@pytest.mark.parametrize("text", REFUSED, ids=ascii)
def test_malformed_text_is_refused(text):
    kind = KINDS["length"]
    assert kind.si_of_text(text) is None
    if not text.endswith("\n"):  # Python's $ lets one newline pass, that of ECMA 262 does not
        assert re.search(kind.pattern, text) is None


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        ("current", "5 m"),
        ("length", "5 A"),
        ("length", "5 min"),
        ("time", "5 m"),
        ("temperature", "5 C"),
        ("temperature", "5 F"),
        ("temperature", "5 delta_degC"),
        ("power", "5 MW"),
        ("power", "5 hp"),
        ("resistance", "5 Mohm"),
    ],
)
def test_unit_of_another_quantity_is_refused(kind, text):
    assert KINDS[kind].si_of_text(text) is None


@pytest.mark.parametrize("kind", EVERY_KIND)
@pytest.mark.parametrize(("number", "sign"), [("9e999", 1.0), ("-9e999", -1.0), ("1" * 400, 1.0)])
def test_number_too_great_for_a_float_is_infinite(kind, number, sign):
    for unit in kind.units:
        assert kind.si_of_text(f"{number} {unit}") == sign * math.inf


@pytest.mark.parametrize("kind", EVERY_KIND)
def test_vanishing_number_is_zero_or_the_offset(kind):
    for unit in kind.units:
        assert kind.si_of_text(f"1e-999 {unit}") == kind.si_of_text(f"0 {unit}")


@given(
    kind=st.sampled_from(list(KINDS.values())),
    text=st.one_of(
        st.text(max_size=12),
        st.text("+-.eE0123456789 mcftinAVWkohdgCFKsmh\n\u0665", max_size=12),
        st.from_regex(r"[+-]?[0-9]{0,3}(\.[0-9]{0,2})?([eE][+-]?[0-9]{0,4})? ?[a-zA-Z]{0,4}\n?"),
    ),
)
@example(kind=KINDS["length"], text="5 m\n")
@example(kind=KINDS["length"], text="\u0665 m")
def test_pattern_accepts_what_is_read(kind, text):
    # The pattern as ECMA 262 reads it: $ is the end, with no newline left over.
    accepted = re.search(kind.pattern.removesuffix("$") + r"\Z", text) is not None
    assert accepted == (kind.si_of_text(text) is not None)


@given(data=st.data(), kind=st.sampled_from(list(KINDS.values())))
def test_text_made_from_the_pattern_is_read(data, kind):
    text = data.draw(st.from_regex(kind.pattern, fullmatch=True))
    assert text.endswith("\n") or kind.si_of_text(text) is not None


@pytest.mark.parametrize("kind", EVERY_KIND)
def test_pattern_is_plain_ecma_262(kind):
    assert kind.pattern.startswith("^")
    assert kind.pattern.endswith("$")
    for construct in (r"\Z", r"\A", "(?P", "(?i", "\\d", "\\w"):
        assert construct not in kind.pattern


def test_reading_touches_no_pint_object(monkeypatch):
    def unusable(*_arguments, **_keywords):
        raise AssertionError("a Pint object on the request path")

    for name in ("Quantity", "Unit", "parse_expression", "parse_units", "convert", "__getattr__"):
        monkeypatch.setattr(type(units._REGISTRY), name, unusable, raising=False)
    monkeypatch.setattr(units.pint, "UnitRegistry", unusable)
    monkeypatch.setattr(units.pint, "Quantity", unusable)
    for key, listed in DEFINITIONS.items():
        kind = KINDS[key]
        for unit in listed:
            assert type(kind.si_of_text(f"1.5 {unit}")) is float
        assert type(kind.si_of_number(1.5)) is float
        assert type(kind.number_of_si(1.5)) is float
    with pytest.raises(AssertionError, match="request path"):
        units._REGISTRY.Quantity(1, "metre")


def test_a_kind_shows_its_name_and_units_and_not_its_workings():
    # It stands in the traces and messages that people read.
    assert repr(KINDS["current"]) == (
        "QuantityKind(key='current', stated_unit='A', units=('A', 'mA'))"
    )
