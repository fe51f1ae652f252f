"""What a run keeps for people to look at: pictures of pages and printed documents.

They lie outside the repository, in ``LOOMWRIGHT_ARTEFACTS`` or else below the system's folder of
temporary files, and the run says at its end where. A later run writes over those of the same name.
"""

import os
import re
import tempfile
from pathlib import Path

from playwright.sync_api import Page

from outside_settings import ARTEFACTS

ROOT = Path(__file__).resolve().parents[2]
_NAME = re.compile(r"[a-z0-9]+(?:[-_][a-z0-9]+)*")


def artefact_folder() -> Path:
    """Return the folder, made where it is not there.

    Raises
    ------
    ValueError
        It would lie in the repository.
    """
    stated = os.environ.get(ARTEFACTS)
    folder = Path(stated) if stated else Path(tempfile.gettempdir()) / "loomwright-artefacts"
    folder = folder.resolve()
    if folder.is_relative_to(ROOT):
        raise ValueError(f"{folder} lies in the repository")
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def artefact(name: str, ending: str) -> Path:
    """Return where something is kept.

    Raises
    ------
    ValueError
        The name is not of small letters and digits, with single ``-`` or ``_`` in between.
    """
    if not _NAME.fullmatch(name):
        raise ValueError(f"'{name}' is no name of an artefact")
    return artefact_folder() / f"{name}.{ending}"


def kept_screenshot(page: Page, name: str) -> Path:
    """Keep a picture of a page from top to bottom, with all animation at its end."""
    path = artefact(name, "png")
    page.screenshot(path=path, full_page=True, animations="disabled")
    return path


def kept_pdf(content: bytes, name: str) -> Path:
    """Keep a printed document.

    Raises
    ------
    ValueError
        It is no PDF.
    """
    if not content.startswith(b"%PDF-"):
        raise ValueError(f"'{name}' is no PDF: it begins with {content[:16]!r}")
    path = artefact(name, "pdf")
    path.write_bytes(content)
    return path
