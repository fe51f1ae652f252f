"""What is wrong with a document: each fault beside its JSON pointer."""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with a document.

    ``pointer`` is a JSON pointer (RFC 6901) from the root of the document that was read.
    """

    pointer: str
    message: str


class DocumentError(ValueError):
    """A document that cannot be used, with every fault found in it.

    Parameters
    ----------
    subject
        What was read: ``price_book`` or ``job``.
    faults
        All faults, in document order.
    """

    def __init__(self, subject: str, faults: Sequence[Fault]) -> None:
        listed = "; ".join(f"{fault.pointer or '/'}: {fault.message}" for fault in faults[:20])
        super().__init__(f"The {subject} has {len(faults)} fault(s). {listed}")
        self.subject = subject
        self.faults = tuple(faults)


def pointer_token(name: object) -> str:
    """Return a member name or index escaped for a JSON pointer.

    Parameters
    ----------
    name
        Member name or array index.

    Returns
    -------
    str
        The reference token.

    References
    ----------
    RFC 6901, clause 3.
    """
    return str(name).replace("~", "~0").replace("/", "~1")
