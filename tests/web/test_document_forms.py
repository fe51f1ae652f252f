"""Documents for people over HTTP: which is given, under which header fields, what is never told."""

import csv
import io
import re
from decimal import Decimal

import pytest
from babel.numbers import format_decimal, parse_decimal
from lxml import html as lxml_html

from loomwright.documents.catalogue import TRANSLATED, catalogue
from loomwright.documents.html import content_security_policy
from loomwright.documents.options import KINDS, LANGUAGES
from loomwright.jobs.demo_library import DEMO_JOBS, demo_job, demo_price_book
from loomwright.jobs.plan.alternatives import PLAN_NAMES
from loomwright.web.app import create_app
from loomwright.web.stated_jobs import stated_job
from pdf_text import page_texts
from set_up import create_with, key_entry

PLAN, BILL = "/v1/plan-installation", "/v1/build-bill-of-materials"
PAPERWORK = {"number": "Q 17/2031", "seller": "Quayside Fitters (invented)"}
LOCALES = {"en": "en_GB", "de": "de_DE", "es": "es_ES"}
KEY = "a key that may see cost"
CLIENT = create_app().test_client()
HTML, CSV, PDF = "text/html", "text/csv", "application/pdf"


def asked(url, accept, client=CLIENT, headers=None, **members):
    body = {
        "job": demo_job(DEMO_JOBS[0]),
        "pricing": {"as_of": "2031-04-30"},
        "paperwork": PAPERWORK,
        **members,
    }
    return client.post(url, json=body, headers={"Accept": accept, **(headers or {})})


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("kind", KINDS)
def test_page_of_a_plan_under_its_header_fields(kind, language):
    response = asked(PLAN, HTML, document={"kind": kind, "language": language})
    assert response.status_code == 200
    assert response.content_type == "text/html; charset=utf-8"
    assert response.headers["Content-Language"] == language
    assert response.headers["Content-Security-Policy"] == content_security_policy()
    assert response.headers["X-Content-Type-Options"] == "nosniff"
    name = kind.replace("_", "-")
    assert response.headers["Content-Disposition"] == f'inline; filename="{name}-Q-17-2031.html"'
    assert "Accept" in response.vary
    assert lxml_html.document_fromstring(response.text).get("lang") == language


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("kind", KINDS)
def test_print_of_a_plan_under_its_header_fields(kind, language):
    response = asked(PLAN, PDF, document={"kind": kind, "language": language})
    assert (response.status_code, response.content_type) == (200, PDF)
    assert response.headers["Content-Language"] == language
    assert response.headers["Content-Disposition"].endswith('.pdf"')
    # The same words as the page, figure by figure.
    page = asked(PLAN, HTML, document={"kind": kind, "language": language})
    printed = " ".join(" ".join(page_texts(response.data)).split())
    (body,) = lxml_html.fromstring(page.data).findall("body")
    # Cells stand apart; drawings are pictures in print.
    words = body.xpath("//body//text()[not(ancestor::*[local-name()='svg'])]")
    figures = re.findall(r"[0-9]+(?:[.,][0-9]+)*", " ".join(words))
    assert len(figures) > 1
    assert not [figure for figure in figures if figure not in printed]


@pytest.mark.parametrize("kind", KINDS)
def test_table_of_a_plan_under_its_header_fields(kind):
    response = asked(PLAN, CSV, document={"kind": kind, "language": "de", "units": "us"})
    assert response.status_code == 200
    assert response.content_type == "text/csv; charset=utf-8; header=present"
    assert response.headers["Content-Language"] == "en"
    assert "Content-Security-Policy" not in response.headers
    name = kind.replace("_", "-")
    assert response.headers["Content-Disposition"] == f'inline; filename="{name}-Q-17-2031.csv"'
    # Neither language nor units change a table for programs.
    assert response.data == asked(PLAN, CSV, document={"kind": kind}).data


def diagram_of(name, language, units):
    """The lines of text in the diagram of a work order."""
    document = {"kind": "work_order", "language": language, "units": units}
    page = lxml_html.document_fromstring(
        asked(PLAN, HTML, job=demo_job(name), document=document).text
    )
    return page.xpath("//*[local-name()='svg']//*[local-name()='text']/text()")


@pytest.mark.parametrize("language", TRANSLATED)
@pytest.mark.parametrize("name", DEMO_JOBS)
def test_diagram_of_a_work_order_is_in_the_language_of_the_document(name, language):
    english, said = (diagram_of(name, tongue, "metric") for tongue in ("en", language))
    texts = catalogue(language)
    # Sentences, which may go over several lines, and what stands around the figures of others.
    whole = [text for text in texts if text[-1] == "." and text in " ".join(english)]
    assert whole
    assert all(texts[text] in " ".join(said) for text in whole)
    around = ("open circuit", "under load", "at the load", "at the distribution", "to chassis")
    assert any(words in line for words in around for line in english)
    assert not any(words in line for words in around for line in said)
    # A comma stands in every figure that has a point in English, and no other figure is shown.
    shown = [sorted(re.findall(r"[0-9]+(?:[.,][0-9]+)?", " ".join(e))) for e in (english, said)]
    assert sorted(figure.replace(".", ",") for figure in shown[0]) == shown[1]


def test_diagram_of_a_work_order_has_the_units_of_the_document():
    name = DEMO_JOBS[0]
    job = stated_job(demo_job(name))
    lines = " ".join(diagram_of(name, "en", "us"))
    for circuit in job.circuits:
        assert f"{circuit.route_length_m / 0.3048:.1f}\u00a0ft" in lines
    assert not re.search(r"[0-9]\s?m\b", lines)


def test_quote_is_what_is_made_without_a_wish():
    for url in (PLAN, BILL):
        page = lxml_html.document_fromstring(asked(url, HTML).text)
        assert page.findtext(".//h1") == "Quote"
        assert page.get("lang") == "en"


@pytest.mark.parametrize("name", PLAN_NAMES)
def test_document_is_of_the_plan_that_is_asked_for(name):
    answer = asked(PLAN, "application/json", paperwork=None, job=demo_job("truck_24v"))
    assert answer.status_code == 422  # null is no paperwork
    plans = asked(PLAN, "application/json", job=demo_job("truck_24v")).get_json()["plans"]
    total = {plan["name"]: plan["bill"]["total"] for plan in plans}[name]
    stated = {"job": demo_job("truck_24v"), "document": {"plan": name}}
    rows = csv.DictReader(io.StringIO(asked(PLAN, CSV, **stated).text, newline=""))
    assert [row["total"] for row in rows if row["key"] == "total"] == [total]
    page = lxml_html.document_fromstring(asked(PLAN, HTML, **stated).text)
    (shown,) = [
        row[1].text_content() for row in page.iter("tr") if row[0].text_content() == "Total"
    ]
    assert parse_decimal(shown.strip("€"), locale="en_GB") == Decimal(total)


@pytest.mark.parametrize("language", LANGUAGES)
def test_page_of_a_bill_states_its_total(language):
    total = asked(BILL, "application/json").get_json()["total"]
    page = asked(BILL, HTML, document={"language": language}).text
    assert format_decimal(Decimal(total), "#,##0.00", locale=LOCALES[language]) in page


def test_document_and_paperwork_change_no_json():
    for url in (PLAN, BILL):
        plain = asked(url, "application/json")
        other = asked(url, "application/json", document={"language": "es", "units": "us"})
        assert other.data == plain.data
    answer = asked(PLAN, "application/json").get_json()
    assert not answer.keys() & {"paperwork", "document", "drawings"}


@pytest.mark.parametrize(
    ("url", "document", "pointer"),
    [
        (PLAN, {"kind": "poem"}, "/document/kind"),
        (PLAN, {"plan": "cheapest"}, "/document/plan"),
        (BILL, {"language": "xx"}, "/document/language"),
        (BILL, {"units": 3}, "/document/units"),
        (BILL, {"kind": "work_order"}, "/document/kind"),
        (BILL, {"plan": "leanest"}, "/document/plan"),
        (BILL, [], "/document"),
    ],
)
def test_faults_of_the_wish_are_named(url, document, pointer):
    response = asked(url, HTML, document=document)
    assert response.status_code == 422
    assert response.mimetype == "application/problem+json"
    assert [fault["pointer"] for fault in response.get_json()["errors"]] == [pointer]


def test_job_outside_the_models_is_refused_in_any_form():
    job = demo_job("combustion_car")
    job["equipment"][0]["circuit"] = "nowhere"
    responses = [asked(PLAN, accept, job=job) for accept in ("application/json", HTML, CSV)]
    assert {response.status_code for response in responses} == {422}
    assert len({response.data for response in responses}) == 1


# --- cost ---


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    keys = tmp_path_factory.mktemp("keys") / "keys.toml"
    keys.write_text(key_entry(KEY, "price", "cost"), "utf-8")
    return create_with(keys_file=keys).test_client()


def costed_book():
    """The demo price book with costs that no price looks like."""
    book = demo_price_book()
    for place, part in enumerate(book["parts"]):
        part["cost"] = f"{7001 + 13 * place}.37"
    for operation in book["labour"]:
        operation["hourly_cost"] = "6007.41"
    return book


def costs_of(node):
    """Every figure under ``cost``."""
    if isinstance(node, dict):
        for name, value in node.items():
            if isinstance(value, str) and re.fullmatch(r"-?[0-9.]+", value):
                yield Decimal(value)
            elif name != "number":
                yield from costs_of(value)
    elif isinstance(node, list):
        for value in node:
            yield from costs_of(value)


@pytest.mark.parametrize("url", [PLAN, BILL])
def test_no_document_tells_cost_or_margin(shop, url):
    stated = {
        "client": shop,
        "headers": {"Authorization": f"Bearer {KEY}"},
        "price_book": costed_book(),
    }
    shown = {"as_of": "2031-04-30", "show_cost": True}
    answer = asked(url, "application/json", pricing=shown, **stated).get_json()
    bills = [plan["bill"] for plan in answer["plans"]] if url == PLAN else [answer]
    costs = {cost for bill in bills for cost in costs_of(bill["cost"])}
    assert len(costs) > 20
    kinds = KINDS if url == PLAN else ("quote",)
    for kind in kinds:
        for language in LANGUAGES:
            document = {"language": language} | ({"kind": kind} if url == PLAN else {})
            for accept in (HTML, CSV, PDF):
                made = asked(url, accept, pricing=shown, document=document, **stated)
                assert made.status_code == 200
                text = "\n".join(page_texts(made.data)) if accept == PDF else made.text
                figures = {
                    format_decimal(cost, "#,##0.##", locale=LOCALES[language]) for cost in costs
                } | {format(cost, "f") for cost in costs}
                assert not [figure for figure in figures if figure in text]
                plain = asked(url, accept, document=document, **stated)
                assert made.data == plain.data


def test_cost_needs_its_key_in_any_form(shop):
    for url in (PLAN, BILL):
        for accept in (HTML, CSV, PDF):
            response = asked(url, accept, client=shop, pricing={"show_cost": True})
            assert response.status_code == 401
