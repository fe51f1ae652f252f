"""One run of a caller's command: what it sent, what it printed and how it ended."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from loomwright.conformance.report import UnexercisedError
from loomwright.conformance.stand_in import RECEIVER, SERVICE, Recorded

BILL_PATH = "/v1/build-bill-of-materials"


@dataclass(frozen=True, slots=True)
class Run:
    """One run of the command."""

    name: str
    recorded: tuple[Recorded, ...]
    output: str
    exit_status: int
    killed: bool
    patience_s: float

    def at(self, place: str) -> list[Recorded]:
        """Return the requests for designs, bills or deliveries that arrived at a place."""
        return [entry for entry in self.recorded if entry.place == place and not entry.aside]

    def posts(self) -> list[Recorded]:
        """Return the POST requests to the service."""
        found = [entry for entry in self.at(SERVICE) if entry.method == "POST"]
        if not found:
            raise UnexercisedError("the command sent no POST to the service")
        return found

    def deliveries(self) -> list[Recorded]:
        """Return what was sent to the receiver."""
        found = self.at(RECEIVER)
        if not found:
            raise UnexercisedError("the command delivered nothing")
        return found


@dataclass
class CallerContext:
    """What the checks know besides the run: the words of the command, its key, and other runs."""

    named: set[str]
    key: str
    plain: Run
    plain_again: Run
    runs: dict[str, Run] = field(default_factory=dict)


Words = Mapping[str, Any]
CallerCheck = Callable[[Run, Words, CallerContext], str | None]


def header(entry: Recorded, name: str) -> str | None:
    """Return a header field by its name in small letters, or None."""
    return next((text for key, text in entry.headers.items() if key.lower() == name), None)


def media_type(entry: Recorded) -> str:
    """Return the media type of a request without its parameters, in small letters."""
    return (header(entry, "content-type") or "").partition(";")[0].strip().lower()
