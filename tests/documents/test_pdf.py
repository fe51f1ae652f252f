"""Documents as PDF, read back by pypdf, which knows nothing of what set them."""

import hashlib
import io
import os
import re
import subprocess
import sys
import threading
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from typing import Any

import orjson
import pytest
import typst
from PIL import Image
from pypdf import PageObject, PdfReader
from pypdf.generic import ContentStream, DictionaryObject
from tests import sheets

from loomwright.documents import pdf
from loomwright.documents.pdf import PdfError, pdf_of
from loomwright.documents.pdf_data import MARGIN_MM, data_of
from loomwright.documents.sheet import (
    BLANK,
    Cautions,
    Column,
    Facts,
    Figure,
    Label,
    Labels,
    Paragraph,
    Section,
    Sheet,
    Step,
    Steps,
    Table,
)
from loomwright.drawings.drawing import Drawing

ROOT = Path(__file__).parents[2]
POINTS_PER_MM = 72.0 / 25.4
MAKERS = {"quote": sheets.quote, "work_order": sheets.work_order, "labels": sheets.labels}
LANGUAGES = ("en", "de", "es")
LONG_WORD = "W" * 200


def pages_of(sheet: Sheet) -> list[PageObject]:
    return list(PdfReader(io.BytesIO(pdf_of(sheet))).pages)


def squeezed(text: str) -> str:
    """Text without spaces of any kind and without hyphens, as lines may end anywhere."""
    return re.sub(r"[\s\u200b\u2010\u00ad-]", "", text)


def words_of(page: PageObject) -> str:
    return squeezed(page.extract_text())


def texts_of(value: Any) -> Iterator[str]:
    """All texts of a part of a sheet that stand on a page."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, Drawing):
        return
    elif is_dataclass(value):
        for member in fields(value):
            if member.name not in {"language", "paper", "page_of"}:
                yield from texts_of(getattr(value, member.name))
    elif isinstance(value, tuple):
        for entry in value:
            yield from texts_of(entry)


def placed(page: PageObject) -> list[tuple[str, float, float, str]]:
    """Pieces of text with the point where they start [pt] and the name of their font."""
    found = []

    def visit(text: str, cm: list[float], tm: list[float], font: Any, _size: float) -> None:
        if text.strip():
            x = tm[4] * cm[0] + tm[5] * cm[2] + cm[4]
            y = tm[4] * cm[1] + tm[5] * cm[3] + cm[5]
            found.append((text.strip(), x, y, str(font["/BaseFont"]) if font else ""))

    page.extract_text(visitor_text=visit)
    return found


def elements(reader: PdfReader) -> list[DictionaryObject]:
    """All elements of the structure tree, in their order."""
    found: list[DictionaryObject] = []

    def walk(node: Any) -> None:
        node = node.get_object()
        if isinstance(node, list):
            for kid in node:
                walk(kid)
        elif isinstance(node, DictionaryObject):
            if "/S" in node:
                found.append(node)
            if "/K" in node:
                walk(node["/K"])

    walk(reader.trailer["/Root"]["/StructTreeRoot"]["/K"])  # type: ignore[index]
    return found


def roles(sheet: Sheet) -> list[str]:
    return [str(element["/S"]) for element in elements(PdfReader(io.BytesIO(pdf_of(sheet))))]


def pictures_of(sheet: Sheet) -> list[Image.Image]:
    """The pages as Typst draws them, in shades of grey, two pixels a point."""
    files: Any = {"main": pdf._TEMPLATE.read_bytes(), "sheet.json": orjson.dumps(data_of(sheet))}
    drawn = typst.compile(files, format="png", ppi=144.0, ignore_system_fonts=True)
    images = drawn if isinstance(drawn, list) else [drawn]
    return [Image.open(io.BytesIO(image)).convert("L") for image in images if image is not None]


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("kind", MAKERS)
def test_each_text_stands_on_a_page(kind: str, language: str) -> None:
    sheet = MAKERS[kind](language)
    text = "".join(words_of(page) for page in pages_of(sheet))
    wanted = {squeezed(words) for words in texts_of(sheet)} - {"", BLANK}
    assert len(wanted) > 20
    assert [words for words in wanted if words not in text] == []


def test_each_row_stands_once_on_one_page_under_the_headings_of_its_table() -> None:
    sheet = sheets.quote(lines=200)
    table = sheet.sections[1].blocks[0]
    assert isinstance(table, Table)
    pages = [words_of(page) for page in pages_of(sheet)]
    headings = "".join(squeezed(column.heading) for column in table.columns)
    where = []
    for row in table.rows:
        row_words = "".join(map(squeezed, row))
        holders = [number for number, page in enumerate(pages) if row_words in page]
        assert len(holders) == 1, row
        where += holders
    assert where == sorted(where)
    assert len(set(where)) >= 4
    assert [page for page in set(where) if headings not in pages[page]] == []


def test_totals_are_bold_and_stand_with_the_end_of_the_table() -> None:
    page = pages_of(sheets.quote(lines=5))[0]
    fonts = {text: font for text, _, _, font in placed(page)}
    assert "Bold" in fonts["33,803.26"]
    assert "Bold" in fonts["Unit price"]
    assert "Bold" not in fonts["1.25"]


def test_figures_end_at_one_line_and_have_one_width() -> None:
    rows = tuple((f"row {n}", figure) for n, figure in enumerate(("1.11", "8.88", "11.11", "88.8")))
    table = Table("", (Column("What"), Column("Figure", is_figure=True)), rows)
    starts = {text: x for text, x, _, _ in placed(pages_of(sheets.small(table))[0])}
    assert starts["1.11"] == pytest.approx(starts["8.88"], abs=0.01)
    digit = starts["8.88"] - starts["11.11"]
    assert digit == pytest.approx(starts["88.8"] - starts["11.11"], abs=digit + 0.01)
    assert 3.7 < digit < 4.7


@pytest.mark.parametrize(
    ("sheet", "count"),
    [
        (sheets.small(Paragraph("One.")), 1),
        (sheets.quote(lines=5), 1),
        (sheets.quote(lines=100), 3),
        (sheets.labels(count=30), 1),
        (sheets.small(sections=(Section("A", ()), Section("B", (), starts_page=True))), 2),
        # Nothing stands in front of it but the title, which stays with it.
        (sheets.small(sections=(Section("A", (Paragraph("One."),)),) * 3), 1),
    ],
)
def test_pages_are_numbered(sheet: Sheet, count: int) -> None:
    pages = [page.extract_text() for page in pages_of(sheet)]
    assert len(pages) == count
    for number, text in enumerate(pages, 1):
        assert f"Page {number} of {count}" in text
        assert sheet.footer in text


def test_words_of_the_page_number_come_in_the_order_of_the_language() -> None:
    (page,) = pages_of(sheets.small(page_of="{pages} Seiten, davon {page}."))
    assert "1 Seiten, davon 1." in page.extract_text()


def test_a_few_lines_to_sign_stay_together_under_their_heading() -> None:
    names = ("Done by", "Date", "Checked by")
    signed = Section("Signed off", (Facts(tuple((name, BLANK) for name in names)),))
    for lead in range(20, 60, 2):
        before = Section("Work", (Paragraph("A line."),) * lead)
        pages = [words_of(page) for page in pages_of(sheets.small(sections=(before, signed)))]
        assert any(all(squeezed(name) in page for name in ("Signed off", *names)) for page in pages)


def test_steps_and_cautions_stay_whole() -> None:
    steps = tuple(
        Step(
            n,
            f"beginning{n}. " + "Words of a step. " * (n % 30),
            (("Where", "here"),),
            (("1", "part"),),
            (),
            (f"ending{n}.",),
        )
        for n in range(60)
    )
    pages = [words_of(page) for page in pages_of(sheets.small(Steps(steps)))]
    assert len(pages) > 4
    for n in range(60):
        assert any(f"beginning{n}." in page and f"ending{n}." in page for page in pages), n
    for lead in range(0, 60, 3):
        cautions = Cautions("Heading of cautions", ("first", "second", "third"))
        sheet = sheets.small(*[Paragraph("A line.")] * lead, cautions)
        held = [words_of(page) for page in pages_of(sheet)]
        assert any(
            all(words in page for words in ("Headingofcautions", "first", "third")) for page in held
        )


def test_headings_stay_with_what_stands_under_them() -> None:
    for lead in range(30, 60):
        table = Table("The caption", (Column("Col"),), (("cell",), ("next",)))
        sheet = sheets.small(
            sections=(
                Section("", (Paragraph("A line."),) * lead),
                Section("The heading", (table,)),
            )
        )
        for page in pages_of(sheet):
            text = words_of(page)
            assert ("Theheading" in text) == ("cell" in text), lead
            assert ("Thecaption" in text) == ("cell" in text), lead


def test_what_is_higher_than_a_page_goes_on_the_next() -> None:
    long = "word " * 3000
    blocks = (
        Cautions("Cautions", (long,)),
        Steps((Step(1, long),)),
        Table("", (Column("A"), Column("B")), ((long, "x"),)),
    )
    for block in blocks:
        pages = pages_of(sheets.small(block))
        assert len(pages) > 1
        assert sum(page.extract_text().count("word") for page in pages) == 3000


def test_language_title_and_standard() -> None:
    for language in LANGUAGES:
        reader = PdfReader(io.BytesIO(pdf_of(sheets.quote(language))))
        root: Any = reader.trailer["/Root"]
        assert root["/Lang"] == language
        assert root["/MarkInfo"]["/Marked"]
        assert root["/ViewerPreferences"]["/DisplayDocTitle"]
        assert reader.metadata is not None
        assert reader.metadata.title == sheets.quote(language).title
        assert reader.metadata.creation_date is None
        assert b"<pdfuaid:part>1</pdfuaid:part>" in root["/Metadata"].get_data()


def test_structure_says_what_is_what() -> None:
    sheet = sheets.quote(lines=80)
    found = roles(sheet)
    table = sheet.sections[1].blocks[0]
    circuits = sheet.sections[0].blocks[1]
    assert isinstance(table, Table)
    assert isinstance(circuits, Table)
    assert found.count("/H1") + found.count("/H2") == 3
    assert found.count("/Table") == 2
    # Headings that are repeated are read out once.
    assert found.count("/TH") == len(table.columns) + len(circuits.columns)
    cells = (80 + 3) * len(table.columns) + 6 * len(circuits.columns)
    assert found.count("/TD") == cells
    assert found.count("/LI") == 2
    figures = [
        element
        for element in elements(PdfReader(io.BytesIO(pdf_of(sheet))))
        if element["/S"] == "/Figure"
    ]
    assert [figure["/Alt"] for figure in figures] == [sheets.drawing().description]


def test_fonts_are_embedded_and_those_of_typst() -> None:
    names = set()
    for page in pages_of(sheets.quote("de")):
        for font in page["/Resources"]["/Font"].values():  # type: ignore[index]
            (inner,) = font.get_object()["/DescendantFonts"]
            descriptor = inner.get_object()["/FontDescriptor"]
            assert {"/FontFile2", "/FontFile3"} & descriptor.keys()
            names.add(re.sub(r"^/[A-Z]{6}\+", "", descriptor["/FontName"]))
    assert names == {"LibertinusSerif-Regular", "LibertinusSerif-Bold"}


def test_same_bytes_in_each_process_and_whatever_was_set_before() -> None:
    script = (
        "import hashlib, sys\n"
        "from loomwright.documents.pdf import pdf_of\n"
        "from tests import sheets\n"
        "made = [pdf_of(m(l)) for l in ('en', 'de') for m in"
        " (sheets.quote, sheets.work_order, sheets.labels)]\n"
        "print(hashlib.sha256(b''.join(made)).hexdigest())\n"
    )
    path = os.pathsep.join([str(ROOT / "service"), str(ROOT)])
    told = {
        subprocess.run(
            [sys.executable, "-c", script],
            env={**os.environ, "PYTHONPATH": path, "TZ": zone, "PYTHONHASHSEED": seed},
            cwd=ROOT,
            capture_output=True,
            check=True,
            text=True,
        ).stdout.strip()
        for zone, seed in (("UTC", "1"), ("Asia/Tokyo", "2"))
    }
    pdf_of(sheets.small(Paragraph("Something else.")))
    here = [pdf_of(maker(language)) for language in ("en", "de") for maker in MAKERS.values()]
    assert told == {hashlib.sha256(b"".join(here)).hexdigest()}


def test_threads_get_what_one_gets() -> None:
    given = [sheets.small(Paragraph(f"Number {n}."), subtitle=f"{n}") for n in range(20)]
    expected = [pdf_of(sheet) for sheet in given]
    got: dict[int, list[bytes]] = {}

    def work(thread: int) -> None:
        got[thread] = [pdf_of(sheet) for sheet in given]

    threads = [threading.Thread(target=work, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [got.get(number) for number in range(8)] == [expected] * 8


@pytest.mark.parametrize(
    "text",
    [
        '#panic(1) $x$ *bold* @ref <label> `raw` \\ // /* = - + #import "x"',
        '"], #read("/etc/passwd")',
        "\\u{202e} \\n \\",
        "#{sys.inputs} {page} {pages} %PDF-1.7 endobj <<>>",
        "=cmd|'/C calc'!A0",
        "https://example.com/a?b=c&d",
        "1. item",
        "~ -- --- ... 'quotes' \"double\"",
    ],
)
def test_nothing_in_a_text_is_evaluated(text: str) -> None:
    sheet = sheets.small(
        Paragraph(text),
        Facts(((text, text),)),
        Table(text, (Column(text),), ((text,),)),
        Cautions(text, (text,)),
        Steps((Step(1, text, ((text, text),), ((text, text),), (text,), (text,)),)),
        Figure(sheets.drawing(), text),
        title=text,
        subtitle=text,
        footer=text,
    )
    words = "".join(words_of(page) for page in pages_of(sheet))
    assert words.count(squeezed(text)) >= 16


def test_controls_and_marks_of_direction_are_harmless() -> None:
    text = "a\x00b\x07c\td\r\ne\u202ef\u2066g\u200fh\ufeffi\u2028j\ud800k"
    sheet = sheets.small(Paragraph(text), title=text, footer=text, page_of=text)
    reader = PdfReader(io.BytesIO(pdf_of(sheet)))
    said = reader.pages[0].extract_text()
    assert said.count("a b c d") == 4
    assert "efghi j" in said
    assert not re.search(r"[\x00-\x09\x0b-\x1f\u202a-\u202e\u2066-\u2069\u200e\u200f]", said)
    assert reader.metadata is not None
    assert reader.metadata.title == "a b c d  efghi j\ufffdk"


@pytest.mark.parametrize("text", ["\u4e2d\u6587", "\U0001f50b", "\u0378"])
def test_character_without_a_glyph_costs_only_the_mark_of_the_standard(text: str) -> None:
    reader = PdfReader(io.BytesIO(pdf_of(sheets.small(Paragraph(f"before {text} after")))))
    root: Any = reader.trailer["/Root"]
    said = reader.pages[0].extract_text()
    assert "before" in said
    assert "after" in said
    assert root["/MarkInfo"]["/Marked"]
    assert b"pdfuaid" not in root["/Metadata"].get_data()


@pytest.mark.parametrize("text", ["\ue000", "\U0010ffff", "\ufdd0", "\ud800"])
def test_what_no_font_can_know_shows_that_something_stood_there(text: str) -> None:
    reader = PdfReader(io.BytesIO(pdf_of(sheets.small(Paragraph(f"before{text}after")))))
    root: Any = reader.trailer["/Root"]
    assert "before\ufffdafter" in reader.pages[0].extract_text()
    assert b"pdfuaid" in root["/Metadata"].get_data()


def test_other_scripts_that_the_fonts_have_keep_the_standard() -> None:
    text = "Ελληνικά Кириллица łódź ñandú Ω \u2192 \u2264 µ°²"
    reader = PdfReader(io.BytesIO(pdf_of(sheets.small(Paragraph(text)))))
    root: Any = reader.trailer["/Root"]
    assert b"pdfuaid" in root["/Metadata"].get_data()
    assert squeezed(text).replace("µ", "μ") in words_of(reader.pages[0]).replace("µ", "μ")


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
@pytest.mark.parametrize(
    "word",
    [
        LONG_WORD,
        "0123456789" * 40,
        "living_area_lighting_with_a_very_long_key." * 8,
        "@" * 300,
        "donaudampfschifffahrtsgesellschaftskapitaen" * 3,
        "\u0416" * 300,
        "\u2593" * 300,
    ],
)
def test_nothing_runs_into_the_margin(word: str, paper: str) -> None:
    columns = tuple(Column(word[:20], is_figure=n == 0, share=1.0 + n) for n in range(4))
    sheet = sheets.small(
        Paragraph(word),
        Facts(((word[:30], word),)),
        Table(word, columns, ((word[:90], "x", "y", word),), ((word[:90],) * 4,)),
        Cautions(word, (word,)),
        Steps((Step(1, word, ((word[:30], word),) * 2, (("1", word),), (word,), (word,)),)),
        Figure(sheets.drawing(), word),
        paper=paper,
        title=word,
        subtitle=word,
        footer=word,
    )
    for number, picture in enumerate(pictures_of(sheet)):
        # The scale is two pixels a point; half a millimetre is left for strokes and overhangs.
        margin = int((MARGIN_MM - 1.4) * POINTS_PER_MM * 2.0)
        for left in (0, picture.width - margin):
            strip = picture.crop((left, 0, left + margin, picture.height))
            assert strip.getextrema() == (255, 255), number


def test_cells_keep_within_their_columns() -> None:
    """Between two columns of long words there is white, from the first row to the last."""
    table = Table(
        "", (Column("A"), Column("B")), tuple((LONG_WORD[:n], LONG_WORD[:n]) for n in (30, 60))
    )
    picture = pictures_of(sheets.small(table))[0]
    middle = picture.width // 2
    strip = picture.crop((middle - 3, 0, middle + 3, picture.height // 2))
    dark_rows = [
        y for y in range(strip.height) if strip.crop((0, y, 6, y + 1)).getextrema()[0] < 200
    ]
    # Rules alone: of the title, above and below the heading, below each row.
    groups = sum(1 for a, b in zip([-9, *dark_rows], dark_rows, strict=False) if b - a > 1)
    assert 0 < groups <= 6


@pytest.mark.parametrize(("width", "height"), [(50.0, 20.0), (38.5, 12.25), (90.0, 40.0)])
@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_labels_are_to_scale(width: float, height: float, paper: str) -> None:
    sheet = sheets.labels(count=60, paper=paper, size=(width, height))
    pages = pages_of(sheet)
    size = {"a4": (210.0, 297.0), "us-letter": (215.9, 279.4)}[paper]
    across = int((size[0] - 2.0 * MARGIN_MM) / width + 1e-9)
    seen = 0
    for page in pages:
        box = page.mediabox
        assert (float(box.width), float(box.height)) == pytest.approx(
            tuple(side * POINTS_PER_MM for side in size), abs=0.02
        )
        heads = {
            int(found[1]): (x, y)
            for text, x, y, _ in placed(page)
            if (found := re.match(r"F([0-9]+) ", text))
        }
        first = min(heads)
        for number, (x, y) in heads.items():
            down, along = divmod(number - first, across)
            assert (x - heads[first][0]) / POINTS_PER_MM == pytest.approx(along * width, abs=0.02)
            assert (heads[first][1] - y) / POINTS_PER_MM == pytest.approx(down * height, abs=0.02)
        seen += len(heads)
    assert seen == 60


def test_a_full_label_keeps_within_its_lines() -> None:
    entry = Label(LONG_WORD, ("many words " * 30,))
    picture = pictures_of(sheets.small(Labels((entry, Label("", ())), 50.0, 20.0)))[0]
    # The second label is empty: a millimetre behind the line between the two, all is white.
    left = int((MARGIN_MM + 51.0) * POINTS_PER_MM * 2.0)
    strip = picture.crop((left, picture.height // 6, left + 200, picture.height // 2))
    columns = [strip.crop((x, 0, x + 1, strip.height)).getextrema()[0] for x in range(100)]
    rules = [y for y in range(strip.height) if strip.crop((0, y, 100, y + 1)).getextrema()[0] < 200]
    assert max(columns) <= 255
    assert len(rules) <= 8


def test_boxes_to_tick_and_to_write_in() -> None:
    steps = Steps(tuple(Step(n, "Do it.") for n in range(1, 6)))
    table = Table("", (Column("What"), Column("Value", is_figure=True)), (("a", BLANK),) * 3)
    (page,) = pages_of(sheets.small(steps, table, Facts((("Date", BLANK),))))
    boxes = []
    contents = page.get_contents()
    assert contents is not None
    corner: list[float] = []
    points: list[tuple[float, float]] = []
    for operands, operator in ContentStream(contents, page.pdf).operations:
        if operator not in {b"re", b"m", b"l", b"h"}:
            continue
        numbers = [float(number) for number in operands]
        if operator == b"re":
            boxes.append((numbers[2], abs(numbers[3])))
        elif operator == b"m":
            points = [(numbers[0], numbers[1])]
        elif operator == b"l":
            points.append((numbers[0], numbers[1]))
        elif operator == b"h" and len(points) >= 4:
            corner = [max(p[n] for p in points) - min(p[n] for p in points) for n in (0, 1)]
            boxes.append((corner[0], corner[1]))
    in_mm = [(w / POINTS_PER_MM, h / POINTS_PER_MM) for w, h in boxes]
    assert sum(w == pytest.approx(3.4, abs=0.3) == h for w, h in in_mm) == 5
    assert sum(w > 15.0 and h == pytest.approx(5.0, abs=0.3) for w, h in in_mm) == 1


def strokes_of(page: PageObject) -> list[tuple[float, float, float, float]]:
    """Straight strokes as their corners [mm], as Typst transforms them one by one."""
    contents = page.get_contents()
    assert contents is not None
    found: list[tuple[float, float, float, float]] = []
    kept: list[tuple[float, ...]] = []
    matrix: tuple[float, ...] = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)
    start = (0.0, 0.0)
    for operands, operator in ContentStream(contents, page.pdf).operations:
        if operator == b"q":
            kept.append(matrix)
        elif operator == b"Q":
            matrix = kept.pop()
        elif operator == b"cm":
            a, b, c, d, e, f = (float(number) for number in operands)
            ma, mb, mc, md, me, mf = matrix
            matrix = (
                *(a * ma + b * mc, a * mb + b * md, c * ma + d * mc, c * mb + d * md),
                *(e * ma + f * mc + me, e * mb + f * md + mf),
            )
        elif operator in {b"m", b"l"}:
            x, y = (float(number) for number in operands)
            a, b, c, d, e, f = matrix
            point = ((a * x + c * y + e) / POINTS_PER_MM, (b * x + d * y + f) / POINTS_PER_MM)
            if operator == b"l":
                found.append((*start, *point))
            start = point
    return found


def test_what_is_filled_in_by_hand_is_ruled_and_has_room() -> None:
    columns = (
        Column("What"),
        Column("Value", is_figure=True),
        Column("Pass", is_tick=True, share=0.1),
    )
    table = Table("", columns, (("a", BLANK, BLANK),) * 3)
    (page,) = pages_of(sheets.small(table))
    strokes = strokes_of(page)
    upright: dict[float, list[float]] = {}
    for x, y, other_x, other_y in strokes:
        # The foot of the page has an edge of its own.
        if x == pytest.approx(other_x, abs=0.01) and y > 40.0:
            upright.setdefault(round(x, 1), []).append(abs(other_y - y))
    # Three rows of five millimetres and more, between three lines.
    assert [sum(lengths) for lengths in upright.values()] == pytest.approx([15.6] * 3, abs=0.2)
    left, middle, right = sorted(upright)
    assert middle - left >= 20.0
    assert right - middle >= 12.9


def test_drawings_have_their_own_size_and_leave_room_for_their_caption() -> None:
    flat = sheets.drawing()
    wide = replace(flat, width=5 * flat.width)
    tall = replace(
        flat, width=100, height=1000, svg=flat.svg.replace('height="130"', 'height="10"')
    )
    figures = [Figure(drawing, "Caption") for drawing in (flat, wide, tall)]
    blocks = data_of(sheets.small(*figures))["sections"][0]["blocks"]
    text_mm = 210.0 - 2.0 * MARGIN_MM
    # A pixel is 0.7 points, or less where that would be too wide or too high.
    assert [block["width_mm"] for block in blocks] == pytest.approx(
        [flat.width * 0.7 / POINTS_PER_MM, text_mm, 20.5], rel=1e-3
    )
    assert [block["floats"] for block in blocks] == [False, False, True]
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 1000">'
        '<rect width="100" height="1000"/></svg>'
    )
    pages = pages_of(sheets.small(Figure(Drawing("t", "T", "A bar.", 100, 1000, svg), "Caption")))
    assert len(pages) == 1
    assert "Caption" in pages[0].extract_text()


def test_a_failure_names_the_block() -> None:
    broken = Drawing("broken", "T", "D", 10, 10, "<svg")
    sheet = sheets.small(Paragraph("Fine."), Figure(broken, "Caption"))
    with pytest.raises(PdfError, match=r"section 1 \('Section'\), block 2 \(Figure\): .*SVG"):
        pdf_of(sheet)
    assert pdf_of(sheets.small(Paragraph("Fine.")))


def test_unknown_paper_is_refused() -> None:
    with pytest.raises(ValueError, match="'a3' is no paper"):
        pdf_of(sheets.small(paper="a3"))


def test_a_forked_process_says_why_it_cannot() -> None:
    script = (
        "import os\n"
        "from loomwright.documents.pdf import PdfError, pdf_of\n"
        "from tests import sheets\n"
        "pdf_of(sheets.small())\n"
        "if os.fork():\n"
        "    raise SystemExit(os.waitstatus_to_exitcode(os.wait()[1]))\n"
        "try:\n"
        "    pdf_of(sheets.small())\n"
        "except PdfError as error:\n"
        "    os._exit(3 if 'forked' in str(error) else 4)\n"
    )
    path = os.pathsep.join([str(ROOT / "service"), str(ROOT)])
    done = subprocess.run(
        [sys.executable, "-c", script],
        env={**os.environ, "PYTHONPATH": path},
        cwd=ROOT,
        timeout=60.0,
        check=False,
    )
    assert done.returncode == 3


def test_typst_is_loaded_with_the_first_document() -> None:
    script = (
        "import sys\n"
        "from loomwright.documents import pdf\n"
        "assert 'typst' not in sys.modules\n"
        "from tests import sheets\n"
        "pdf.pdf_of(sheets.small())\n"
        "assert 'typst' in sys.modules\n"
    )
    path = os.pathsep.join([str(ROOT / "service"), str(ROOT)])
    subprocess.run(
        [sys.executable, "-c", script],
        env={**os.environ, "PYTHONPATH": path},
        cwd=ROOT,
        timeout=60.0,
        check=True,
    )


def test_words_are_divided_only_where_one_is_too_long_for_its_column() -> None:
    names = (("Einbauort", "Batteriefach"), ("Anzugsdrehmoment", "8,5 N·m"), ("Länge", "2 m"))
    step = Step(1, "Leitung verlegen.", names)
    narrow = tuple(Column("Hauptsicherungshalterung") for _ in range(8))
    sheet = sheets.small(
        Facts(names),
        Steps((step,)),
        Table("", narrow, (("x",) * 8,)),
        facts=Facts(names),
        language="de",
    )
    data = data_of(sheet)
    blocks = data["sections"][0]["blocks"]
    assert [data["hyphenate"], *(block["hyphenate"] for block in blocks)] == [
        False,
        False,
        False,
        True,
    ]
    (page,) = pages_of(sheet)
    # A hyphen that the setter put in is a soft one to whoever reads the text.
    assert re.search(r"Haupt[a-z]*\u00ad\s", page.extract_text())
    assert "Anzugsdrehmoment" in page.extract_text()
