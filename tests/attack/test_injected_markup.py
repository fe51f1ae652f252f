"""Texts that would be script, style, entities or template code stay texts in every document.

Source: OWASP Cheat Sheet Series, Cross Site Scripting Prevention (contexts: element, attribute,
style, address); HTML, 13.2.5 (states of the tokenizer); CWE-79, CWE-91, CWE-94, CWE-611.
"""

import io
from collections.abc import Iterator
from html.parser import HTMLParser
from typing import Any

import pytest
from icalendar import Calendar
from injected import BILL, PLAIN, PLAN, naughty_bodies, request_body
from lxml import etree
from pypdf import PdfReader
from pypdf.generic import NameObject

from drawn_requests import client
from loomwright.documents.options import KINDS

INJECTED = (
    "<script>alert(1)</script>",
    "</svg><script>alert(1)</script>",
    "</style><script>alert(1)</script>",
    "</title><img src=x onerror=alert(1)>",
    "\"><svg/onload=alert(1)>",
    "' onmouseover='alert(1)",
    "<svg><style>*{background:url(//x/y)}</style>",
    "javascript:alert(1)",
    "<a href=\"javascript:alert(1)\">go</a>",
    "expression(alert(1))",
    "<!--", "-->", "<![CDATA[", "]]>", "<?php echo 1 ?>",
    "&lt;script&gt;alert(1)&lt;/script&gt;",
    "&#60;script&#62;", "&quot; onclick=alert(1)", "&a;",
    "<!DOCTYPE x [<!ENTITY a SYSTEM \"file:///etc/passwd\">]>&a;",
    "<xi:include href=\"file:///etc/passwd\" parse=\"text\"/>",
    "{{ 7 * 7 }}", "{% raw %}", "${7*7}", "<%= 7 * 7 %>",
)  # fmt: skip
# Typst reads these in a template; as the texts of a sheet they are none of its business.
TYPESET = (
    "#read(\"/etc/passwd\")",
    "#include \"sheet.typ\"",
    "#eval(\"1 + 1\")",
    "#sys.version",
    "#panic(1)",
    "#image(\"x.svg\")",
    "$ integral x $",
    "*strong* _emph_ `raw`",
    "= Heading",
    "@reference <label>",
    "\\u{202e} \\ #h(1fr)",
    "// comment /* block",
    "#while true {}",
    "\"); #read(\"sheet.typ\"); (\"",
)  # fmt: skip
PAGE, PRINT, PICTURE = "text/html", "application/pdf", "image/svg+xml"


def answered(path: str, body: dict, media_type: str) -> bytes:
    response = client().post(path, json=body, headers={"Accept": media_type})
    assert response.status_code == 200, response.text[:2000]
    assert response.mimetype == media_type
    assert response.headers["X-Content-Type-Options"] == "nosniff"
    return response.data


class _Seen(HTMLParser):
    """Which elements and attributes there are, and the text between them."""

    def __init__(self, page: bytes) -> None:
        super().__init__()
        self.marks: set[tuple[str, str]] = set()
        self.addresses: list[str] = []
        self.texts: list[str] = []
        self.others: list[str] = []
        self.feed(page.decode())
        self.close()
        self.text = " ".join(" ".join(self.texts).split())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.marks |= {(tag, ""), *((tag, name) for name, _ in attrs)}
        self.addresses += [value or "" for name, value in attrs if name in ("href", "src")]

    def handle_data(self, data: str) -> None:
        self.texts.append(data)

    def handle_comment(self, data: str) -> None:
        self.others.append(data)

    def handle_pi(self, data: str) -> None:
        self.others.append(data)

    def unknown_decl(self, data: str) -> None:
        self.others.append(data)


def document(kind: str) -> dict[str, dict[str, str]]:
    return {"document": {"kind": kind}}


@pytest.mark.parametrize("kind", KINDS)
def test_no_text_becomes_an_element_of_a_page(kind: str) -> None:
    plain = _Seen(answered(PLAN, request_body([PLAIN]) | document(kind), PAGE))
    for text in INJECTED:
        page = _Seen(answered(PLAN, request_body([text]) | document(kind), PAGE))
        assert page.marks <= plain.marks, (text, page.marks - plain.marks)
        assert page.others == plain.others, text
        assert page.addresses == plain.addresses == [], text
        assert " ".join(text.split()) in page.text.replace("\u200b", ""), text


def test_no_naughty_string_becomes_an_element_of_a_page() -> None:
    plain = _Seen(answered(BILL, request_body([PLAIN]), PAGE))
    for body in naughty_bodies():
        page = _Seen(answered(BILL, body, PAGE))
        assert page.marks <= plain.marks, page.marks - plain.marks
        assert page.others == plain.others
        assert page.addresses == []


def tree(picture: bytes) -> etree._Element:
    """Return what is parsed without entities, network and document types."""
    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False)
    root = etree.fromstring(picture, parser)
    assert root.getroottree().docinfo.doctype == ""
    return root


def marks(root: etree._Element) -> set[tuple[str, str]]:
    elements = list(root.iter())
    assert all(isinstance(each.tag, str) for each in elements), "a comment or an instruction"
    return {(str(each.tag), str(name)) for each in elements for name in ("", *each.attrib)}


def drawn(texts: list[str], operation: str) -> etree._Element:
    body = {"job": request_body(texts)["job"]}
    if operation == "draw-voltage-path":
        body["to"] = body["job"]["equipment"][0]["key"]
    return tree(answered(f"/v1/{operation}", body, PICTURE))


def test_no_text_becomes_an_element_of_a_drawing() -> None:
    plain = marks(drawn([PLAIN], "draw-installation"))
    for text in INJECTED:
        picture = drawn([text], "draw-installation")
        assert marks(picture) <= plain, text
        told = " ".join(" ".join(picture.itertext()).split())
        assert " ".join(text.split()) in told, text
    for body in naughty_bodies():
        found = tree(answered("/v1/draw-installation", {"job": body["job"]}, PICTURE))
        assert marks(found) <= plain


def printed(body: dict) -> tuple[str, PdfReader]:
    reader = PdfReader(io.BytesIO(answered(BILL, body, PRINT)), strict=True)
    return "".join("".join(page.extract_text().split()) for page in reader.pages), reader


# Names in a PDF that make a reader do something (ISO 32000-2, 12.6).
ACTIONS = {"/AA", "/JavaScript", "/JS", "/Launch", "/OpenAction", "/URI", "/SubmitForm", "/GoToR"}


def names_of(value: Any) -> Iterator[str]:
    """Yield all names of an object of a PDF, of what it holds directly too."""
    if isinstance(value, dict):
        for name, entry in value.items():
            yield from (name, *names_of(entry))
    elif isinstance(value, list):
        for entry in value:
            yield from names_of(entry)
    elif isinstance(value, NameObject):
        yield value


def check_does_nothing(reader: PdfReader) -> None:
    objects = [reader.get_object(number) for number in range(1, int(reader.trailer["/Size"]))]
    names = {name for each in objects for name in names_of(each)}
    assert {"/Type", "/Catalog", "/StructTreeRoot", "/Font"} <= names
    assert not names & ACTIONS


@pytest.mark.parametrize("texts", [INJECTED, TYPESET], ids=["markup", "typst"])
def test_every_text_is_printed_as_it_is(texts: tuple[str, ...]) -> None:
    for start in range(0, len(texts), 6):
        said, reader = printed(request_body(texts[start:] + texts[:start]))
        for text in texts[start : start + 6]:
            assert "".join(text.split()) in said, text
        check_does_nothing(reader)


def test_every_naughty_string_can_be_printed() -> None:
    for body in naughty_bodies(each=120):
        said, reader = printed(body)
        assert said
        check_does_nothing(reader)


def test_no_text_becomes_an_element_of_a_quotation() -> None:
    plain = marks(tree(answered(BILL, request_body([PLAIN]), "application/xml")))
    for body in [*(request_body([text]) for text in INJECTED), *naughty_bodies()]:
        quotation = tree(answered(BILL, body, "application/xml"))
        assert marks(quotation) <= plain
        assert body["paperwork"]["number"] in quotation.itertext()


def test_no_text_becomes_a_line_of_a_calendar() -> None:
    """RFC 5545, 3.3.11: a text escapes what parts lines and values."""
    lines = ("x\\nATTENDEE:mailto:a@x", "a;b,c:d", "END:VEVENT", "\\;\\,\\\\", *INJECTED)
    expected = None
    for body in [*(request_body([text]) for text in lines), *naughty_bodies()]:
        calendar = Calendar.from_ical(answered(BILL, body, "text/calendar"))
        (entry,) = calendar.walk("VEVENT")
        assert not calendar.walk("VALARM")
        expected = expected or set(entry)
        assert set(entry) == expected
        assert str(entry["location"]) == body["paperwork"]["booking"]["bay"]
