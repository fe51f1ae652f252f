"""A whole job with the real service: from the bench page to the printed quote, figure by figure."""

import xml.etree.ElementTree as ET
from collections import Counter
from collections.abc import Callable, Iterable
from copy import deepcopy
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from bench_use import LENGTH, PLAN, answered, field, load_demo_job, plan_of, posted, total_of
from browsing import DESK, PHONE, Complaints, NewPage
from playwright.sync_api import Page, Route, expect

from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from pdf_text import figures_in, missing_figures, page_texts

KINDS = ("quote", "work_order", "fuse_labels")
# Of a document in a language and in units (docs: words of documents).
LOCALES = {
    ("en", "metric"): "en-GB",
    ("en", "us"): "en-US",
    ("de", "metric"): "de-DE",
    ("es", "us"): "es-ES",
}
TITLES = {"en": "Quote", "de": "Angebot", "es": "Presupuesto"}
DEVICES = {"desk": DESK, "phone": {**PHONE, "device_scale_factor": 1}}
PRICING = {"as_of": "2031-04-30", "deposit": {"percent": "30"}}
# How much of a drawing has each ground and how much is inked, by a picture of it.
GROUND = """async (image) => {
    await image.decode();
    const [width, height] = [image.naturalWidth, image.naturalHeight];
    const canvas = Object.assign(document.createElement("canvas"), { width, height });
    const drawn = canvas.getContext("2d");
    drawn.fillStyle = getComputedStyle(image).backgroundColor;
    drawn.fillRect(0, 0, width, height);
    drawn.drawImage(image, 0, 0);
    const { data } = drawn.getImageData(0, 0, width, height);
    let [white, black] = [0, 0];
    for (let at = 0; at < data.length; at += 4) {
        if (data[at] > 250) white += 1;
        if (data[at] < 80) black += 1;
    }
    return [white / (width * height), black / (width * height)];
}"""
STYLED = "[getComputedStyle(document.querySelector('h2')).borderBottomWidth, innerWidth]"
WIDTH = "document.documentElement.scrollWidth"


def bill_figures(plan: dict[str, Any]) -> list[Decimal]:
    """Return every line total and the totals of a plan's bill, as a quote has to print them."""
    bill = plan["bill"]
    totals = [line["total"] for line in bill["lines"]]
    totals += [tax["amount"] for tax in bill["taxes"]]
    totals += [bill["net_total"], bill["total"]]
    # Without a deposit all of the total is due, and is not printed twice.
    if bill["deposit"] is not None:
        totals += [bill["deposit"], bill["balance_due"]]
    return [Decimal(total) for total in totals]


def fuse_figures(plan: dict[str, Any]) -> list[Decimal]:
    """Return the rated currents of a plan's fuses [A]."""
    return [Decimal(str(circuit["fuse"]["rated_current_a"])) for circuit in plan["circuits"]]


def lacking(text: str, expected: Iterable[Decimal], locale: str) -> Counter[Decimal]:
    """Return which figures a text has too seldom: two lines of one price are two figures."""
    return Counter(expected) - Counter(figures_in(text, locale))


def unread(text: str, plan: dict[str, Any], locale: str) -> list[float]:
    """Return which expected readings of a plan a text has in no rounding, in V and A or in mV."""
    printed = figures_in(text, locale)

    def is_printed(value: Decimal) -> bool:
        return any(
            abs(figure - value) <= Decimal(5).scaleb(int(figure.as_tuple().exponent) - 1)
            and abs(figure - value) <= abs(value) * Decimal("0.15")
            for figure in printed
        )

    expected = [reading["expected"] for reading in plan["expected_measurements"]]
    assert expected
    return [
        value
        for value in expected
        if not is_printed(Decimal(str(value))) and not is_printed(Decimal(str(value)) * 1000)
    ]


def see_the_drawing(page: Page, body: dict[str, Any], address: str) -> None:
    """See that the drawing is that of the plan, named, and black on white on any ground."""
    svg = answered(address, "draw-installation", {**body, "plan": "recommended"}, "image/svg+xml")
    title = ET.fromstring(svg).findtext("{http://www.w3.org/2000/svg}title")
    picture = page.locator("#drawing img")
    expect(picture).to_have_attribute("alt", title or "no title")
    assert body["job"]["title"] in (title or "")
    white, black = picture.evaluate(GROUND)
    assert white > 0.8
    assert black > 0.01
    # As large as it is drawn, or as wide as there is room.
    measured = picture.evaluate("image => [image.clientWidth, image.naturalWidth, innerWidth]")
    assert 0.8 * min(measured[1:]) <= measured[0] <= measured[2]


def open_document(page: Page, kind: str, language: str, units: str) -> Page:
    """Ask for a document as a page, and return its tab."""
    page.locator("#print-kind").select_option(kind)
    page.locator("#print-language").select_option(language)
    page.locator("#print-units").select_option(units)
    with page.expect_popup() as opened:
        page.locator("#print-html").click()
    expect(page.locator("#print-said")).to_have_text("The document is in a new tab.")
    return opened.value


@pytest.mark.parametrize(
    ("device", "scheme", "name", "language", "units"),
    [
        ("desk", "light", "van_second_battery", "en", "metric"),
        ("desk", "dark", "hybrid_jump_start", "es", "us"),
        ("phone", "light", "truck_24v", "de", "metric"),
        ("phone", "dark", "combustion_car", "en", "us"),
    ],
)
def test_a_person_goes_from_a_job_to_a_printed_quote(
    service_url: str,
    new_page: NewPage,
    complaints: Complaints,
    axe_violations: Callable[[Page], list[str]],
    keep_screenshot: Callable[[Page, str], Path],
    keep_pdf: Callable[[bytes, str], Path],
    device: str,
    scheme: str,
    name: str,
    language: str,
    units: str,
) -> None:
    complaints.allow("status of 422")
    page = new_page(**DEVICES[device], color_scheme=scheme)
    load_demo_job(page, service_url, name)
    job = demo_job(name)
    answer = posted(service_url, "plan-installation", {"job": job})
    expect(page.locator("#result-total")).to_have_text(total_of(answer))
    see_the_drawing(page, {"job": job}, service_url)
    fold = page.locator("#entry-circuits details.item").first
    if not field(page, LENGTH).is_visible():
        fold.locator("> summary").click()
    # A comma for a point, and then another length than the job had.
    field(page, LENGTH).fill("2,7")
    expect(field(page, LENGTH.replace("field:", "fault:"))).to_contain_text("write 2.7")
    expect(page.locator("#result-total")).to_have_text(total_of(answer))
    field(page, LENGTH).fill("2.7")
    expect(page.locator("#faults")).to_be_hidden()
    expect(page.locator("#stale-mark")).to_be_hidden()
    mended = deepcopy(job)
    mended["circuits"][0]["route"][0]["length"] = 2.7
    answer = posted(service_url, "plan-installation", {"job": mended})
    expect(page.locator("#result-total")).to_have_text(total_of(answer))
    see_the_drawing(page, {"job": mended}, service_url)
    assert page.evaluate(WIDTH) == page.evaluate("innerWidth")
    page.locator("#drawing").scroll_into_view_if_needed()
    keep_screenshot(page, f"whole-job-{device}-{scheme}")
    tab = open_document(page, "quote", language, units)
    expect(tab.locator("h1")).to_have_text(TITLES[language])
    border, width = tab.evaluate(STYLED)
    assert border == "2px"
    assert tab.evaluate(WIDTH) <= width
    assert axe_violations(tab) == []
    plan, locale = plan_of(answer), LOCALES[language, units]
    for line in plan["bill"]["lines"]:
        row = tab.locator("tbody tr", has_text=line["description"]).first
        assert missing_figures(row.inner_text(), [line["total"]], locale) == [], line
    printed = tab.pdf(format="A4")
    keep_pdf(printed, f"whole-job-quote-{language}-{device}")
    assert lacking("\n".join(page_texts(printed)), bill_figures(plan), locale) == Counter()
    keep_screenshot(tab, f"whole-job-quote-{language}-{device}-{scheme}")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_kind_of_document_opens_from_the_bench_with_its_style(
    service_url: str, new_page: NewPage, keep_screenshot: Callable[[Page, str], Path], scheme: str
) -> None:
    page = new_page(**DESK, color_scheme=scheme)
    load_demo_job(page, service_url, "combustion_car")
    page.locator("#plan-headroom").check()
    answer = posted(service_url, "plan-installation", {"job": demo_job("combustion_car")})
    plan = plan_of(answer, "headroom")
    # The languages have the same style; in the dark one is enough.
    places = LOCALES.items() if scheme == "light" else [(("en", "us"), "en-US")]
    for kind in KINDS:
        for (language, units), locale in places:
            tab = open_document(page, kind, language, units)
            assert tab.evaluate("document.documentElement.lang") == language
            assert tab.evaluate(STYLED)[0] == "2px"
            assert tab.locator("svg").count() == (1 if kind == "work_order" else 0)
            expected = bill_figures(plan) if kind == "quote" else fuse_figures(plan)
            assert missing_figures(tab.locator("body").inner_text(), expected, locale) == []
            if kind == "work_order":
                # The drawing in the page keeps its own colours: black lines on a white page.
                ink = tab.locator("svg text").first.evaluate("node => getComputedStyle(node).fill")
                assert ink == "rgb(0, 0, 0)"
                background = "getComputedStyle(document.documentElement).backgroundColor"
                body = "getComputedStyle(document.body).backgroundColor"
                assert "rgb(255, 255, 255)" in tab.evaluate(f"[{background}, {body}]")
                if language == "en":
                    keep_screenshot(tab, f"whole-job-work-order-{units}-{scheme}")
            tab.close()


def test_a_document_opens_as_pdf_in_a_tab(service_url: str, page: Page) -> None:
    load_demo_job(page, service_url, "combustion_car")
    passed: list[tuple[dict[str, Any], bytes]] = []

    def note(route: Route) -> None:
        answer = route.fetch()
        assert answer.headers["content-type"] == "application/pdf"
        passed.append((route.request.post_data_json, answer.body()))
        route.fulfill(response=answer)

    page.route(PLAN, note)
    for kind in KINDS:
        page.locator("#print-kind").select_option(kind)
        with page.expect_popup() as opened:
            page.locator("#print-pdf").click()
        expect(page.locator("#print-said")).to_have_text("The document is in a new tab.")
        asked, content = passed.pop()
        assert asked["document"]["kind"] == kind
        # The same request makes the same bytes.
        assert content == answered(service_url, "plan-installation", asked, "application/pdf")
        # The viewer of PDF never says that it has loaded, so its address is looked at again.
        for _ in range(100):
            if opened.value.url.startswith(f"blob:{service_url}/"):
                break
            page.wait_for_timeout(100)
        assert opened.value.url.startswith(f"blob:{service_url}/")


@pytest.mark.parametrize("place", LOCALES, ids="-".join)
@pytest.mark.parametrize("kind", KINDS)
def test_a_pdf_has_the_figures_of_the_plan(
    service_url: str, keep_pdf: Callable[[bytes, str], Path], kind: str, place: tuple[str, str]
) -> None:
    (language, units), locale = place, LOCALES[place]
    # Another job for each language, so that all are printed.
    name = tuple(DEMO_JOBS)[tuple(LOCALES).index(place)]
    body = {"job": demo_job(name), "pricing": PRICING}
    plan = plan_of(posted(service_url, "plan-installation", body))
    wanted = {"kind": kind, "language": language, "units": units}
    asked = {**body, "document": wanted}
    content = answered(service_url, "plan-installation", asked, "application/pdf")
    keep_pdf(content, f"pdf-{kind}-{language}-{units}")
    text = "\n".join(page_texts(content))
    if kind == "quote":
        assert len(bill_figures(plan)) == len(plan["bill"]["lines"]) + 5
        assert lacking(text, bill_figures(plan), locale) == Counter()
        return
    assert missing_figures(text, fuse_figures(plan), locale) == []
    if kind == "work_order":
        assert missing_figures(text, [len(plan["work_order"]["order"])], locale) == []
        assert unread(text, plan, locale) == []
