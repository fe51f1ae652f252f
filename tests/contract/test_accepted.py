"""What the schema accepts, the service answers.

``schemathesis.toml`` lets a valid request be refused with 422, as quantity text can be out of range
and some values are only wrong together. Here requests are numbers in range only, and each refusal
must be one of the named values that are wrong together.
"""

import re
from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drawn_requests import (
    CHARTS,
    DOCUMENT_OPERATIONS,
    ENGINEERING_OPERATIONS,
    answer_of,
    component,
    number_form,
    request_name,
    requests_of,
    validator,
)

# Values that JSON Schema holds for possible and that are wrong only together: code and the place
# that the problem names.
WRONG_IN_A_JOB = {
    ("invalid_request", r"/job/power_sources/\d+/source_voltage"),
    ("invalid_request", r"/job/circuits/\d+/allowed_voltage_drop_percent"),
    ("invalid_request", r"/job/equipment/\d+/amplifier/measured_efficiency"),
    # The supply and the signal path of a job against another system voltage.
    ("invalid_request", r"/job/(supply|signal)/.*"),
    ("ambient_not_below_rating", r"/job/circuits/\d+/route/\d+/ambient_temperature"),
}
WRONG_TOGETHER = {
    "size-conductor": {
        ("ambient_not_below_rating", r"(/route/\d+)?/ambient_temperature"),
    },
    "size-fuse": {
        ("ambient_not_below_rating", r"(/route/\d+)?/ambient_temperature"),
        # Open-circuit voltage against that of the cold-cranking test.
        ("emf_below_cranking_voltage", r"/source_voltage"),
    },
    "estimate-real-output": {
        # Above the theoretical maximum of the class.
        ("invalid_request", r"/measured_efficiency"),
    },
    "match-load-impedance": {
        # Unlike drivers in more ways than are looked at.
        ("too_many_wirings", r"/drivers"),
    },
    "assess-supply": {
        # Set voltage and test voltage against the system voltage.
        ("invalid_request", r"/supply/(set_voltage|alternator/designation)"),
        # The order of speeds, outputs and charges, and a drop that leaves nothing.
        ("invalid_request", r"/supply/alternator/(cruise|greatest_idle)_speed"),
        (
            "invalid_request",
            r"/supply/alternator/output_curve/\d+/(alternator_speed|output_current)",
        ),
        ("invalid_request", r"/loads/\d+/voltage_drop"),
    },
    "solve-network": {
        # Ambient against the rating of the insulation.
        ("invalid_request", r"/branches/\d+/conductor/route/\d+/ambient_temperature"),
    },
    "build-bill-of-materials": WRONG_IN_A_JOB
    | {
        # Open-circuit voltage against the system voltage.
        ("invalid_request", r"/job/power_sources/\d+/source_voltage"),
        # The drops along a chain of circuits.
        ("invalid_request", r"/job/circuits/\d+/allowed_voltage_drop_percent"),
        ("ambient_not_below_rating", r"/job/circuits/\d+/route/\d+/ambient_temperature"),
    },
    "check-measurements": WRONG_IN_A_JOB
    | {
        ("invalid_request", r"/job/power_sources/\d+/source_voltage"),
        ("ambient_not_below_rating", r"/job/circuits/\d+/route/\d+/ambient_temperature"),
        # No conductor of the series meets what the drawn numbers ask for.
        ("circuit_not_sized", r"/job/circuits/\d+"),
        # All loads together ask for more than the source delivers.
        ("no_operating_point", r"/job"),
    },
    # These requests are that of a bill.
    "build-work-order": WRONG_IN_A_JOB,
    "plan-installation": WRONG_IN_A_JOB,
    "draw-installation": WRONG_IN_A_JOB,
    "draw-voltage-path": WRONG_IN_A_JOB,
    # What is wrong with a package or a vehicle is told in its rows.
    "price-packages": set(),
    "check-price-book": {
        ("invalid_request", r"/jobs/\d+/power_sources/\d+/source_voltage"),
        ("invalid_request", r"/jobs/\d+/(supply|signal)/.*"),
        ("invalid_request", r"/jobs/\d+/equipment/\d+/amplifier/measured_efficiency"),
        ("invalid_request", r"/jobs/\d+/circuits/\d+/allowed_voltage_drop_percent"),
        ("ambient_not_below_rating", r"/jobs/\d+/circuits/\d+/route/\d+/ambient_temperature"),
    },
}


# Charts take the requests of what they draw.
WRONG_TOGETHER |= {chart: WRONG_TOGETHER[operation] for chart, operation in CHARTS.items()}
ENGINEERING = (*ENGINEERING_OPERATIONS, *CHARTS)


def refusals(response, operation):
    """Return code and place of each fault that is none of those wrong only together."""
    problem = response.get_json()
    found = [(problem["code"], error["pointer"]) for error in problem["errors"]]
    assert found, problem
    return [
        (code, pointer)
        for code, pointer in found
        if not any(
            code == known and re.fullmatch(place, pointer)
            for known, place in WRONG_TOGETHER[operation]
        )
    ]


@pytest.mark.parametrize("operation", [*ENGINEERING, *DOCUMENT_OPERATIONS])
def test_request_in_range_is_answered(operation):
    statuses = Counter()
    fields = set()

    @settings(max_examples=300)
    @given(requests_of(operation))
    def answered(request):
        # First the drawing itself: it must be what the schema accepts.
        validator(request_name(operation)).validate(request)
        fields.update(request)
        response = answer_of(operation, request)
        statuses[response.status_code] += 1
        if response.status_code != 200:
            assert response.status_code == 422, response.get_json()
            assert refusals(response, operation) == [], response.get_json()

    answered()
    # Enough of them that it says something of answers, too.
    assert statuses[200] > 0.4 * statuses.total(), statuses
    if operation in ENGINEERING:
        assert fields == set(component(request_name(operation))["properties"])


@pytest.mark.parametrize("operation", ENGINEERING)
def test_each_end_of_each_range_is_answered(operation):
    """A bound belongs to its range: no model may start above it or end below it."""
    forms = {
        name: number_form(schema)
        for name, schema in component(request_name(operation))["properties"].items()
    }
    ends = {name: (form["minimum"], form["maximum"]) for name, form in forms.items() if form}
    seen = Counter()

    @settings(max_examples=400)
    @given(requests_of(operation), st.data())
    def answered(request, data):
        for name in sorted(ends.keys() & request.keys()):
            request[name] = data.draw(st.sampled_from(ends[name]))
            seen[name, request[name]] += 1
        response = answer_of(operation, request)
        if response.status_code != 200:
            assert refusals(response, operation) == [], response.get_json()

    answered()
    assert set(seen) == {(name, end) for name, both in ends.items() for end in both}
