"""The plugin specification: requirements as its pages state them, and the conformance cases.

A requirement is a heading with its number, one sentence alone in a block quote, prose, and a
paragraph that says what the other side does when it is broken. All else that is known of it, level,
roles and transport, is taken from its sentence, so that nothing can say otherwise.
"""

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROLES = ("caller", "provider", "receiver")
# The service is bound as well, but no runner judges it: tests of this project do.
SERVICE = "service"
FOLDER = Path(__file__).parents[3] / "openapi" / "plugin"
PAGES = ("versions.md", "caller.md", "delivery.md", "provider.md", "receiver.md", "service.md")
# BCP 14, longest first, so that a match is never the beginning of another keyword.
KEYWORDS = (
    "MUST NOT",
    "MUST",
    "SHALL NOT",
    "SHALL",
    "SHOULD NOT",
    "SHOULD",
    "NOT RECOMMENDED",
    "RECOMMENDED",
    "REQUIRED",
    "OPTIONAL",
    "MAY",
)
KEYWORD = re.compile(rf"\b(?:{'|'.join(KEYWORDS)})\b")
# What a conformance case has to exist for.
BINDING = ("MUST NOT", "MUST", "SHALL NOT", "SHALL", "REQUIRED")
BREACH = "If it is broken:"
_HEADING = re.compile(r"^### ([A-Z]-[0-9]{3}) (.+)$")
_ROLE = re.compile(rf"\b({'|'.join((*ROLES, SERVICE))})\b")


class SpecificationError(ValueError):
    """The folder holds no specification, or one that cannot be read."""


@dataclass(frozen=True, slots=True)
class Requirement:
    """One numbered requirement.

    ``quotes`` are the block quotes below its heading, of which the first is the requirement;
    ``prose`` is the rest of its section.
    """

    number: str
    title: str
    page: str
    quotes: tuple[str, ...]
    prose: str

    @property
    def sentence(self) -> str:
        """The requirement itself."""
        return self.quotes[0] if self.quotes else ""

    @property
    def keywords(self) -> tuple[str, ...]:
        """Keywords of BCP 14 in the sentence, in order."""
        return tuple(KEYWORD.findall(self.sentence))

    @property
    def level(self) -> str:
        """The keyword that decides."""
        return self.keywords[0] if self.keywords else ""

    @property
    def subject(self) -> str:
        """What stands before the keyword: who is bound, and when."""
        found = KEYWORD.search(self.sentence)
        return self.sentence[: found.start()] if found else ""

    @property
    def roles(self) -> tuple[str, ...]:
        """Who is bound, in the order of the sentence, each once."""
        return tuple(dict.fromkeys(_ROLE.findall(self.subject)))

    @property
    def over_http(self) -> bool:
        """Whether the requirement binds over HTTP alone."""
        return "over HTTP" in self.subject

    @property
    def in_process(self) -> bool:
        """Whether the requirement binds in process alone."""
        return "in process" in self.subject

    @property
    def binding(self) -> bool:
        """Whether nothing excuses a breach."""
        return self.level in BINDING


@dataclass(frozen=True, slots=True)
class Case:
    """One conformance case: what is done, and what each observation tells of which requirement."""

    key: str
    role: str
    about: str
    document: Mapping[str, Any]
    file: str

    @property
    def expectations(self) -> tuple[Mapping[str, Any], ...]:
        """All expectations, in the order in which they are judged."""
        found = list(self.document.get("expect", ()))
        for step in self.document.get("steps", ()):
            found += step.get("expect", ())
        return tuple(found)

    @property
    def requirements(self) -> tuple[str, ...]:
        """Numbers of the requirements that the case judges, each once."""
        stated = (entry.get("requirement") for entry in self.expectations)
        named = [number for number in stated if number is not None]
        return tuple(dict.fromkeys([*named, *self.document.get("requirements", ())]))


@dataclass(frozen=True, slots=True)
class Specification:
    """All requirements in the order of the pages, all cases, and numbers that are gone."""

    requirements: tuple[Requirement, ...]
    cases: tuple[Case, ...]
    retired: Mapping[str, str]

    def of_role(self, role: str) -> tuple[Requirement, ...]:
        """Return the requirements that bind a role."""
        return tuple(entry for entry in self.requirements if role in entry.roles)

    def cases_of(self, role: str) -> tuple[Case, ...]:
        """Return the cases of a role."""
        return tuple(case for case in self.cases if case.role == role)


def specification(folder: Path = FOLDER) -> Specification:
    """Return the specification that a folder holds.

    Parameters
    ----------
    folder
        With the pages, ``retired.json`` and ``cases/``.

    Returns
    -------
    Specification
        As it stands; ``lint`` tells whether it is sound.

    Raises
    ------
    SpecificationError
        A file is missing or no JSON.
    """
    try:
        requirements = [
            requirement
            for page in PAGES
            for requirement in requirements_of(page, (folder / page).read_text("utf-8"))
        ]
        retired = _json(folder / "retired.json")["retired"]
        cases = [
            case for file in sorted((folder / "cases").glob("*.json")) for case in _cases(file)
        ]
    except OSError as error:
        raise SpecificationError(f"no specification in {folder}: {error}") from None
    return Specification(tuple(requirements), tuple(cases), retired)


def requirements_of(page: str, text: str) -> list[Requirement]:
    """Return the requirements of a page.

    Parameters
    ----------
    page
        Name of its file.
    text
        Markdown.

    Returns
    -------
    list of Requirement
        In order; a section without a block quote gives a requirement without a sentence.
    """
    found = []
    for section in sections(text):
        heading = _HEADING.match(section[0])
        if heading is None:
            continue
        quotes, prose = quotes_and_prose(section[1:])
        found.append(Requirement(heading[1], heading[2], page, tuple(quotes), prose))
    return found


def sections(text: str) -> list[list[str]]:
    """Return the lines of a page by section; each but the first begins with its heading."""
    found: list[list[str]] = [[""]]
    fenced = False
    for line in text.splitlines():
        fenced ^= line.startswith("```")
        if line.startswith("#") and not fenced:
            found.append([])
        found[-1].append(line)
    return found


def quotes_and_prose(lines: Sequence[str]) -> tuple[list[str], str]:
    """Return the block quotes of a section, each as one line, and all other text."""
    quotes: list[str] = []
    prose: list[str] = []
    inside = False
    for line in lines:
        quoted = line.startswith(">")
        if quoted:
            text = line.removeprefix(">").strip()
            if inside:
                quotes[-1] = f"{quotes[-1]} {text}"
            else:
                quotes.append(text)
        else:
            prose.append(line)
        inside = quoted
    return quotes, "\n".join(prose)


def _json(file: Path) -> Any:
    try:
        return json.loads(file.read_text("utf-8"))
    except ValueError as error:
        raise SpecificationError(f"{file} is no JSON: {error}") from None


def _cases(file: Path) -> list[Case]:
    document = _json(file)
    return [
        Case(entry["id"], document["role"], entry["about"], entry, file.name)
        for entry in document["cases"]
    ]
