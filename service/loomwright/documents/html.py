"""A document for people as one HTML page, which needs no other file and prints as it stands.

The page has one style sheet, the same in every page, so that a content-security policy can name it
by its digest and let nothing else in.
"""

import base64
import hashlib
import json
from functools import cache
from importlib import resources

from jinja2 import Environment, StrictUndefined, Template

from loomwright.documents.catalogue import catalogue
from loomwright.documents.fuse_labels import HEIGHT_MM, WIDTH_MM
from loomwright.documents.options import LANGUAGES
from loomwright.documents.sheet import BLANK, PAGE_OF, Block, Sheet, Table, page_number_parts

_TEMPLATE, _STYLE = "page.html", "page.css"
# Names of CSS Paged Media Module Level 3 by ours.
_SIZES = {"a4": "A4", "us-letter": "letter"}
_COUNTERS = {"{page}": "counter(page)", "{pages}": "counter(pages)"}


def html_of(sheet: Sheet) -> bytes:
    """Return a document as HTML.

    Parameters
    ----------
    sheet
        The document; its texts are escaped here, its drawings stand in the page as they are.

    Returns
    -------
    bytes
        UTF-8, without script and without the address of anything else.
    """
    page = _template().render(
        sheet=sheet, style=style(), blank=BLANK, widths=column_widths, kind_of=_kind_of
    )
    return page.encode()


@cache
def style() -> str:
    """Return the style sheet of every page."""
    widths = " ".join(f".w{width} {{ width: {width}%; }}" for width in range(1, 101))
    return (
        _read(_STYLE)
        .replace("LABEL_WIDTH", f"{WIDTH_MM:g}mm")
        .replace("LABEL_HEIGHT", f"{HEIGHT_MM:g}mm")
        .replace("COLUMN_WIDTHS", widths)
        .replace("PAGES_BY_PAPER_AND_LANGUAGE", _pages())
    )


def _pages() -> str:
    """Return how each paper is numbered in each language, for whichever the body names.

    All of them stand in every page, which keeps the digest of the style sheet the same.
    """
    rules = []
    for paper, size in _SIZES.items():
        for language in LANGUAGES:
            parts = page_number_parts(catalogue(language).get(PAGE_OF, PAGE_OF))
            number = " ".join(
                _COUNTERS.get(part) or json.dumps(part, ensure_ascii=False) for part in parts
            )
            name = f"{paper}-{language}"
            rules.append(
                f"@page {name} {{ size: {size}; @bottom-right {{ content: {number}; }} }} "
                f".{name} {{ page: {name}; }}"
            )
    return "\n".join(rules)


@cache
def content_security_policy() -> str:
    """Return the policy of a page: its own style sheet, pictures within it, nothing else.

    References
    ----------
    W3C, Content Security Policy Level 3, 6.7.3 (digest of an inline style).
    """
    digest = base64.b64encode(hashlib.sha256(style().encode()).digest()).decode()
    return (
        f"default-src 'none'; style-src 'sha256-{digest}'; img-src data:; base-uri 'none'; "
        "form-action 'none'; frame-ancestors 'none'"
    )


def column_widths(table: Table) -> list[int]:
    """Return the width of each column of a table in whole per cent, at least 1."""
    whole = sum(column.share for column in table.columns)
    return [max(1, round(100 * column.share / whole)) for column in table.columns]


def _css_string(text: str) -> str:
    """Return words of ours as CSS writes a string, which for them is as JSON writes it."""
    return json.dumps(text, ensure_ascii=False)


def _kind_of(block: Block) -> str:
    return type(block).__name__


@cache
def _template() -> Template:
    environment = Environment(autoescape=True, undefined=StrictUndefined, auto_reload=False)
    return environment.from_string(_read(_TEMPLATE))


def _read(name: str) -> str:
    return (resources.files("loomwright.documents") / name).read_text("utf-8")
