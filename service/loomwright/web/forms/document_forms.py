"""The forms of documents for people: what is made of an answer that says which is wanted.

Such an answer has ``paperwork`` beside its figures, and ``document`` and ``drawings``, which are no
part of the JSON answer. What makes documents is loaded with the first of them: calendars, words of
several languages, templates and typesetting would double the time that the service takes to start.
"""

# ruff: noqa: PLC0415

from collections.abc import Sequence
from dataclasses import asdict
from functools import partial
from typing import Any

from loomwright.documents.options import DocumentOptions
from loomwright.documents.sheet import Sheet
from loomwright.drawings.drawing import Drawing
from loomwright.drawings.wording import Wording
from loomwright.web.forms.form import Form
from loomwright.web.forms.shared_forms import JSON

Answer = dict[str, Any]


def document_members(
    options: DocumentOptions, paperwork: dict[str, Any] | None, drawings: Sequence[Drawing] = ()
) -> Answer:
    """Return what an answer has besides for the sake of documents.

    Parameters
    ----------
    options
        Which document is wanted.
    paperwork
        As the request states it.
    drawings
        What a work order shows.

    Returns
    -------
    dict
        Members to add.
    """
    return {
        "paperwork": paperwork,
        "document": asdict(options),
        "drawings": [asdict(drawing) for drawing in drawings],
    }


def drawn_wording(options: DocumentOptions) -> Wording:
    """Return the words and figures of the drawings in a document.

    Parameters
    ----------
    options
        Its language and units.

    Returns
    -------
    Wording
        For whatever draws.
    """
    from loomwright.documents.words import Words

    return Words(options).of_drawings()


def _options(answer: Answer) -> DocumentOptions:
    return DocumentOptions(**answer["document"])


def _sheet(answer: Answer) -> Sheet:
    from loomwright.documents.for_people import document_sheet

    drawings = [Drawing(**entry) for entry in answer["drawings"]]
    return document_sheet(answer, _options(answer), drawings)


def _page(answer: Answer) -> bytes:
    from loomwright.documents.html import html_of

    return html_of(_sheet(answer))


def _print(answer: Answer) -> bytes:
    from loomwright.documents.pdf import pdf_of

    return pdf_of(_sheet(answer))


def _table(answer: Answer) -> bytes:
    from loomwright.documents.plan_csv import plan_csv

    return plan_csv(answer, _options(answer).kind)


def document_headers(ending: str, answer: Answer) -> dict[str, str]:
    """Return the header fields of a document in the language of people.

    Parameters
    ----------
    ending
        Of the name of its file.
    answer
        With ``document``.

    Returns
    -------
    dict
        Name of the file, language, and that nobody guesses another media type.
    """
    from loomwright.documents.for_people import file_name

    options = _options(answer)
    return {
        "Content-Disposition": f'inline; filename="{file_name(answer, options, ending)}"',
        "Content-Language": options.language,
        "X-Content-Type-Options": "nosniff",
    }


def _page_headers(answer: Answer) -> dict[str, str]:
    from loomwright.documents.html import content_security_policy

    policy = {"Content-Security-Policy": content_security_policy()}
    return document_headers("html", answer) | policy


def _table_headers(answer: Answer) -> dict[str, str]:
    # Its headings and texts are English, whatever language the documents are asked for in.
    return document_headers("csv", answer) | {"Content-Language": "en"}


HTML = Form(
    "html",
    "text/html",
    "The document for people that `document` asks for, one page that needs no other file.",
    encode=_page,
    headers=_page_headers,
    parameters="; charset=utf-8",
)
PLAN_CSV = Form(
    "csv",
    "text/csv",
    "What that document lists, as rows: lines and totals of the quote, steps with parts and "
    "readings of the work order, or labels; plain numbers, names of columns in English.",
    encode=_table,
    headers=_table_headers,
    parameters="; charset=utf-8; header=present",
)
PDF = Form(
    "pdf",
    "application/pdf",
    "The same document set for print: tagged, with its fonts, the same bytes for the same request.",
    encode=_print,
    headers=partial(document_headers, "pdf"),
    is_binary=True,
)
PLAN_FORMS = (JSON, HTML, PDF, PLAN_CSV)
