"""The page of a document: sound HTML, harmless whatever the job says, with its own style alone."""

import base64
import copy
import hashlib
import re
from html.parser import HTMLParser
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loomwright.documents.for_people import document_sheet
from loomwright.documents.html import content_security_policy, html_of, style
from loomwright.documents.options import KINDS, LANGUAGES, DocumentOptions
from loomwright.jobs.demo_library import DEMO_JOBS
from people_documents import demo_plan, page_of, sheet_of_demo

VOID = frozenset(("meta", "col", "br", "hr", "img", "input", "link"))
HOSTILE = (
    "<script>alert(1)</script>",
    "</style></title><b onclick=alert(1)>",
    "\"' onmouseover=x &amp; &lt; & {{ 7 * 7 }} {% raw %}",
    "\u202etxet desrever\u2066\u2067",
    "W" * 400,
    "\x00\x07\x1b[31m\ufffe",
    "<!-- --> ]]> <![CDATA[",
    "https://example.org/?a=b&c=d",
)


class _Checked(HTMLParser):
    """Sees that elements are closed in the order in which they were opened."""

    def __init__(self):
        super().__init__()
        self.open = []
        self.tags = []
        self.attributes = []

    def handle_starttag(self, tag, attributes):
        names = [name for name, _ in attributes]
        assert len(set(names)) == len(names)
        self.tags.append(tag)
        self.attributes += attributes
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


def checked(page):
    parser = _Checked()
    parser.feed(page)
    parser.close()
    assert parser.open == []
    return parser


def pages():
    return [
        pytest.param(name, kind, language, id=f"{name}-{kind}-{language}")
        for name in DEMO_JOBS
        for kind in KINDS
        for language in LANGUAGES
    ]


@pytest.mark.parametrize(("name", "kind", "language"), pages())
def test_page_is_sound_and_needs_nothing_else(name, kind, language):
    text = html_of(sheet_of_demo(name, kind, language)).decode()
    assert text.startswith("<!DOCTYPE html>\n")
    parser = checked(text)
    assert parser.tags.count("style") == 1
    assert not set(parser.tags) & {"script", "link", "img", "iframe", "object", "form", "base"}
    names = {attribute for attribute, _ in parser.attributes}
    assert not names & {"href", "src", "style", "srcset", "action"}
    assert not any(attribute.startswith("on") for attribute in names)
    assert "//" not in re.sub(r"<style>.*?</style>", "", text, flags=re.DOTALL)
    assert "url(" not in text
    assert "@import" not in text


@pytest.mark.parametrize(("name", "kind", "language"), pages())
def test_headings_stand_in_order_and_tables_are_tagged(name, kind, language):
    page = page_of(sheet_of_demo(name, kind, language))
    assert page.get("lang") == language
    levels = [int(node.tag[1]) for node in page.iter("h1", "h2", "h3")]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    for table in page.iter("table"):
        assert table.findtext("caption")
        heads = list(table.iterfind("thead/tr/th"))
        assert all(head.get("scope") == "col" and head.text_content() for head in heads)
        widths = table.findall("colgroup/col")
        assert len(widths) == len(heads)
        for row in table.iterfind("tbody/tr"):
            assert [cell.get("data-name") for cell in row] == [head.text for head in heads]


def test_policy_names_the_style_of_every_page_and_lets_nothing_else_in():
    policy = dict(part.strip().partition(" ")[::2] for part in content_security_policy().split(";"))
    digests = {
        base64.b64encode(hashlib.sha256(found.encode()).digest()).decode()
        for kind in KINDS
        for found in re.findall(
            r"<style>(.*?)</style>", html_of(sheet_of_demo(DEMO_JOBS[0], kind)).decode(), re.DOTALL
        )
    }
    assert {policy.pop("style-src")} == {f"'sha256-{digest}'" for digest in digests}
    assert policy.pop("img-src") == "data:"
    assert set(policy.values()) == {"'none'"}
    assert {"default-src", "base-uri", "form-action", "frame-ancestors"} == set(policy)


def test_colours_of_words_stand_out():
    # WCAG 2.2, 1.4.3: 4.5 to 1, by relative luminance on white.
    colours = set(re.findall(r"[{;]\s*color:\s*(#[0-9a-f]+)", style()))
    assert colours
    for colour in colours:
        digits = colour[1:] if len(colour) == 7 else "".join(2 * digit for digit in colour[1:])
        parts = [int(digits[place : place + 2], 16) / 255 for place in (0, 2, 4)]
        linear = [
            part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
        ]
        luminance = sum(
            weight * part for weight, part in zip((0.2126, 0.7152, 0.0722), linear, strict=True)
        )
        assert 1.05 / (luminance + 0.05) >= 4.5, colour


# --- hostile texts ---


def is_taken(text):
    """Whether paperwork takes a text at all."""
    return text.isprintable() and len(text) <= 200 and not text[0].isspace()


def with_text(answer, text, paperwork=None):
    """An answer in which everything that a job or book words freely says the same."""
    made = copy.deepcopy(answer)
    made["title"] = made["vehicle"]["description"] = text
    texts = dict.fromkeys(("number", "seller", "customer"), paperwork)
    made["paperwork"] = texts | {"booking": None}
    made["price_book"]["name"] = text
    for group in ("lines", "circuits", "power_sources", "equipment", "real_output"):
        for entry in made[group]:
            entry["description"] = text
    for tax in made["taxes"]:
        tax["name"] = text
    for step in made["work_order"]["steps"]:
        step["text"] = text
        for part in step["parts"]:
            part["description"] = part["key"] = text
    return made


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("text", HOSTILE)
def test_no_text_of_a_job_becomes_markup(kind, text):
    plain = demo_plan("combustion_car")
    options = DocumentOptions(kind=kind)
    page, harmless = (
        html_of(document_sheet(answer, options)).decode()
        for answer in (
            with_text(plain, text, text if is_taken(text) else "plain"),
            with_text(plain, "plain", "plain"),
        )
    )
    found, wanted = checked(page), checked(harmless)
    assert found.tags == wanted.tags
    assert [name for name, _ in found.attributes] == [name for name, _ in wanted.attributes]
    assert not re.search("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ufffe]", page)


@settings(max_examples=60)
@given(st.text(min_size=1, max_size=40), st.sampled_from(KINDS))
def test_any_text_is_shown_as_it_is(text, kind):
    answer = with_text(demo_plan("hybrid_jump_start"), text)
    page = page_of(document_sheet(answer, DocumentOptions(kind=kind)))
    shown = page.find(".//p[@class='subtitle']").text_content()
    kept = [sign for sign in text if sign.isalnum()]
    assert [sign for sign in shown if sign.isalnum()] == kept


def test_a_title_of_nothing_is_left_out():
    answer = copy.deepcopy(demo_plan(DEMO_JOBS[0])) | {"title": ""}
    page = page_of(document_sheet(answer, DocumentOptions()))
    assert page.find(".//p[@class='subtitle']") is None
