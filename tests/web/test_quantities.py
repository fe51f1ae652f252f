"""The fields of requests: what each takes, what it loads, and what its JSON Schema says of it."""

import math

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st
from marshmallow import ValidationError

from loomwright.units import CURRENT, GREATEST_TEXT_LENGTH, LENGTH, TEMPERATURE, TIME
from loomwright.web.quantities import (
    Flag,
    Key,
    KeyList,
    PlainNumber,
    Quantity,
    QuantityList,
    Text,
    WholeNumber,
)

LENGTH_FIELD = Quantity(LENGTH, 0.01, 100.0)
TEMPERATURE_FIELD = Quantity(TEMPERATURE, -40.0, 150.0)
FIELDS = {
    "quantity": LENGTH_FIELD,
    "temperature": TEMPERATURE_FIELD,
    "quantity list": QuantityList(CURRENT, 0.05, 2000.0, 3),
    "plain number": PlainNumber(0.1, 50.0),
    "whole number": WholeNumber(0, 50),
    "key": Key(("awg", "sae")),
    "key list": KeyList(("awg", "sae", "metric")),
    "flag": Flag(),
    "text": Text(5),
}
ANY_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=3), inner),
    max_leaves=6,
) | st.sampled_from(["5 m", "5 ft", "5 A", "awg", ["awg"], ["awg", "awg"], 5.0, [5, "5 A"], "5 K"])


def refused(field, value):
    with pytest.raises(ValidationError) as caught:
        field.loaded(value)
    return caught.value.messages


@pytest.mark.parametrize(
    ("value", "metres"),
    [
        (5, 5.0),
        (5.5, 5.5),
        (100, 100.0),
        (0.01, 0.01),
        ("5 m", 5.0),
        ("5m", 5.0),
        ("+5 m", 5.0),
        (".5 m", 0.5),
        ("5e-1 m", 0.5),
        ("550 cm", 5.5),
        ("5500 mm", 5.5),
        # NIST SP 811 (2008), B.8: exact.
        ("16 ft", 4.8768),
        ("12 in", 0.3048),
    ],
)
def test_length_is_loaded_in_metres(value, metres):
    loaded = LENGTH_FIELD.loaded(value)
    assert loaded == pytest.approx(metres, rel=1e-15)
    assert isinstance(loaded, float)


@pytest.mark.parametrize(
    ("value", "kelvin"),
    [
        (0, 273.15),
        (-40, 233.15),
        ("-40 degC", 233.15),
        ("-40 degF", 233.15),
        ("233.15 K", 233.15),
        (150, 423.15),
        ("302 degF", 423.15),
        ("77 degF", 298.15),
    ],
)
def test_temperature_is_loaded_as_the_nearest_float(value, kelvin):
    assert TEMPERATURE_FIELD.loaded(value) == kelvin


@pytest.mark.parametrize("value", [True, False, None, [], {}, [5], {"m": 5}])
def test_other_json_is_no_quantity(value):
    (message,) = refused(LENGTH_FIELD, value)
    assert message


@pytest.mark.parametrize(
    "value", [0, 0.00999, 100.001, -5, 1e308, -1e308, 10**400, -(10**400), math.inf, -math.inf]
)
def test_number_out_of_range_is_refused(value):
    (message,) = refused(LENGTH_FIELD, value)
    assert message.startswith("out of range; give a number in m from 0.01 to 100")


def test_nan_is_refused():
    refused(LENGTH_FIELD, math.nan)
    refused(PlainNumber(0.0, 1.0), math.nan)
    refused(WholeNumber(0, 1), math.nan)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "5",
        "m",
        "5 A",
        "5 M",
        "5 metres",
        "5  m",
        "5\tm",
        " 5 m",
        "5 m ",
        "5 m\n",
        "5.m",
        "0x5 m",
        "nan m",
        "inf m",
        "1e1000 m",
        "5 mb",
        "5 ft 3 in",
        "5 m*m",
        "\u0665 m",
    ],
)
def test_other_text_is_no_quantity(text):
    (message,) = refused(LENGTH_FIELD, text)
    assert message.startswith("not a quantity; give a number in m")
    assert message.endswith("with one of the units m, cm, mm, ft, in")


@pytest.mark.parametrize("text", ["1e400 m", "-1e400 m", "1e999 ft", "0.9 cm", "329 ft"])
def test_text_out_of_range_is_refused(text):
    assert refused(LENGTH_FIELD, text)[0].startswith("out of range")


def test_text_has_a_greatest_length():
    fits = "0" * (GREATEST_TEXT_LENGTH - 3) + "5 m"
    assert LENGTH_FIELD.loaded(fits) == 5.0
    assert refused(LENGTH_FIELD, "0" + fits)[0].startswith("not a quantity")


@pytest.mark.parametrize(
    ("field", "texts"),
    [
        (LENGTH_FIELD, ["1 cm", "10 mm", "10000 cm", "100000 mm"]),
        (Quantity(TIME, 0.001, 86400.0), ["1 ms", "86400000 ms", "1440 min", "24 h"]),
        (Quantity(LENGTH, 0.0, 0.3048), ["1 ft", "12 in", "304.8 mm"]),
        (TEMPERATURE_FIELD, ["-40 degF", "302 degF", "233.15 K", "423.15 K"]),
    ],
)
def test_bound_belongs_to_the_range_in_each_unit(field, texts):
    for text in texts:
        field.loaded(text)


@given(st.floats(0.01, 100.0))
def test_number_and_its_text_load_the_same(value):
    assert LENGTH_FIELD.loaded(f"{value!r} m") == LENGTH_FIELD.loaded(value) == value


@given(st.floats(-40.0, 150.0))
def test_temperature_keeps_nine_digits(value):
    assert TEMPERATURE_FIELD.loaded(value) == pytest.approx(value + 273.15, abs=1e-9)


def test_list_names_each_fault_by_its_place():
    field = FIELDS["quantity list"]
    assert field.loaded([5, "500 mA"]) == [5.0, 0.5]
    faults = refused(field, [5, True, "x"])
    assert sorted(faults) == [1, 2]
    for value in ([], [1, 2, 3, 4], "5 A", 5, {"0": 5}):
        assert refused(field, value) == ["give a list of 1 to 3 quantities"]


def test_plain_number_and_whole_number_refuse_other_json():
    number, whole = FIELDS["plain number"], FIELDS["whole number"]
    assert number.loaded(1) == 1.0
    assert isinstance(number.loaded(1), float)
    assert whole.loaded(5.0) == 5
    assert isinstance(whole.loaded(5.0), int)
    for value in (True, "5", None, [5], 51, -1, math.inf, 10**400):
        refused(number, value)
        refused(whole, value)
    refused(whole, 5.5)


def test_key_and_its_list():
    assert FIELDS["key"].loaded("awg") == "awg"
    for value in ("AWG", "", 5, True, ["awg"], {"awg": 1}):
        assert refused(FIELDS["key"], value) == ["give one of: awg, sae"]
    assert FIELDS["key list"].loaded(["sae", "awg"]) == ["sae", "awg"]
    for value in ([], ["sae", "sae"], "sae", ["x"], [["sae"]], [True], {"sae": 1}):
        refused(FIELDS["key list"], value)


def test_flag_and_text():
    assert FIELDS["flag"].loaded(False) is False
    for value in (0, 1, "true", []):
        assert refused(FIELDS["flag"], value) == ["give true or false"]
    assert FIELDS["text"].loaded("kühl") == "kühl"
    for value in ("", "sixsix", "a\n", "\x00", 5, True):
        refused(FIELDS["text"], value)


@pytest.mark.parametrize("name", FIELDS)
def test_schema_is_itself_valid(name):
    jsonschema.Draft202012Validator.check_schema(FIELDS[name].json_schema())


@pytest.mark.parametrize("name", [name for name in FIELDS if name != "text"])
def test_field_takes_no_more_than_its_schema_and_no_less(name):
    """Text of a quantity may be of the right form and out of range, which no schema can say."""
    field = FIELDS[name]
    schema = jsonschema.Draft202012Validator(field.json_schema())

    @given(ANY_JSON)
    def agree(value):
        if value is None:
            # A field may be left out, not null.
            assert not schema.is_valid(value)
            return
        try:
            field.loaded(value)
        except ValidationError as error:
            out_of_range = "out of range" in str(error.messages)
            assert not schema.is_valid(value) or out_of_range, value
        else:
            assert schema.is_valid(value), value

    agree()
