"""Documents for people as a browser shows and prints them."""

import io
import json
import urllib.request

import pytest
from browsing import DESK, PHONE
from pypdf import PdfReader

from loomwright.jobs.demo_library import demo_job

# Of a page, as the policy that names the style sheet lets it be shown.
RULE = "getComputedStyle(document.querySelector('h2')).borderBottomWidth"
WIDTH = "document.documentElement.scrollWidth"
# Cells whose words stick out to the side, boxes that are none.
STICKING_OUT = """[...document.querySelectorAll('td, th, dd, p, li')]
    .filter(node => node.scrollWidth > node.clientWidth + 1 && node.clientWidth > 1)
    .map(node => node.textContent.slice(0, 60))"""
EMPTY_BOXES = """[...document.querySelectorAll('.box, .blank')]
    .filter(node => node.getBoundingClientRect().width < 8
        || parseFloat(getComputedStyle(node).borderTopWidth) < 0.5).length"""
PAGE_OF = {"en": "Page {} of {}", "de": "Seite {} von {}", "es": "Página {} de {}"}
CASES = [
    ("quote", "en", "metric", "combustion_car"),
    ("quote", "es", "metric", "truck_24v"),
    ("work_order", "de", "metric", "van_second_battery"),
    ("work_order", "en", "us", "combustion_car"),
    ("fuse_labels", "es", "us", "van_second_battery"),
]


def answered(service_url, case):
    """The page of a document and its header fields, as the service under its server gives them."""
    kind, language, units, name = case
    body = {
        "job": demo_job(name),
        "pricing": {"as_of": "2031-04-30", "deposit": {"percent": "30"}},
        "paperwork": {
            "number": "0017",
            "seller": "Quayside Fitters (invented)",
            "customer": "Fleet office",
            "booking": {"start": "2031-05-06T08:00:00+02:00", "bay": "Bay 2"},
        },
        "document": {"kind": kind, "language": language, "units": units},
    }
    request = urllib.request.Request(
        f"{service_url}/v1/plan-installation",
        json.dumps(body).encode(),
        {"Content-Type": "application/json", "Accept": "text/html"},
    )
    with urllib.request.urlopen(request, timeout=60) as response:
        return response.read().decode(), dict(response.headers)


def shown(page, service_url, case):
    """Show a document under the header fields that it came with."""
    body, headers = answered(service_url, case)
    kept = ("Content-Type", "Content-Security-Policy", "Content-Language", "X-Content-Type-Options")
    page.route(
        "**/document",
        lambda route: route.fulfill(body=body, headers={name: headers[name] for name in kept}),
    )
    page.goto(f"{service_url}/document")


@pytest.mark.parametrize("case", CASES, ids="-".join)
def test_document_on_a_desk_and_on_a_telephone(
    service_url, new_page, axe_violations, keep_screenshot, case
):
    for device, options in (("desk", DESK), ("phone", PHONE)):
        page = new_page(**options)
        shown(page, service_url, case)
        assert page.evaluate(RULE) == "2px"  # the policy lets the style sheet in
        assert page.evaluate(WIDTH) <= options["viewport"]["width"]
        assert page.evaluate(STICKING_OUT) == []
        assert page.evaluate(EMPTY_BOXES) == 0
        # Ten seconds for the longest; on a desk the shorter work order has the same parts.
        if (device, *case) != ("desk", "work_order", "de", "metric", "van_second_battery"):
            assert axe_violations(page) == []
        keep_screenshot(page, f"document-{'-'.join(case)}-{device}")


@pytest.mark.parametrize("case", CASES, ids="-".join)
def test_document_in_print(service_url, page, keep_pdf, case):
    shown(page, service_url, case)
    content = page.pdf(prefer_css_page_size=True)
    keep_pdf(content, f"document-{'-'.join(case)}")
    pages = PdfReader(io.BytesIO(content)).pages
    # ISO 216: A4 is 210 mm by 297 mm; a letter is 8.5 in by 11 in.
    wanted = (612, 792) if case[2] == "us" else (595.3, 841.9)
    for number, sheet in enumerate(pages, 1):
        assert (float(sheet.mediabox.width), float(sheet.mediabox.height)) == pytest.approx(
            wanted, abs=1
        )
        assert PAGE_OF[case[1]].format(number, len(pages)) in sheet.extract_text()
    if case[0] == "fuse_labels":
        assert len(pages) == 1
        size = page.evaluate("document.querySelector('.label').getBoundingClientRect().toJSON()")
        # 96 px of CSS are an inch.
        assert size["width"] == pytest.approx(60 / 25.4 * 96, abs=1)
        assert size["height"] >= 26 / 25.4 * 96 - 1


def test_heading_of_a_long_table_is_on_each_of_its_pages(service_url, page):
    shown(page, service_url, ("quote", "en", "metric", "van_second_battery"))
    pages = PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True))).pages
    texts = [sheet.extract_text() for sheet in pages]
    with_lines = [text for text in texts if "Unit price" in text]
    assert len(with_lines) >= 3
    assert all("Description" in text for text in with_lines)
