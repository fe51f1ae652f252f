"""The bench page in a browser, as a person with a keyboard, a telephone or a slow line has it."""

import json
import re
import time
import urllib.request
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from bench_use import DRAW, LENGTH, PLAN, enter, field, load_demo_job, posted, total_of
from browsing import DESK, PHONE, Complaints, NewPage
from playwright.sync_api import Page, Route, expect

from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from served import served
from set_up import key_entry

CAR = "combustion_car"
DRAWN = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="200" height="80" viewBox="0 0 200 80">'
    "<style>path { stroke: #00f; stroke-width: 20 }</style>"
    '<title>Lamp &amp; winch: &lt;test&gt;</title><path d="M10 40h180"/></svg>'
)
BROKEN_FILES = (
    ("[1", "The file is not JSON"),
    ("[1]", "it must be one JSON object"),
    ('{"job": 5}', "its member job must be an object"),
    ('{"circuits": "none"}', "/job/circuits must be a list"),
    ('{"circuits": [{"route": [7]}]}', "/job/circuits/0/route/0 must be an object"),
    ('{"circuits": [{"fuse_types": "x"}]}', "/job/circuits/0/fuse_types must be a list"),
    ('{"job": {}, "pricing": []}', "/pricing must be an object"),
)
VOLTAGE = "field:/job/power_sources/0/source_voltage"
# Web Content Accessibility Guidelines 2.1, 2.4.7: where the focus is must be seen.
# Width of a picture, and the colour in its middle.
PIXEL = """async (image) => {
    await image.decode();
    const canvas = Object.assign(document.createElement("canvas"), {width: 200, height: 80});
    const drawn = canvas.getContext("2d");
    drawn.drawImage(image, 0, 0);
    return [image.naturalWidth, ...drawn.getImageData(100, 40, 1, 1).data];
}"""
OUTLINE = """() => {
    const seen = getComputedStyle(document.activeElement);
    const { id } = document.activeElement;
    return [seen.outlineStyle, parseFloat(seen.outlineWidth), id];
}"""


def draw(page: Page) -> None:
    """Let every drawing be the same one, so that none is given up while something is entered."""
    page.route(DRAW, lambda route: route.fulfill(content_type="image/svg+xml", body=DRAWN))


def open_with(page: Page, address: str, job: str = CAR) -> None:
    """Open the page and load a demo job by its button; the drawing is not the real one."""
    draw(page)
    load_demo_job(page, address, job)


# --- what is entered and what is answered ---


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_a_demo_job_costs_what_the_service_says(service_url: str, page: Page, name: str) -> None:
    open_with(page, service_url, name)
    answer = posted(service_url, "plan-installation", {"job": demo_job(name)})
    expect(page.locator("#result-total")).to_have_text(total_of(answer))
    rows = page.locator("#result-plans tbody tr")
    expect(rows).to_have_count(3)
    assert [rows.nth(n).locator("td").first.inner_text() for n in range(3)] == [
        each["bill"]["total"] for each in answer["plans"]
    ]
    for plan in answer["plans"]:
        page.locator(f"#plan-{plan['name']}").check()
        expect(page.locator("#result-total")).to_have_text(total_of(answer, plan["name"]))
        lines = page.locator("#result-bill .table").first.locator("tbody tr")
        expect(lines).to_have_count(len(plan["bill"]["lines"]))
        shown = sum(Decimal(text) for text in lines.locator("td:last-child").all_inner_texts())
        assert shown == Decimal(plan["bill"]["net_total"])
        steps = page.locator("#result-steps .steps > li")
        expect(steps).to_have_count(len(plan["work_order"]["order"]))
        readings = page.locator("#result-readings tbody tr")
        expect(readings).to_have_count(len(plan["expected_measurements"]))
        fuses = page.locator("#result-circuits .table").first.locator("td:last-child")
        assert [float(text) for text in fuses.all_inner_texts()] == [
            circuit["fuse"]["rated_current_a"] for circuit in plan["circuits"]
        ]
    cautions = page.locator("#result-cautions li").all_inner_texts()
    assert cautions == [each["text"] for each in answer["cautions"]]


def test_a_quantity_may_have_a_unit_of_its_own(service_url: str, page: Page) -> None:
    open_with(page, service_url)
    field(page, LENGTH).fill("16 ft")
    job = demo_job(CAR)
    job["circuits"][0]["route"][0]["length"] = "16 ft"
    wanted = total_of(posted(service_url, "plan-installation", {"job": job}))
    expect(page.locator("#result-total")).to_have_text(wanted)


def test_a_fault_is_told_beside_its_field_and_in_the_list(
    service_url: str,
    page: Page,
    complaints: Complaints,
    axe_violations: Callable[[Page], list[str]],
    keep_screenshot: Callable[[Page, str], Path],
) -> None:
    complaints.allow("status of 422")
    open_with(page, service_url)
    before = page.locator("#result-total").inner_text()
    length = field(page, LENGTH)
    length.fill("2,5")
    beside = field(page, "fault:/job/circuits/0/route/0/length")
    expect(beside).to_contain_text("a comma is not read, write 2.5")
    expect(length).to_have_attribute("aria-invalid", "true")
    assert "fault:/job/circuits/0/route/0/length" in (
        length.get_attribute("aria-describedby") or ""
    )
    # The last good answer stays, and says that it is another entry's.
    expect(page.locator("#stale-mark")).to_have_text("This is the answer of the entry before.")
    expect(page.locator("#results")).to_have_class("stale")
    assert page.locator("#result-total").inner_text() == before
    # Also where the field is folded away.
    fold = page.locator("#entry-circuits details.item").first
    fold.locator("> summary").click()
    expect(length).to_be_hidden()
    expect(fold.locator("> summary")).to_contain_text("1 fault within")
    assert axe_violations(page) == []
    keep_screenshot(page, "bench-fault")
    link = page.locator("#faults-list a")
    expect(link).to_have_text("Circuit 1, Route segment 1, Length")
    link.click()
    expect(length).to_be_focused()
    length.fill("2.5")
    expect(page.locator("#faults")).to_be_hidden()
    expect(beside).to_be_hidden()
    expect(page.locator("#stale-mark")).to_be_hidden()
    assert length.get_attribute("aria-invalid") is None


def test_faults_without_a_field_stand_in_the_list(
    service_url: str, page: Page, complaints: Complaints, tmp_path: Path
) -> None:
    complaints.allow("status of 422")
    open_with(page, service_url)
    job = tmp_path / "job.json"
    job.write_text(json.dumps({"job": {**demo_job(CAR), "wheels": 4}}), "utf-8")
    page.locator("#file-load").set_input_files(job)
    expect(page.locator("#faults-list li")).to_have_count(1)
    expect(page.locator("#faults-list li")).to_contain_text("wheels")
    page.locator("#entry-back").click()
    expect(page.locator("#faults")).to_be_hidden()


def test_repeated_things_are_added_moved_and_removed(
    service_url: str, page: Page, complaints: Complaints
) -> None:
    complaints.allow("status of 422")
    open_with(page, service_url)
    page.get_by_role("button", name="Add route segment").click()
    added = field(page, "field:/job/circuits/0/route/2/length")
    expect(added).to_be_focused()
    expect(field(page, "fault:/job/circuits/0/route/2/length")).to_be_visible()
    enter(page, "field:/job/circuits/0/route/2/length", "0.7")
    with page.expect_response(PLAN):
        field(page, "field:/job/circuits/0/route/2/zone").select_option("luggage_compartment")
    up = page.get_by_role("button", name="Move up route segment 3")
    with page.expect_response(PLAN):
        up.click()
    expect(field(page, "field:/job/circuits/0/route/1/length")).to_have_value("0.7")
    expect(page.get_by_role("button", name="Move up route segment 2")).to_be_focused()
    job = demo_job(CAR)
    job["circuits"][0]["route"].insert(1, {"length": 0.7, "zone": "luggage_compartment"})
    wanted = total_of(posted(service_url, "plan-installation", {"job": job}))
    expect(page.locator("#result-total")).to_have_text(wanted)
    page.get_by_role("button", name="Remove route segment 2").click()
    first = total_of(posted(service_url, "plan-installation", {"job": demo_job(CAR)}))
    expect(page.locator("#result-total")).to_have_text(first)


def test_a_new_short_name_is_followed(service_url: str, page: Page) -> None:
    open_with(page, service_url)
    own = field(page, "field:/job/circuits/0/key")
    own.fill("feed")
    own.press("Tab")
    expect(field(page, "field:/job/circuits/0/description")).to_be_focused()
    page.locator("#entry-equipment summary").first.click()
    expect(field(page, "field:/job/equipment/0/circuit")).to_have_value("feed")
    expect(page.locator("#faults")).to_be_hidden()


def test_discount_and_package_price_change_the_total(
    service_url: str, page: Page, complaints: Complaints
) -> None:
    # Half a package is refused; each answer is waited for, however slow the machine.
    complaints.allow("status of 422")
    open_with(page, service_url)
    with page.expect_response(PLAN):
        page.get_by_role("button", name="Add package price").click()
    enter(page, "field:/pricing/package/name", "Bass package")
    enter(page, "field:/pricing/package/price", "700.00")
    pricing = {"package": {"name": "Bass package", "price": "700.00"}}
    answer = posted(service_url, "plan-installation", {"job": demo_job(CAR), "pricing": pricing})
    expect(page.locator("#result-total")).to_have_text(total_of(answer))


def test_a_price_book_of_the_service_is_chosen_by_its_name(
    service_url: str, page: Page, complaints: Complaints
) -> None:
    complaints.allow("status of 4")
    books = {"price_books": [{"name": "spring"}, {"name": "autumn"}], "providers": []}
    page.route("**/v1/price-books", lambda route: route.fulfill(json=books))
    open_with(page, service_url)
    with page.expect_request(PLAN) as asked:
        field(page, "field:/price_book_name").select_option("autumn")
    assert asked.value.post_data_json == {"job": demo_job(CAR), "price_book_name": "autumn"}
    # It is not mounted here; whatever is wrong is told in words.
    expect(page.locator("#status")).to_have_class("refused")
    expect(page.locator("#faults")).to_be_visible()


def test_a_job_is_entered_from_an_empty_sheet(
    service_url: str, page: Page, complaints: Complaints
) -> None:
    complaints.allow("status of 422")
    draw(page)
    page.goto(f"{service_url}/")
    expect(page.locator("#status-text")).to_have_text("Enter a job, or load a demo job.")
    texts = {
        "/job/title": "Lamp",
        "/job/vehicle/description": "Test vehicle",
        "/job/power_sources/0/description": "Battery",
        "/job/power_sources/0/source_voltage": "12.6 V",
        "/job/power_sources/0/source_resistance": "8 mohm",
        "/job/equipment/0/description": "Lamp",
        "/job/equipment/0/load_power": "300 W",
        "/job/circuits/0/description": "Battery to lamp",
        "/job/circuits/0/route/0/length": "16 ft",
    }
    chosen = {
        "/job/vehicle/drive": "combustion",
        "/job/vehicle/system_voltage": "12",
        "/job/conductors/series": "awg",
        "/job/conductors/material": "copper",
        "/job/conductors/insulation": "pvc_105",
        "/job/power_sources/0/tap_point": "battery",
        "/job/equipment/0/what": "lights",
        "/job/circuits/0/source_end": "M8",
        "/job/circuits/0/load_end": "ferrule",
        "/job/circuits/0/route/0/zone": "passenger_compartment",
        "/job/circuits/0/return_path/by": "conductor",
    }
    # What is missing still is told from the first letter on.
    field(page, "field:/job/title").fill("L")
    expect(field(page, "fault:/job/vehicle/drive")).to_be_visible()
    for pointer, text in texts.items():
        field(page, f"field:{pointer}").fill(text)
    for pointer, value in chosen.items():
        field(page, f"field:{pointer}").select_option(value)
    page.get_by_label("ISO 8820-5 SF30").check()
    expect(page.locator("#result-total")).to_be_visible()
    expect(page.locator("#faults")).to_be_hidden()
    expect(page.locator("#result-circuits")).to_contain_text("AWG")


# --- drawing, copies, documents, files ---


def test_the_title_of_a_drawing_is_told_as_text_and_its_style_counts(
    service_url: str, page: Page
) -> None:
    open_with(page, service_url)
    picture = page.locator("#drawing img")
    expect(picture).to_have_attribute("alt", "Lamp & winch: <test>")
    assert (picture.get_attribute("src") or "").startswith("blob:")
    assert picture.evaluate(PIXEL) == [200, 0, 0, 255, 255]


def test_a_service_without_drawings_is_no_fault(
    service_url: str, page: Page, complaints: Complaints
) -> None:
    complaints.allow("status of 404")
    page.route(DRAW, lambda route: route.fulfill(status=404, body="{}"))
    page.goto(f"{service_url}/")
    page.locator("#demo-load").click()
    expect(page.locator("#drawing")).to_have_text("There is no drawing: this service makes none.")
    expect(page.locator("#faults")).to_be_hidden()


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_formulas_give_the_figures_of_the_plan(service_url: str, page: Page, name: str) -> None:
    open_with(page, service_url, name)
    answer = posted(service_url, "plan-installation", {"job": demo_job(name)})
    (plan,) = (each for each in answer["plans"] if each["name"] == "recommended")
    circuits = {each["description"]: each for each in plan["circuits"]}
    outputs = {each["description"]: each for each in plan["real_output"]}
    offers = page.locator("#copy-what option").all_inner_texts()
    formulas = [offer for offer in offers if offer.endswith("as a spreadsheet formula")]
    seen = set()
    for offer in formulas:
        page.locator("#copy-what").select_option(offer)
        text = page.locator("#copy-text").input_value()
        match = re.fullmatch(r'=WEBSERVICE\("(.+)"\)', text)
        assert match is not None
        assert len(match[1]) < 2048
        with urllib.request.urlopen(match[1], timeout=60) as response:
            cell = response.read().decode()
        operation, _, rest = offer.partition(": ")
        of = rest.removesuffix(", as a spreadsheet formula")
        seen.add(operation)
        if operation == "size-conductor":
            # A conductor that its fuse made thicker is larger than its own criteria ask for.
            circuit = circuits[of]
            if circuit["thickened_for"] is None:
                assert cell == circuit["conductor"]["size"]
        elif operation == "size-fuse":
            fuse = circuits[of]["fuse"]
            asked = parse_qs(urlsplit(match[1]).query)
            assert fuse["fuse_type"] in json.loads(asked["fuse_types"][0])
            assert float(cell) == fuse["rated_current_a"], of
        else:
            # The supply voltage of the answer has six digits.
            assert float(cell) == pytest.approx(outputs[of]["output_likely_w"], rel=1e-5)
    assert seen >= {"size-conductor", "size-fuse"}
    assert ("estimate-real-output" in seen) == bool(outputs)


def test_the_curl_command_is_the_request(service_url: str, page: Page) -> None:
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    open_with(page, service_url)
    enter(page, "field:/job/title", "A driver's test")
    page.locator("#copy-button").click()
    expect(page.locator("#copy-said")).to_have_text("Copied.")
    copied = page.evaluate("navigator.clipboard.readText()")
    assert copied == page.locator("#copy-text").input_value()
    start, _, rest = copied.partition(" --data-binary ")
    assert start == (
        f"curl -s '{service_url}/v1/plan-installation' -H 'Content-Type: application/json'"
    )
    body = json.loads(rest[1:-1].replace("'\\''", "'"))
    assert body == {"job": {**demo_job(CAR), "title": "A driver's test"}}


def test_a_job_goes_to_a_file_and_comes_back(service_url: str, page: Page, tmp_path: Path) -> None:
    open_with(page, service_url, "truck_24v")
    with page.expect_download() as saving:
        page.locator("#file-save").click()
    kept = tmp_path / "kept.json"
    saving.value.save_as(kept)
    assert json.loads(kept.read_text("utf-8")) == {"job": demo_job("truck_24v")}
    total = page.locator("#result-total").inner_text()
    page.locator("#entry-clear").click()
    expect(field(page, "field:/job/title")).to_have_value("")
    expect(page.locator("#stale-mark")).to_be_visible()
    page.reload()
    expect(page.locator("#status-text")).to_have_text("Enter a job, or load a demo job.")
    expect(field(page, "field:/job/title")).to_have_value("")
    page.locator("#file-load").set_input_files(kept)
    expect(field(page, "field:/job/title")).to_have_value(demo_job("truck_24v")["title"])
    expect(page.locator("#result-total")).to_have_text(total)
    broken = tmp_path / "broken.json"
    for text, words in BROKEN_FILES:
        broken.write_text(text, "utf-8")
        page.locator("#file-load").set_input_files(broken)
        expect(page.locator("#load-said")).to_contain_text(words)
    expect(field(page, "field:/job/title")).to_have_value(demo_job("truck_24v")["title"])


@pytest.mark.parametrize(
    ("status", "words"),
    [
        (406, "This service does not make this document in this form."),
        (422, "No document was made: Something is left open. give a price"),
    ],
)
def test_a_document_that_is_refused_is_told_in_words(
    service_url: str, page: Page, complaints: Complaints, status: int, words: str
) -> None:
    complaints.allow(f"status of {status}")
    open_with(page, service_url)
    problem = {
        "title": "Refused",
        "detail": "Something is left open.",
        "errors": [{"pointer": "/document", "message": "give a price"}],
    }
    page.route(
        PLAN,
        lambda route: route.fulfill(
            status=status, content_type="application/problem+json", body=json.dumps(problem)
        ),
    )
    page.locator("#print-kind").select_option("work_order")
    page.locator("#print-pdf").click()
    expect(page.locator("#print-said")).to_have_text(words)
    # The tab that was opened for the document closes again, a moment later.
    deadline = time.monotonic() + 10.0
    while len(page.context.pages) > 1 and time.monotonic() < deadline:
        page.wait_for_timeout(20.0)
    assert len(page.context.pages) == 1


# --- keys ---


def test_a_key_is_asked_for_and_kept_in_memory_only(
    tmp_path: Path, new_page: NewPage, complaints: Complaints
) -> None:
    complaints.allow("status of 401")
    keys = tmp_path / "keys.toml"
    keys.write_text(key_entry("bench-test-key", "price", "calculate"), "utf-8")
    with served(tmp_path / "log", LOOMWRIGHT_KEYS_FILE=str(keys)) as address:
        page = new_page(**DESK)
        draw(page)
        page.goto(f"{address}/")
        page.locator("#demo-load").click()
        expect(page.locator("#status-text")).to_have_text(
            "The service asks for a key. Enter it above."
        )
        page.locator("#key").fill("bench-test-key")
        page.locator("#key").press("Enter")
        expect(page.locator("#result-total")).to_be_visible()
        kept = page.evaluate("JSON.stringify([{...sessionStorage}, {...localStorage}])")
        assert "bench-test-key" not in kept
        assert "bench-test-key" not in page.locator("#copy-text").input_value()
        assert "$LOOMWRIGHT_KEY" in page.locator("#copy-text").input_value()
        expect(page.locator("#drawing img")).to_be_visible()
        page.reload()
        expect(page.locator("#key-part")).to_be_visible()
        expect(page.locator("#key")).to_have_value("")
        page.close()


# --- a server that is slow or down ---


def test_a_slow_server_leaves_the_page_usable(
    service_url: str, page: Page, complaints: Complaints
) -> None:
    complaints.allow("net::ERR_ABORTED")
    open_with(page, service_url)
    held: list[Route] = []

    def hold(route: Route) -> None:
        held.append(route)

    page.route(PLAN, hold)
    field(page, LENGTH).fill("3")
    expect(page.locator("#status-text")).to_have_text("Working.")
    expect(page.locator("#stale-mark")).to_be_visible()
    field(page, LENGTH).fill("4")
    page.locator("#plan-leanest").check()
    expect(page.locator("#result-total")).to_be_visible()
    for _ in range(200):
        if len(held) == 2:
            break
        page.wait_for_timeout(50)
    assert len(held) == 2
    # The first was given up, and its answer would be one of an entry that is gone.
    held[1].continue_()
    job = demo_job(CAR)
    job["circuits"][0]["route"][0]["length"] = 4
    wanted = total_of(posted(service_url, "plan-installation", {"job": job}), "leanest")
    expect(page.locator("#result-total")).to_have_text(wanted)
    expect(page.locator("#stale-mark")).to_be_hidden()


def test_a_server_that_is_down_is_told_and_asked_again(
    service_url: str, page: Page, complaints: Complaints
) -> None:
    complaints.allow("net::ERR_CONNECTION_REFUSED")
    open_with(page, service_url)
    page.route(PLAN, lambda route: route.abort("connectionrefused"))
    field(page, LENGTH).fill("3")
    expect(page.locator("#status-text")).to_have_text(
        "The service does not answer. The entry is kept. Next try in 1 s."
    )
    # Each try waits twice as long as the one before.
    expect(page.locator("#status-text")).to_contain_text("Next try in 2 s.")
    expect(page.get_by_role("button", name="Try now")).to_be_visible()
    expect(page.locator("#stale-mark")).to_be_visible()
    page.unroute(PLAN)
    expect(page.locator("#status-text")).to_contain_text("Worked out")
    expect(page.locator("#stale-mark")).to_be_hidden()
    expect(field(page, LENGTH)).to_have_value("3")


def test_the_entry_outlives_a_reload(service_url: str, page: Page) -> None:
    open_with(page, service_url)
    # What is still asked for at the reload would be given up.
    with page.expect_request_finished(lambda request: request.url.endswith(DRAW.strip("*"))):
        enter(page, LENGTH, "7.5")
    page.reload()
    expect(field(page, LENGTH)).to_have_value("7.5")
    expect(page.locator("#result-total")).to_be_visible()


# --- keyboard, telephone, colours, no scripts ---


def tab_to(page: Page, identifier: str, most: int) -> int:
    """Press Tab until an element has the focus, and see at each stop where it is."""
    for pressed in range(1, most + 1):
        page.keyboard.press("Tab")
        style, width, focused = page.evaluate(OUTLINE)
        assert style != "none", focused
        assert width >= 2, focused
        if focused == identifier:
            return pressed
    raise AssertionError(f"{identifier} is not reached within {most} stops")


def test_all_is_done_by_the_keyboard_alone(
    service_url: str, page: Page, complaints: Complaints
) -> None:
    complaints.allow("status of 422")
    draw(page)
    page.goto(f"{service_url}/")
    expect(page.locator("#demo-what option")).to_have_count(len(DEMO_JOBS))
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="To the entry")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("#entry")).to_be_focused()
    tab_to(page, "demo-what", 3)
    tab_to(page, "demo-load", 1)
    page.keyboard.press("Enter")
    expect(page.locator("#result-total")).to_be_visible()
    tab_to(page, LENGTH, 80)
    page.keyboard.type("2,5")
    expect(page.locator("#faults")).to_be_visible()
    page.keyboard.press("ControlOrMeta+a")
    page.keyboard.type("2.5")
    expect(page.locator("#faults")).to_be_hidden()
    tab_to(page, "plan-recommended", 150)
    page.keyboard.press("ArrowRight")
    expect(page.locator("#plan-headroom")).to_be_checked()
    job = demo_job(CAR)
    job["circuits"][0]["route"][0]["length"] = 2.5
    wanted = total_of(posted(service_url, "plan-installation", {"job": job}), "headroom")
    expect(page.locator("#result-total")).to_have_text(wanted)
    # And out again at the end: nothing holds the focus.
    tab_to(page, "copy-button", 60)


def test_the_steps_lead_to_their_parts(service_url: str, page: Page) -> None:
    open_with(page, service_url)
    links = page.locator("nav a")
    for index in range(links.count()):
        link = links.nth(index)
        link.click()
        part = page.locator(link.get_attribute("href") or "")
        expect(part.locator("h3").first).to_be_in_viewport()
        expect(part.locator("h3").first).to_contain_text(f"{index + 1}. ")


# Layout is the same in both schemes, and colours are the same for all jobs.
@pytest.mark.parametrize(
    ("name", "scheme", "width"),
    [
        ("hybrid_jump_start", "light", 360),
        ("hybrid_jump_start", "dark", 360),
        ("hybrid_jump_start", "dark", 1280),
        ("van_second_battery", "light", 1280),
    ],
)
def test_nothing_is_out_of_reach_on_a_desk_and_on_a_telephone(
    service_url: str,
    new_page: NewPage,
    axe_violations: Callable[[Page], list[str]],
    keep_screenshot: Callable[[Page, str], Path],
    name: str,
    scheme: str,
    width: int,
) -> None:
    # At one dot a pixel: a picture of the whole page would be too large at two.
    options = DESK if width == 1280 else {**PHONE, "device_scale_factor": 1}
    page = new_page(**options, color_scheme=scheme)
    load_demo_job(page, service_url, name)
    expect(page.locator("#drawing img")).to_be_visible()
    keep_screenshot(page, f"bench-{width}-{scheme}")
    for fold in page.locator("details").all():
        fold.evaluate("fold => { fold.open = true; }")
    assert axe_violations(page) == []
    # Only tables may scroll sideways, each in its own frame.
    assert page.evaluate("document.documentElement.scrollWidth") == width
    background = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert (background == "rgb(255, 255, 255)") == (scheme == "light")


def test_the_empty_page_is_accessible(
    service_url: str, page: Page, axe_violations: Callable[[Page], list[str]]
) -> None:
    page.goto(f"{service_url}/")
    expect(page.locator("#status-text")).to_have_text("Enter a job, or load a demo job.")
    assert axe_violations(page) == []


def test_without_scripts_the_page_says_what_it_needs(service_url: str, new_page: NewPage) -> None:
    page = new_page(**DESK, java_script_enabled=False)
    page.goto(f"{service_url}/")
    notice = page.locator("noscript p")
    expect(notice).to_be_visible()
    assert notice.locator("a").get_attribute("href") == "/reference"


def test_markup_in_an_answer_stays_text(service_url: str, page: Page) -> None:
    open_with(page, service_url)
    field(page, "field:/job/circuits/0/description").fill("<img src=x onerror=alert(1)><b>feed</b>")
    expect(page.locator("#result-circuits tbody th").first).to_have_text(
        "<img src=x onerror=alert(1)><b>feed</b>"
    )
    assert page.locator("main img:not(#drawing img), main b").count() == 0
