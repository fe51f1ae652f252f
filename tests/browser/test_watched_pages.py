"""The fixtures themselves: what a page does wrong fails its test, and nothing else does."""

import socket
import time

import pytest
from artefacts import ROOT, artefact_folder
from browsing import DESK, Complaints, watched_pages
from PIL import Image

from pdf_text import figures_in, page_texts

PAGE = """<!doctype html><html lang="en"><head><title>Feed</title><link rel="icon" href="data:,">
<style>body {{ background: white; color: black }}
@media (prefers-color-scheme: dark) {{ body {{ background: black; color: {dark} }} }}</style></head>
<body><main><h1>Feed of the amplifier</h1><p>Drop 0.2 V of 1,234.5</p>{more}</main></body></html>"""
LONGEST_WAIT_S = 10.0
# A script that does wrong, and what each complaint of it contains.
FAULTS = {
    "an error on the console": ("console.error('no such size')", "console: no such size"),
    "an error that nothing catches": ("setTimeout(() => { throw Error('lost') })", "script: lost"),
    "a promise that nothing catches": ("Promise.reject(Error('lost'))", "script: lost"),
    "a request to a name": (
        "await fetch('http://tables.example/', { mode: 'no-cors' }).catch(() => null)",
        "net::ERR_NAME_NOT_RESOLVED",
    ),
    # An address for documentation only (RFC 5737).
    "a request to an address": (
        "await fetch('http://192.0.2.1/', { mode: 'no-cors' }).catch(() => null)",
        "net::ERR_NAME_NOT_RESOLVED",
    ),
    "a window that does wrong": ("window.open().console.error('second')", "console: second"),
}


def show(page, more="", dark="white"):
    page.set_content(PAGE.format(more=more, dark=dark))


def run(browser, script, *allowed, complains=True):
    """Run a script in a watched page until a complaint comes, and return all that came."""
    complaints = Complaints()
    for text in allowed:
        complaints.allow(text)
    with watched_pages(browser, complaints) as new_page:
        page = new_page(**DESK)
        show(page)
        page.evaluate(f"async () => {{ {script} }}")
        deadline = time.monotonic() + LONGEST_WAIT_S
        while complains and not complaints.found and time.monotonic() < deadline:
            page.wait_for_timeout(20)
    return complaints.found


@pytest.mark.parametrize(("script", "said"), FAULTS.values(), ids=FAULTS)
def test_a_fault_of_a_page_fails_the_test_unless_it_is_allowed(browser, script, said):
    with pytest.raises(AssertionError, match=said):
        run(browser, script)
    found = run(browser, script, said)
    assert found
    assert all(said in each for each in found)


def test_what_is_allowed_has_to_come(browser):
    with pytest.raises(AssertionError, match="allowed, but did not come: no such size"):
        run(browser, "console.log('no such size')", "no such size", complains=False)


def test_what_is_no_error_passes(browser):
    assert run(browser, "console.log('size'); console.warn('old')", complains=False) == []


def test_what_is_still_asked_for_at_the_end_is_no_fault(browser):
    # It takes connections and never answers.
    with socket.create_server(("127.0.0.1", 0)) as silent:
        address = f"http://127.0.0.1:{silent.getsockname()[1]}/"
        complaints = Complaints()
        with watched_pages(browser, complaints) as new_page:
            page = new_page(**DESK)
            show(page)
            with page.expect_request(address):
                page.evaluate(f"void fetch('{address}', {{ mode: 'no-cors' }}).catch(() => null)")


def test_desk_and_telephone_are_as_large_as_they_say(page, phone_page):
    measure = "[innerWidth, innerHeight, devicePixelRatio, navigator.maxTouchPoints > 0]"
    head = '<meta name="viewport" content="width=device-width">'
    for opened in (page, phone_page):
        show(opened, more=head)
    assert page.evaluate(measure) == [1280, 900, 1, False]
    assert phone_page.evaluate(measure) == [360, 780, 2, True]


def test_pages_share_nothing_and_may_speak_another_language(service_url, page, new_page):
    german = new_page(**DESK, locale="de-DE")
    for opened in (page, german):
        opened.goto(f"{service_url}/v1/health")
    page.evaluate("localStorage.setItem('bench', 'kept')")
    assert page.evaluate("localStorage.getItem('bench')") == "kept"
    assert german.evaluate("localStorage.getItem('bench')") is None
    write = "[navigator.language, (1234.5).toLocaleString()]"
    assert page.evaluate(write) == ["en-GB", "1,234.5"]
    assert german.evaluate(write) == ["de-DE", "1.234,5"]


def test_violations_of_accessibility_are_named_with_their_element(page, axe_violations):
    show(page)
    assert axe_violations(page) == []
    show(page, more='<img id="lid" src="data:image/gif;base64,R0lGODlhAQABAAAAACw=">')
    (line,) = axe_violations(page)
    assert line.startswith("critical image-alt: ")
    assert "#lid" in line
    # What is best practice only.
    show(page, more="<h4>Loads</h4>")
    (line,) = axe_violations(page)
    assert " heading-order: " in line


def test_contrast_is_judged_in_the_colours_that_are_shown(page, axe_violations):
    show(page, dark="#333333")
    assert axe_violations(page) == []
    page.emulate_media(color_scheme="dark")
    lines = axe_violations(page)
    assert len(lines) == 2
    assert all(line.startswith("serious color-contrast: ") for line in lines)


def test_accessibility_is_judged_under_a_strict_policy_of_content(page, axe_violations):
    policy = {"Content-Security-Policy": "default-src 'none'", "Content-Type": "text/html"}
    html = '<!doctype html><html lang="en"><title>Feed</title><main><h1>Feed</h1></main></html>'
    page.route("http://localhost/", lambda asked: asked.fulfill(body=html, headers=policy))
    page.goto("http://localhost/")
    assert axe_violations(page) == []


def test_a_picture_shows_the_whole_page_and_a_print_its_figures(
    page, phone_page, keep_screenshot, keep_pdf
):
    tall = '<div style="height: 2000px"></div>'
    show(page, more=tall)
    show(phone_page, more=f'<meta name="viewport" content="width=device-width">{tall}')
    for opened, name, scale in ((page, "fixture_desk", 1), (phone_page, "fixture-phone", 2)):
        path = keep_screenshot(opened, name)
        assert path == artefact_folder() / f"{name}.png"
        whole = opened.evaluate("document.documentElement.scrollHeight")
        assert whole > 2000
        with Image.open(path) as picture:
            assert picture.format == "PNG"
            width = opened.viewport_size["width"]
            assert picture.size == (width * scale, whole * scale)
    printed = keep_pdf(page.pdf(format="A4"), "fixture_print").read_bytes()
    texts = page_texts(printed)
    assert len(texts) == 2
    assert list(map(str, figures_in(texts[0], "en-GB"))) == ["0.2", "1234.5"]


@pytest.mark.parametrize("name", ["", "Feed", "a b", "../feed", "feed.png", "-feed", "feed/desk"])
def test_names_of_what_is_kept_are_plain(page, keep_screenshot, name):
    show(page)
    with pytest.raises(ValueError, match="is no name of an artefact"):
        keep_screenshot(page, name)


def test_what_is_no_pdf_is_not_kept_as_one(keep_pdf):
    with pytest.raises(ValueError, match="is no PDF"):
        keep_pdf(b"<html>", "fixture_page")


def test_nothing_is_kept_in_the_repository(monkeypatch):
    monkeypatch.setenv("TESTS_ARTEFACTS", str(ROOT / "build" / "pictures"))
    with pytest.raises(ValueError, match="lies in the repository"):
        artefact_folder()
    assert not (ROOT / "build" / "pictures").exists()
