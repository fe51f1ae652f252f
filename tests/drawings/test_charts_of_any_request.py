"""Charts of drawn requests and of every demo job: sound whatever is asked, and never a failure."""

import pytest
from chart_reader import SVG, assert_sound
from hypothesis import given, settings
from lxml import etree

from drawn_requests import CHARTS, answer_of, client, requests_of
from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from loomwright.jobs.plan.alternatives import PLAN_NAMES
from loomwright.web.examples import EXAMPLES

OPERATIONS = (*CHARTS, "draw-voltage-path")


def drawn(operation, request):
    response = answer_of(operation, request)
    assert response.status_code == 200, response.get_data(as_text=True)
    assert response.content_type == "image/svg+xml"
    return response.get_data(as_text=True)


@pytest.mark.parametrize("operation", CHARTS)
def test_examples_and_requests_of_the_calculator_are_drawn_soundly(operation):
    for body in EXAMPLES[CHARTS[operation]].values():
        assert_sound(drawn(operation, body))


@pytest.mark.parametrize("name", DEMO_JOBS)
@pytest.mark.parametrize("plan", PLAN_NAMES)
def test_every_circuit_of_every_demo_job_is_drawn_soundly(name, plan):
    job = demo_job(name)
    for circuit in job["circuits"]:
        chart = assert_sound(
            drawn("draw-voltage-path", {"job": job, "plan": plan, "circuit": circuit["key"]})
        )
        assert circuit["key"] in chart.description


@pytest.mark.parametrize("operation", OPERATIONS)
def test_any_request_is_drawn_soundly(operation):
    count = 0

    @settings(max_examples=150)
    @given(requests_of(operation))
    def sound(request):
        nonlocal count
        response = answer_of(operation, request)
        if response.status_code == 200:
            count += 1
            svg = response.get_data(as_text=True)
            assert_sound(svg)
            assert answer_of(operation, request).get_data(as_text=True) == svg
        else:
            assert response.status_code == 422, response.get_json()

    sound()
    assert count >= 75


def test_texts_of_a_request_are_no_markup():
    job = demo_job("combustion_car")
    hostile = "</text><script>alert(1)</script>&amp;\"'<!--"
    job["circuits"][0]["description"] = hostile
    job["circuits"][0]["key"] = "a<b>&\"'"
    job["equipment"][0]["circuit"] = "a<b>&\"'"
    chart = assert_sound(drawn("draw-voltage-path", {"job": job}))
    assert hostile in chart.title
    assert not list(chart.root.iter(f"{SVG}script"))
    assert not [node for node in chart.root.iter() if isinstance(node, etree._Comment)]


def test_drawings_are_the_same_in_another_service():
    for operation in CHARTS:
        body = next(iter(EXAMPLES[operation].values()))
        first = client().post(f"/v1/{operation}", json=body).get_data()
        answer_of("draw-voltage-path", {"job": demo_job("truck_24v")})
        assert client().post(f"/v1/{operation}", json=body).get_data() == first
