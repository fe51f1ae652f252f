"""A sheet as PDF, set by Typst.

Typst is loaded and its compiler made when the first PDF of a process is asked for.
"""

import os
import threading
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, cast

import orjson

from loomwright.documents.pdf_data import data_of
from loomwright.documents.sheet import Block, Facts, Section, Sheet

if TYPE_CHECKING:
    import typst

# Tags, alternative texts, a title and a language, as ISO 14289-1 wants them.
_STANDARD: "typst.PDFStandard" = "ua-1"
# No package is ever used; a folder that is none keeps Typst from looking for one.
_NO_FOLDER = os.devnull
_TEMPLATE = Path(__file__).parent / "typst" / "sheet.typ"
_LACKS_GLYPH = ("could not be displayed", "private use area")


class PdfError(RuntimeError):
    """A sheet that could not be set: a fault of ours, never of a request.

    Parameters
    ----------
    message
        What failed, with the block where one alone is at fault.
    """


def pdf_of(sheet: Sheet) -> bytes:
    """Return a sheet as PDF.

    The same sheet gives the same bytes on every machine: the fonts are those that Typst brings
    along, and no date is written. Threads take turns. A character that the fonts lack is set as an
    empty box, and such a file does not claim PDF/UA.

    Parameters
    ----------
    sheet
        Any; its texts are set as they are, without controls.

    Returns
    -------
    bytes
        A tagged PDF with title and language.

    Raises
    ------
    PdfError
        Typst failed, or the process was forked from one that had set a PDF.
    ValueError
        The paper is unknown.

    References
    ----------
    ISO 14289-1 (PDF/UA-1).
    """
    try:
        return _set(sheet)
    except PdfError as error:
        culprit = _culprit(sheet)
        if culprit is None:
            raise
        raise PdfError(f"{culprit}: {error}") from error


class _Compiler:
    """The compiler of this process; made on first use, and used by one thread at a time."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self._made: typst.Compiler | None = None
        self._template = b""
        self._process = 0

    def pdf(self, data: bytes, standards: list["typst.PDFStandard"]) -> bytes:
        """Return what the template makes of the data of a sheet; the lock has to be held."""
        # Late, as most processes set no PDF.
        import typst  # noqa: PLC0415

        if self._made is None:
            self._template = _TEMPLATE.read_bytes()
            self._made = typst.Compiler(
                root=str(_TEMPLATE.parent),
                ignore_system_fonts=True,
                package_path=_NO_FOLDER,
                package_cache_path=_NO_FOLDER,
            )
            self._process = os.getpid()
        if self._process != os.getpid():
            # Typst's threads stayed behind in the parent; it would wait for them for ever.
            raise PdfError("this process was forked from one that had set a PDF")
        try:
            pdf = self._made.compile(
                # Not by sys_inputs: those belong to what the layout of each cell is remembered by,
                # and no cell would be known again in the next document.
                cast("bytes", {"main": self._template, "sheet.json": data}),
                format="pdf",
                pdf_standards=standards,
                timestamp=0,
            )
        except typst.TypstError as error:
            raise PdfError(f"Typst: {error.message} {' '.join(error.hints)}".strip()) from error
        except BaseException as error:
            # A panic of Rust is no Exception; nobody knows what state it leaves.
            if type(error).__name__ != "PanicException":
                raise
            self._made = None
            raise PdfError(f"Typst: {error}") from error
        if not isinstance(pdf, bytes):
            raise PdfError(f"Typst returned {type(pdf).__name__}")
        return pdf


_COMPILER = _Compiler()


def _set(sheet: Sheet) -> bytes:
    data = orjson.dumps(data_of(sheet))
    with _COMPILER.lock:
        try:
            return _COMPILER.pdf(data, [_STANDARD])
        except PdfError as error:
            if not any(words in str(error) for words in _LACKS_GLYPH):
                raise
        return _COMPILER.pdf(data, [])


def _culprit(sheet: Sheet) -> str | None:
    """Return the name of the first block that cannot be set by itself either."""
    bare = replace(sheet, subtitle="", facts=Facts(()), footer="", sections=())
    for place, section in enumerate(sheet.sections, 1):
        for number, block in enumerate(section.blocks, 1):
            if not _can_be_set(bare, block):
                kind = type(block).__name__
                return f"section {place} ({section.heading!r}), block {number} ({kind})"
    return None


def _can_be_set(bare: Sheet, block: Block) -> bool:
    try:
        _set(replace(bare, sections=(Section("", (block,)),)))
    except PdfError:
        return False
    return True
