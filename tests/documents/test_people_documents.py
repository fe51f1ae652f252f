"""Documents for people say what the answer says: every line, step, label and figure of it."""

from collections import Counter
from decimal import Decimal

import pytest
from babel.numbers import parse_decimal

from loomwright.documents.for_people import document_sheet, file_name
from loomwright.documents.html import html_of
from loomwright.documents.options import KINDS, LANGUAGES, DocumentOptions
from loomwright.documents.sheet import BLANK, Cautions, Figure, Label, Labels, Steps, Table
from loomwright.documents.words import Words
from loomwright.drawings.drawing import Drawing
from loomwright.jobs.demo_library import DEMO_JOBS, demo_job, demo_price_book
from loomwright.pricing.book_document import price_book_from_document
from loomwright.tables.fuse_words import FUSE_TYPES
from loomwright.web.stated_jobs import stated_job
from people_documents import demo_plan, page_of, plan_answer, sheet_of_demo, tables_of

SIGNS = "€\u00a0 "


def read(text, words):
    """The number in a text, whatever unit or currency stands beside it."""
    kept = "".join(sign for sign in text if sign.isdigit() or sign in "-.,")
    return parse_decimal(kept, locale=words.locale)


def blocks(sheet, kind):
    return [block for section in sheet.sections for block in section.blocks if type(block) is kind]


# --- quote ---


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("name", DEMO_JOBS)
def test_lines_of_the_quote_are_those_of_the_plan(name, language):
    answer = demo_plan(name)
    words = Words(DocumentOptions(language=language))
    said = tables_of(page_of(sheet_of_demo(name, "quote", language)))
    parts, labour = said[words.say("Parts")], said[words.say("Labour")]
    rows = parts[:-1] + labour[:-1]
    assert len(rows) == len(answer["lines"])
    for row, line in zip(
        rows, sorted(answer["lines"], key=lambda each: each["kind"] == "labour"), strict=True
    ):
        assert row[1] == line["description"]
        assert read(row[0], words) == line["number"]
        assert read(row[2].split()[0], words) == Decimal(line["quantity"])
        assert read(row[3], words) == Decimal(line["unit_price"])
        assert read(row[-1], words) == Decimal(line["total"])
    for table, total in ((parts, "parts_total"), (labour, "labour_total")):
        assert read(table[-1][-1], words) == Decimal(answer[total])
        assert sum(read(row[-1], words) for row in table[:-1]) == Decimal(answer[total])


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("name", DEMO_JOBS)
def test_totals_of_the_quote_add_up(name, language):
    answer = demo_plan(name)
    words = Words(DocumentOptions(language=language))
    table = tables_of(page_of(sheet_of_demo(name, "quote", language)))[words.say("Totals")]
    amounts = [read(row[1], words) for row in table]
    parts, labour, net, tax, total, deposit, balance = amounts
    assert [parts + labour, net + tax, total - deposit] == [net, total, balance]
    assert total == Decimal(answer["total"])
    assert balance == Decimal(answer["balance_due"])
    assert read(table[3][0].split("%")[0], words) == Decimal(answer["taxes"][0]["percent"])


def quote_of(book_changes, pricing):
    """The tables of the quote of a demo job under a changed price book, and its answer."""
    book = price_book_from_document(demo_price_book() | book_changes)
    answer = plan_answer(stated_job(demo_job(DEMO_JOBS[0])), pricing, book=book)
    sheet = document_sheet(answer, DocumentOptions(language="de"))
    return tables_of(page_of(sheet)), answer


def test_discounts_and_a_package_stand_at_their_lines():
    words = Words(DocumentOptions(language="de"))
    said, answer = quote_of(
        {},
        {
            "as_of": "2031-04-30",
            "document_discount": {"percent": "7.5"},
        },
    )
    rows = said["Material"][:-1] + said["Arbeit"][:-1]
    for row, line in zip(rows, answer["lines"], strict=True):
        off = read(row[4].replace("\u2212", "-"), words)
        assert off == Decimal(line["total"]) - Decimal(line["list_total"])
    assert sum(read(row[4], words) for row in rows) == Decimal(answer["shared_total"])
    assert sum(read(row[-1], words) for row in rows) == Decimal(answer["lines_total"])


def test_taxes_within_the_prices_are_told_as_included():
    words = Words(DocumentOptions(language="de"))
    said, answer = quote_of({"prices_include_tax": True}, {"as_of": "2031-04-30"})
    table = said["Summen"]
    assert [row[0].split(" ")[0] for row in table[:2]] == ["Material", "Arbeit"]
    parts, labour, net, tax, total = (read(row[1], words) for row in table)
    assert parts + labour == total == net + tax == Decimal(answer["total"])
    assert "enthalten in" in table[3][0]


def test_quote_tells_real_output_beside_the_claim():
    answer = demo_plan("combustion_car")
    (row,) = tables_of(page_of(sheet_of_demo("combustion_car", "quote")))["Real output"]
    (output,) = answer["real_output"]
    assert row[0] == output["description"]
    assert row[3].replace("\u00a0", " ") == f"{output['claimed_output_w']:.0f} W"
    likely = float(row[1].split("\u00a0")[0])
    assert likely == pytest.approx(output["output_likely_w"], rel=0.05)
    assert row[4] == "out of reach of its fuse and supply"


# --- work order ---


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("name", DEMO_JOBS)
def test_work_order_has_every_step_with_its_parts_and_checks(name, language):
    order = demo_plan(name)["work_order"]
    sheet = sheet_of_demo(name, "work_order", language)
    steps = [step for block in blocks(sheet, Steps) for step in block.steps]
    assert [step.number for step in steps] == [step["number"] for step in order["steps"]]
    for step, stated in zip(steps, order["steps"], strict=True):
        # The same part at two places of a step stands there once.
        assert [part for _, part in step.parts] == list(
            dict.fromkeys(part["description"] for part in stated["parts"])
        )
        assert len(step.checks) == len(stated["checks"])
    page = page_of(sheet)
    numbers = [item.get("value") for item in page.iterfind(".//li[@class='step']")]
    assert numbers == [str(step["number"]) for step in order["steps"]]
    boxes = page.iterfind(".//span[@class='box']")
    checks = sum(len(step["checks"]) for step in order["steps"])
    assert len(list(boxes)) == len(order["steps"]) + checks


def numbers_in(text):
    """The numbers of a text, of which those that follow one another are joined by a dash."""
    ends = [[int(end) for end in part.split("\u2013")] for part in text.split(", ")]
    return [number for each in ends for number in range(each[0], each[-1] + 1)]


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("name", DEMO_JOBS)
def test_no_caution_is_lost_and_each_step_has_its_own(name, language):
    answer = demo_plan(name)
    words = Words(DocumentOptions(language=language))
    texts = {entry["key"]: words.say(entry["text"]) for entry in answer["cautions"]}
    stated = {step["number"]: step["cautions"] for step in answer["work_order"]["steps"]}
    sheet = sheet_of_demo(name, "work_order", language)
    (front,) = blocks(sheet, Cautions)
    told = set(front.texts)
    for block in blocks(sheet, Steps):
        shared = {}
        for text in block.cautions:
            numbers, caution = text.partition(" ")[2].split(": ", 1)
            shared[caution] = numbers_in(numbers)
        of_section = {step.number for step in block.steps}
        for numbers in shared.values():
            assert set(numbers) <= of_section
            assert max(1.0, 0.5 * len(of_section)) < len(numbers)
        for step in block.steps:
            # Either at the step, or with its number under the heading of its section.
            above = [text for text, numbers in shared.items() if step.number in numbers]
            assert sorted([*above, *step.cautions]) == sorted(
                texts[key] for key in stated[step.number]
            )
            told |= {*above, *step.cautions}
    assert told == set(texts.values())
    everywhere = Counter(key for keys in stated.values() for key in keys)
    for key, text in texts.items():
        assert (text in front.texts) == (
            key not in everywhere or everywhere[key] > 0.5 * len(stated)
        )
    shown = page_of(sheet).find("body").text_content()
    assert [text for text in texts.values() if text not in shown] == []


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_list_of_parts_adds_up_to_the_steps(name):
    words = Words(DocumentOptions())
    order = demo_plan(name)["work_order"]
    listed = tables_of(page_of(sheet_of_demo(name, "work_order")))["Parts"]
    wanted = Counter()
    for step in order["steps"]:
        for part in step["parts"]:
            wanted[part["description"]] += Decimal(part["quantity"])
    said = Counter()
    for row in listed:
        said[row[2]] += read(row[1].replace("\u00a0", " ").split()[0], words)
    assert said == wanted


@pytest.mark.parametrize("language", LANGUAGES)
def test_each_reading_has_its_range_and_room_for_what_is_measured(language):
    words = Words(DocumentOptions(language=language))
    answer = demo_plan("van_second_battery")
    sheet = sheet_of_demo("van_second_battery", "work_order", language)
    tables = [block for block in blocks(sheet, Table) if block.rows[0][-2:] == (BLANK, BLANK)]
    rows = [row for table in tables for row in table.rows]
    assert len(rows) == len(answer["expected_measurements"])
    in_order = sorted(
        answer["expected_measurements"],
        key=lambda entry: [each["state"] for each in answer["expected_measurements"]].index(
            entry["state"]
        ),
    )
    for row, entry in zip(rows, in_order, strict=True):
        figure, _, unit = row[2].partition("\u00a0")
        scale = 1e-3 if unit == "mV" else 1.0
        assert unit.removeprefix("m") == entry["unit"]
        read_back = scale * float(read(figure, words))
        assert read_back == pytest.approx(entry["expected"], abs=0.0051, rel=0.01)
        low, high = (
            scale * float(read(text, words))
            for text in row[3].split(" ")
            if "V" in text or "A" in text
        )
        assert low <= read_back <= high


def test_drawings_stand_in_the_work_order():
    drawing = Drawing("plan", "Diagram of all circuits", "One battery.", 10, 10, "<svg></svg>")
    sheet = document_sheet(demo_plan(DEMO_JOBS[0]), DocumentOptions(kind="work_order"), (drawing,))
    (figure,) = blocks(sheet, Figure)
    assert figure.drawing is drawing
    (shown,) = page_of(sheet).iterfind(".//div[@role='img']")
    assert shown.get("aria-label") == "Diagram of all circuits. One battery."
    assert len(shown) == 1
    # It is worded in the language of the page (drawings/wording.py).
    assert shown.get("lang") is None


# --- labels ---


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("name", DEMO_JOBS)
def test_each_fuse_has_one_label(name, language):
    words = Words(DocumentOptions(language=language))
    answer = demo_plan(name)
    (labels,) = blocks(sheet_of_demo(name, "fuse_labels", language), Labels)
    assert len(labels.labels) == len(answer["circuits"])
    names = {entry["key"]: entry["description"] for entry in answer["power_sources"]}
    names |= {entry["key"]: entry["description"] for entry in answer["circuits"]}
    for label, circuit in zip(labels.labels, answer["circuits"], strict=True):
        assert isinstance(label, Label)
        assert read(label.head, words) == Decimal(repr(circuit["fuse"]["rated_current_a"]))
        assert label.lines[0] == circuit["description"]
        assert words.say(FUSE_TYPES[circuit["fuse"]["fuse_type"]]) in label.lines[1]
        assert words.section(circuit["conductor"]["size"]) in label.lines[2]
        assert label.lines[-1].endswith(names[circuit["fed_from"]])
        fed = [
            item["description"] for item in answer["equipment"] if item["circuit"] == circuit["key"]
        ]
        fed += [
            each["description"] for each in answer["circuits"] if each["fed_from"] == circuit["key"]
        ]
        assert label.lines[3].endswith(", ".join(fed))


# --- any document ---


@pytest.mark.parametrize("kind", KINDS)
def test_a_job_that_is_not_complete_says_so_on_top(kind):
    book = price_book_from_document({"name": "Bare", "currency": "EUR"})
    answer = plan_answer(stated_job(demo_job(DEMO_JOBS[0])), {}, book=book)
    assert answer["verdict"] == "incomplete"
    sheet = document_sheet(answer, DocumentOptions(kind=kind))
    assert sheet.title.startswith("Draft: ")
    first = sheet.sections[0]
    (block,) = first.blocks
    assert isinstance(block, Cautions)
    assert first.heading == "Not to be offered or built as it stands"
    assert f"Lines without a price: {len(answer['unpriced'])}." in block.texts
    if kind == "quote":
        rows = tables_of(page_of(sheet))["Needed and not priced"]
        assert [row[1] for row in rows] == [entry["description"] for entry in answer["unpriced"]]


def test_a_circuit_that_is_not_sized_is_named():
    job = demo_job("combustion_car")
    job["circuits"][0]["route"][0]["length"] = 100
    answer = plan_answer(stated_job(job), {})
    sheet = document_sheet(answer, DocumentOptions(kind="fuse_labels", language="de"))
    texts = sheet.sections[0].blocks[0].texts
    assert any("kein Leiter hält seine Grenzen ein" in text for text in texts)
    (labels,) = blocks(sheet, Labels)
    assert not labels.labels
    assert page_of(sheet).find(".//h1").text == "Entwurf: Sicherungsschilder"


@pytest.mark.parametrize("kind", KINDS)
def test_the_same_answer_gives_the_same_bytes(kind):
    first, second = (html_of(sheet_of_demo(DEMO_JOBS[0], kind, "es", "us")) for _ in range(2))
    assert first == second


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("language", LANGUAGES)
def test_nothing_in_a_document_is_left_to_be_filled_in(kind, language):
    for name in DEMO_JOBS:
        text = page_of(sheet_of_demo(name, kind, language)).find("body").text_content()
        assert "{" not in text
        assert "None" not in text


def test_words_of_a_document_are_in_its_language():
    english, german = (
        page_of(sheet_of_demo("combustion_car", "work_order", language))
        for language in ("en", "de")
    )
    said = [
        {
            node.text_content()
            for path in (
                ".//h1",
                ".//h2",
                ".//h3",
                ".//dt",
                ".//th",
                ".//p[@class='task']",
                ".//ul[@class='checks']/li",
                ".//ul[@class='warned']/li",
            )
            for node in page.iterfind(path)
        }
        for page in (english, german)
    ]
    assert said[0] & said[1] == {"Plan"}


@pytest.mark.parametrize(
    ("number", "name"),
    [
        ("0017", "work-order-0017.html"),
        ("R/2031 17", "work-order-R-2031-17.html"),
        ('"; filename="x', "work-order-filename-x.html"),
        ("Nº 5\r\nX: y", "work-order-N-5-X-y.html"),
        ("٣", "work-order.html"),
        ("9" * 300, f"work-order-{'9' * 69}.html"),
        (None, "work-order.html"),
    ],
)
def test_name_of_the_file(number, name):
    paperwork = {"paperwork": number and {"number": number}}
    assert file_name(paperwork, DocumentOptions(kind="work_order"), "html") == name
