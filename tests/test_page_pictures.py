"""Pictures of the pages of a PDF: one each, in order, to scale and with what is on them."""

import io
import subprocess

import pytest
import typst
from PIL import Image

from pdf_text import page_pictures

# Twelve pages of 50 by 100 mm; the n-th has a black bar of 4 n mm by 5 mm in its upper left corner.
PAGES = 12
SOURCE = "\n".join(
    [
        "#set page(width: 50mm, height: 100mm, margin: 0mm)",
        *[f"#page(rect(width: {4 * n}mm, height: 5mm, fill: black))" for n in range(1, PAGES + 1)],
    ]
)


def test_each_page_is_drawn_to_scale_and_in_its_place() -> None:
    pictures = page_pictures(typst.compile(SOURCE.encode()), dots_per_inch=254)
    assert len(pictures) == PAGES
    for n, content in enumerate(pictures, start=1):
        with Image.open(io.BytesIO(content)) as picture:
            assert picture.format == "PNG"
            # Ten dots a millimetre, up to the rounding of a dot.
            assert picture.size == pytest.approx((500, 1000), abs=1)
            grey = picture.convert("L")
            dark = grey.point(lambda level: 255 * (level < 128)).getbbox()
            assert dark == pytest.approx((0, 0, 40 * n, 50), abs=1)


def test_what_is_no_pdf_is_refused() -> None:
    with pytest.raises(subprocess.CalledProcessError):
        page_pictures(b"no PDF")
