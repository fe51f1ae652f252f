"""The operations that draw, over HTTP: forms, queries, HEAD, refusals, and what a page embeds."""

import gzip

import pytest

from drawn_requests import CHARTS, answer_name, client, query_of, validator
from loomwright.jobs.demo_library import demo_job
from loomwright.web.examples import EXAMPLES
from loomwright.web.forms.registry import FORMS_BY_OPERATION
from loomwright.web.operations import OPERATIONS

SVG = "image/svg+xml"
DRAWINGS = (*CHARTS, "draw-voltage-path")
BROWSER = "image/avif,image/webp,image/apng,image/svg+xml,image/*,*/*;q=0.8"


def body_of(operation):
    if operation in EXAMPLES:
        return next(iter(EXAMPLES[operation].values()))
    return {"job": demo_job("van_second_battery")}


def post(operation, body=None, **headers):
    asked = body_of(operation) if body is None else body
    return client().post(f"/v1/{operation}", json=asked, headers=headers)


def get(operation, **more):
    accept = {"Accept": more.pop("accept")} if "accept" in more else {}
    query = query_of(body_of(operation)) | more
    return client().get(f"/v1/{operation}", query_string=query, headers=accept)


def test_every_drawing_has_svg_and_json_and_svg_without_a_wish():
    named = {each.name for each in OPERATIONS if each.name.startswith("draw-")}
    assert named >= set(DRAWINGS)
    for name in named:
        forms = FORMS_BY_OPERATION[name]
        assert list(forms.by_name) == ["json", "svg"]
        assert forms.unasked.media_type == SVG


@pytest.mark.parametrize("operation", DRAWINGS)
@pytest.mark.parametrize(
    ("accept", "expected"),
    [
        ("", SVG),
        ("*/*", SVG),
        (BROWSER, SVG),
        (SVG, SVG),
        ("application/json", "application/json"),
        ("application/json, image/svg+xml;q=0.5", "application/json"),
    ],
)
def test_accept_chooses_the_form(operation, accept, expected):
    response = post(operation, Accept=accept) if accept else post(operation)
    assert (response.status_code, response.content_type) == (200, expected)
    assert response.vary.as_set() == {"accept", "accept-encoding"}


@pytest.mark.parametrize("operation", DRAWINGS)
@pytest.mark.parametrize("accept", ["text/csv", "image/png", "text/plain", "*/*;q=0"])
def test_other_forms_are_refused(operation, accept):
    response = post(operation, Accept=accept)
    assert response.status_code == 406
    assert response.get_json()["code"] == "not_acceptable"
    assert response.content_type == "application/problem+json"


@pytest.mark.parametrize("operation", DRAWINGS)
def test_json_has_the_picture_and_the_words_that_stand_for_it(operation):
    answer = post(operation, Accept="application/json").get_json()
    validator(answer_name(operation)).validate(answer)
    assert answer["name"] == operation.removeprefix("draw-").replace("-", "_")
    assert answer["svg"].encode() == post(operation).get_data()
    assert answer["width_px"] == 376
    assert f'viewBox="0 0 {answer["width_px"]} {answer["height_px"]}"' in answer["svg"]
    for words in (answer["title"], answer["description"]):
        assert words.isprintable()
        assert "  " not in words


@pytest.mark.parametrize("operation", CHARTS)
def test_query_gives_the_bytes_of_the_body(operation):
    got = get(operation)
    assert (got.status_code, got.content_type) == (200, SVG)
    assert got.get_data() == post(operation).get_data()
    assert get(operation, accept=BROWSER).get_data() == got.get_data()
    assert got.headers["Cache-Control"] == "public, max-age=300"
    known = {"If-None-Match": got.headers["ETag"]}
    url = f"/v1/{operation}"
    again = client().get(url, query_string=query_of(body_of(operation)), headers=known)
    assert (again.status_code, again.get_data()) == (304, b"")


@pytest.mark.parametrize("operation", CHARTS)
def test_as_in_the_query_goes_before_accept(operation):
    assert get(operation, **{"as": "svg"}, accept="application/json").content_type == SVG
    assert get(operation, **{"as": "json"}, accept=SVG).content_type == "application/json"
    refused = get(operation, **{"as": "csv"})
    assert refused.status_code == 422
    assert "Error: as: give one of: json, svg" in refused.get_data(as_text=True)


@pytest.mark.parametrize("operation", CHARTS)
@pytest.mark.parametrize("form", [{}, {"as": "svg"}, {"as": "json"}])
def test_no_form_takes_a_part(operation, form):
    response = get(operation, field="title", **form)
    assert response.status_code == 422
    assert response.get_json()["errors"] == [
        {"pointer": "/field", "message": "this answer is given whole"}
    ]


@pytest.mark.parametrize("operation", CHARTS)
def test_field_is_described_for_no_drawing(operation):
    described = client().get("/v1/openapi.json").get_json()["paths"][f"/v1/{operation}"]["get"]
    names = [parameter["name"] for parameter in described["parameters"]]
    assert {"as", "errors"} <= set(names)
    assert "field" not in names
    calculator = CHARTS[operation]
    paths = client().get("/v1/openapi.json").get_json()["paths"]
    assert "field" in [each["name"] for each in paths[f"/v1/{calculator}"]["get"]["parameters"]]


@pytest.mark.parametrize("operation", CHARTS)
def test_head_states_the_form_and_computes_nothing(operation):
    response = client().head(f"/v1/{operation}", query_string=query_of(body_of(operation)))
    assert (response.status_code, response.get_data()) == (200, b"")
    assert response.content_type == SVG
    wrong = client().head(f"/v1/{operation}", query_string={"length": "x"})
    assert wrong.status_code == 422


def test_voltage_path_is_asked_by_post_alone():
    for method in ("get", "head", "put", "delete", "patch"):
        response = getattr(client(), method)("/v1/draw-voltage-path")
        assert response.status_code == 405
        assert set(response.headers["Allow"].split(", ")) == {"OPTIONS", "POST"}


@pytest.mark.parametrize("operation", DRAWINGS)
def test_wrong_request_is_a_problem_and_no_picture(operation):
    response = post(operation, {"nonsense": 1}, Accept=f"{SVG}, application/json;q=0.1")
    assert (response.status_code, response.content_type) == (422, "application/problem+json")
    assert "/nonsense" in [error["pointer"] for error in response.get_json()["errors"]]


@pytest.mark.parametrize("operation", CHARTS)
def test_refusal_in_a_picture_s_place_may_be_a_line(operation):
    response = client().get(f"/v1/{operation}?length=x&errors=text")
    assert response.status_code == 200
    assert response.get_data(as_text=True).startswith("Error: ")


@pytest.mark.parametrize(("operation", "calculator"), CHARTS.items())
def test_chart_refuses_what_its_calculator_refuses(operation, calculator):
    hot = {"ambient_temperature": 120} if "claim" not in operation else {"channels": 0}
    body = body_of(operation) | hot
    body.pop("zone", None)
    refused, drawn = (client().post(f"/v1/{name}", json=body) for name in (calculator, operation))
    assert refused.status_code == drawn.status_code == 422
    assert drawn.get_json()["errors"] == refused.get_json()["errors"]
    assert drawn.get_json()["code"] == refused.get_json()["code"]


@pytest.mark.parametrize("operation", CHARTS)
def test_working_and_sensitivity_change_no_drawing(operation):
    plain = post(operation).get_data()
    more = body_of(operation) | {"explain": True, "sensitivity": True}
    assert post(operation, more).get_data() == plain


def test_unknown_circuit_and_plan_are_named():
    response = post("draw-voltage-path", body_of("draw-voltage-path") | {"circuit": "nowhere"})
    assert response.status_code == 422
    (error,) = response.get_json()["errors"]
    assert error["pointer"] == "/circuit"
    assert "light_feed" in error["message"]
    response = post("draw-voltage-path", body_of("draw-voltage-path") | {"plan": "dearest"})
    assert [error["pointer"] for error in response.get_json()["errors"]] == ["/plan"]


def test_prices_change_no_voltage_path():
    plain = post("draw-voltage-path").get_data()
    priced = body_of("draw-voltage-path") | {"pricing": {"as_of": "2031-04-30"}}
    assert post("draw-voltage-path", priced).get_data() == plain


def test_drawing_is_compressed_when_asked():
    response = post("draw-time-current", **{"Accept-Encoding": "gzip"})
    assert response.headers["Content-Encoding"] == "gzip"
    assert gzip.decompress(response.get_data()) == post("draw-time-current").get_data()
    assert len(response.get_data()) < 4000
