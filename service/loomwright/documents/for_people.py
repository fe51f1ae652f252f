"""Documents for people of an answer, by their kind."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from loomwright.documents.fuse_labels import fuse_labels_sheet
from loomwright.documents.heads import Answer
from loomwright.documents.options import FUSE_LABELS, QUOTE, WORK_ORDER, DocumentOptions
from loomwright.documents.quote import quote_sheet
from loomwright.documents.sheet import Sheet
from loomwright.documents.work_order_sheet import work_order_sheet
from loomwright.drawings.drawing import Drawing
from loomwright.harmless import one_line

_SHEETS: Mapping[str, Callable[[Answer, DocumentOptions], Sheet]] = {
    QUOTE: quote_sheet,
    FUSE_LABELS: fuse_labels_sheet,
}


def document_sheet(
    answer: Answer, options: DocumentOptions, drawings: Sequence[Drawing] = ()
) -> Sheet:
    """Return a document for people.

    Parameters
    ----------
    answer
        Answer document of a priced job, or of one plan, in plain JSON values. Bare controls in its
        texts, and those that turn the direction of writing, become spaces.
    options
        Which document, in which language and units.
    drawings
        For a work order.

    Returns
    -------
    Sheet
        The same for the same; whatever the verdict, which it bears on top where it is not
        ``complete``.
    """
    # Paperwork is read again, by rules of its own, wherever it is made use of.
    plain = {**_plain(answer), "paperwork": answer["paperwork"]}
    if options.kind == WORK_ORDER:
        return work_order_sheet(plain, options, drawings)
    return _SHEETS[options.kind](plain, options)


def file_name(answer: Answer, options: DocumentOptions, ending: str) -> str:
    """Return a name for the file of a document: its kind, and its number where it has one.

    Parameters
    ----------
    answer
        Has ``paperwork``.
    options
        Which document.
    ending
        Of the name, without dot.

    Returns
    -------
    str
        Of ASCII letters, digits, hyphens and one dot, such as ``"work-order-0017.html"``.
    """
    paperwork = answer["paperwork"] or {}
    number = "".join(
        sign if sign.isascii() and sign.isalnum() else "-" for sign in paperwork.get("number") or ""
    )
    words = [options.kind.replace("_", "-"), *(part for part in number.split("-") if part)]
    return f"{'-'.join(words)[:80]}.{ending}"


def _plain(value: Any) -> Any:
    # By the exact types of JSON, as answers have many thousands of texts.
    kind = type(value)
    if kind is str:
        return one_line(value)
    if kind is dict or isinstance(value, Mapping):
        return {name: _plain(entry) for name, entry in value.items()}
    if kind is list:
        return [_plain(entry) for entry in value]
    return value
