"""Which document a request wants of a plan or a bill, and how it is set."""

from collections.abc import Mapping
from dataclasses import dataclass

from loomwright.jobs.plan.alternatives import PLAN_NAMES, RECOMMENDED
from loomwright.pricing.faults import DocumentError, Fault
from loomwright.pricing.members import Choice, Member, Record
from loomwright.pricing.reading import ObjectReader

QUOTE, WORK_ORDER, FUSE_LABELS = "quote", "work_order", "fuse_labels"
KINDS = (QUOTE, WORK_ORDER, FUSE_LABELS)
LANGUAGES = ("en", "de", "es")
METRIC, US = "metric", "us"
UNITS = (METRIC, US)

_SETTING: dict[str, Member] = {
    "language": Choice(LANGUAGES, required=False, default="en", about="Of words and figures."),
    "units": Choice(
        UNITS, required=False, default=METRIC, about="Of lengths, temperatures, torques and paper."
    ),
}
_OF_PLAN: dict[str, Member] = {
    "kind": Choice(KINDS, required=False, default=QUOTE, about="Which document is wanted."),
    **_SETTING,
    "plan": Choice(PLAN_NAMES, required=False, default=RECOMMENDED, about="Of which plan."),
}
_ABOUT = "Which document HTML, PDF and CSV are, and how it is set; it changes no JSON."
PLAN_DOCUMENT_RECORD = Record("PlanDocument", _OF_PLAN, required=False, about=_ABOUT)
BILL_DOCUMENT_RECORD = Record("BillDocument", _SETTING, required=False, about=_ABOUT)


@dataclass(frozen=True, slots=True)
class DocumentOptions:
    """Which document is wanted, in which language and units, and of which plan."""

    kind: str = QUOTE
    language: str = "en"
    units: str = METRIC
    plan: str = RECOMMENDED


USUAL_DOCUMENT = DocumentOptions()


def options_from_document(
    document: object, members: Mapping[str, Member] = _OF_PLAN
) -> DocumentOptions:
    """Return the options that a plain JSON document states.

    Parameters
    ----------
    document
        Plain JSON values.
    members
        What it may have: that of ``PLAN_DOCUMENT_RECORD`` or ``BILL_DOCUMENT_RECORD``.

    Returns
    -------
    DocumentOptions
        With what is usual where nothing is stated.

    Raises
    ------
    DocumentError
        Anything is wrong; ``faults`` lists all of it by JSON pointer.
    """
    faults: list[Fault] = []
    reader = ObjectReader(document, "", faults, members)
    stated = {name: reader.choice(name) for name in members}
    if faults:
        raise DocumentError("document", faults)
    return DocumentOptions(**stated)
