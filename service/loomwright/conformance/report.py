"""What the cases told of each requirement, as text and as JSON."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from loomwright.conformance.specification import Requirement
from loomwright.delivery import VERSION

PASSED, FAILED, ADVICE, UNEXERCISED = "passed", "failed", "advice", "not exercised"
_MARKS = {PASSED: "pass", FAILED: "FAIL", ADVICE: "note", UNEXERCISED: "  --"}


class UnexercisedError(Exception):
    """A requirement cannot be judged here; the message says why."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One observation: the case, and what was seen or why nothing could be."""

    case: str
    text: str


@dataclass(slots=True)
class Ledger:
    """Collects what cases tell, by number of the requirement."""

    passed: dict[str, list[str]] = field(default_factory=dict)
    failed: dict[str, list[Finding]] = field(default_factory=dict)
    unexercised: dict[str, list[Finding]] = field(default_factory=dict)

    def note(self, number: str, case: str, miss: str | None) -> None:
        """Note a miss, or that there was none."""
        if miss is None:
            self.passed.setdefault(number, []).append(case)
        else:
            self.failed.setdefault(number, []).append(Finding(case, miss))

    def skip(self, number: str, case: str, reason: str) -> None:
        """Note why a requirement could not be judged."""
        self.unexercised.setdefault(number, []).append(Finding(case, reason))


@dataclass(frozen=True, slots=True)
class Verdict:
    """What is known of one requirement in the end."""

    requirement: Requirement
    result: str
    findings: tuple[Finding, ...]

    @property
    def document(self) -> dict[str, Any]:
        """The verdict as plain JSON values."""
        return {
            "number": self.requirement.number,
            "title": self.requirement.title,
            "level": self.requirement.level,
            "sentence": self.requirement.sentence,
            "result": self.result,
            "findings": [{"case": entry.case, "text": entry.text} for entry in self.findings],
        }


@dataclass(frozen=True, slots=True)
class Report:
    """All verdicts on one subject in one role."""

    role: str
    subject: str
    verdicts: tuple[Verdict, ...]

    def count(self, result: str) -> int:
        """Return how many requirements have a result."""
        return sum(verdict.result == result for verdict in self.verdicts)

    def numbers(self, result: str) -> list[str]:
        """Return the numbers of the requirements that have a result."""
        return [entry.requirement.number for entry in self.verdicts if entry.result == result]

    @property
    def missed(self) -> bool:
        """Whether the subject fails: something binding was missed, or nothing was exercised."""
        return self.count(FAILED) > 0 or self.count(PASSED) == 0

    @property
    def document(self) -> dict[str, Any]:
        """The report as plain JSON values."""
        return {
            "specification": VERSION,
            "role": self.role,
            "subject": self.subject,
            "conforms": not self.missed,
            "counts": {
                name.replace(" ", "_"): self.count(name)
                for name in (PASSED, FAILED, ADVICE, UNEXERCISED)
            },
            "requirements": [verdict.document for verdict in self.verdicts],
        }

    @property
    def text(self) -> str:
        """The report for people, one line for each requirement and each miss."""
        lines: list[str] = []
        for verdict in self.verdicts:
            entry = verdict.requirement
            lines.append(f"{_MARKS[verdict.result]}  {entry.number}  {entry.title}")
            if verdict.result in (FAILED, ADVICE):
                lines.append(f"      {entry.sentence}")
            lines += [f"      {finding.case}: {finding.text}" for finding in verdict.findings]
        counts = ", ".join(
            f"{self.count(name)} {name}" for name in (PASSED, FAILED, ADVICE, UNEXERCISED)
        )
        lines.append(f"{self.role} {self.subject}: {len(self.verdicts)} requirements, {counts}")
        return "\n".join(lines) + "\n"


def report_of(
    role: str, subject: str, requirements: Sequence[Requirement], ledger: Ledger
) -> Report:
    """Return the verdict on each requirement.

    Parameters
    ----------
    role
        The role judged.
    subject
        Address, factory or command.
    requirements
        All that bind the role.
    ledger
        What the cases told.

    Returns
    -------
    Report
        A requirement that one case failed is failed, whatever others say.
    """
    return Report(role, subject, tuple(_verdict(entry, ledger) for entry in requirements))


def _verdict(entry: Requirement, ledger: Ledger) -> Verdict:
    if misses := ledger.failed.get(entry.number):
        return Verdict(entry, FAILED if entry.binding else ADVICE, _each_once(misses))
    if entry.number in ledger.passed:
        return Verdict(entry, PASSED, ())
    reasons = ledger.unexercised.get(entry.number, ())
    # Many cases can be silent for one reason, which is told once, with the first of them.
    told = {finding.text: finding for finding in reversed(reasons)}
    return Verdict(entry, UNEXERCISED, tuple(reversed(told.values())) or (_no_case(entry),))


def _each_once(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    return tuple(dict.fromkeys(findings))


def _no_case(entry: Requirement) -> Finding:
    return Finding("-", f"no case was run for this {entry.level}")
