"""What is printed in a PDF: text, figures as a reader of a language takes them, and pictures."""

import io
import re
import subprocess
import tempfile
from collections.abc import Iterable
from decimal import Decimal
from functools import cache
from pathlib import Path

from babel import Locale
from pypdf import PdfReader

LONGEST_RENDERING_S = 60.0
_MINUS = "-\u2212"
# Signs between thousands that stand for one another; an ordinary space could part two columns.
_ALIKE = ("\u00a0\u202f", "'\u2019")


def page_texts(content: bytes) -> list[str]:
    """Return the text of each page of a PDF.

    Parameters
    ----------
    content
        The file.

    Returns
    -------
    list of str
        Lines as pypdf finds them, which need not be in the order of reading.
    """
    return [page.extract_text() for page in PdfReader(io.BytesIO(content), strict=True).pages]


def page_pictures(content: bytes, dots_per_inch: int = 100) -> list[bytes]:
    """Return a PNG of each page of a PDF, as ``pdftoppm`` of poppler draws it.

    Parameters
    ----------
    content
        The file.
    dots_per_inch
        How finely.

    Returns
    -------
    list of bytes
        In the order of the pages.

    Raises
    ------
    CalledProcessError
        It is no PDF.
    """
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run(
            ["pdftoppm", "-png", "-r", str(dots_per_inch), "-", f"{folder}/page"],
            input=content,
            capture_output=True,
            timeout=LONGEST_RENDERING_S,
            check=True,
        )
        # Numbers have leading zeros as far as needed.
        return [path.read_bytes() for path in sorted(Path(folder).iterdir())]


@cache
def _figure(locale: str) -> tuple[re.Pattern[str], str]:
    """Return what a figure looks like, and the signs that part its thousands."""
    symbols = Locale.parse(locale, sep="-").number_symbols["latn"]
    group = next((signs for signs in _ALIKE if symbols["group"] in signs), symbols["group"])
    point = symbols["decimal"]
    either = f"[{re.escape(group + point)}]"
    pattern = (
        # Neither the end of a name such as M6 nor the rest of a date or of something misprinted.
        rf"(?<!\w)(?<!\d{either})(?P<minus>[{_MINUS}])?"
        rf"(?P<whole>[0-9]{{1,3}}(?:[{re.escape(group)}][0-9]{{3}})+|[0-9]+)"
        rf"(?:{re.escape(point)}(?P<decimals>[0-9]+))?(?!{either}?[0-9])"
    )
    return re.compile(pattern), group


def figures_in(text: str, locale: str) -> list[Decimal]:
    """Return the figures of a text as a reader of a language takes them.

    ``1.234,56 €`` is one figure for ``de-DE``, and ``1,234.56`` is for ``en-GB``. What is no figure
    there, such as ``1,23`` for thousands or ``26.11.2026``, is left out.

    Parameters
    ----------
    text
        Any text.
    locale
        Language and country, such as ``de-DE``.

    Returns
    -------
    list of Decimal
        In the order of the text, with as many decimals as are printed.
    """
    pattern, group = _figure(locale)
    figures = []
    for found in pattern.finditer(text):
        whole = re.sub(f"[{re.escape(group)}]", "", found["whole"])
        sign = "-" if found["minus"] else ""
        decimals = f".{found['decimals']}" if found["decimals"] else ""
        figures.append(Decimal(f"{sign}{whole}{decimals}"))
    return figures


def missing_figures(
    text: str, expected: Iterable[Decimal | str | int | float], locale: str
) -> list[Decimal]:
    """Return which figures of a plan do not stand in a text.

    Parameters
    ----------
    text
        Of a page or of a PDF.
    expected
        As the JSON answer states them, rounded as they have to be printed; equal by value, so that
        ``"14.50"`` stands in a text with ``14,5``.
    locale
        In which the text is written.

    Returns
    -------
    list of Decimal
        Those that are missing, in the order given.
    """
    there = set(figures_in(text, locale))
    return [figure for figure in map(_decimal, expected) if figure not in there]


def _decimal(stated: Decimal | str | int | float) -> Decimal:
    # By its shortest decimal form: that of JSON, not the binary neighbour.
    return Decimal(str(stated))
