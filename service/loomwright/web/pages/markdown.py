"""Markdown of the specification as HTML: anchors, contents, tables, and links that lead somewhere.

CommonMark with tables. Markup in the text is text. A heading has the anchor that code hosts give
it, so that one link serves there and here; a numbered requirement has its number as well, which
stays when the heading is made clearer.
"""

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache
from html import escape
from itertools import pairwise
from urllib.parse import urlsplit

from markdown_it import MarkdownIt
from markdown_it.renderer import RendererProtocol
from markdown_it.rules_core import StateCore
from markdown_it.token import Token
from markdown_it.utils import EnvType, OptionsDict

_COMMENT = re.compile(r"<!--.*-->", re.DOTALL)
_REQUIREMENT = re.compile(r"[A-Z]-[0-9]{3}(?= )")
_LEADS = "leads"
# Where a link of the page leads: a path of the service, or nowhere.
Leads = Callable[[str], str | None]


@dataclass(slots=True)
class Entry:
    """A heading in the contents: its anchor, its text, and the headings below it."""

    anchor: str
    text: str
    inner: list["Entry"] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Rendered:
    """A page: its title, its HTML, and its contents without the title."""

    title: str
    html: str
    contents: list[Entry]


def rendered_markdown(text: str, leads: Leads) -> Rendered:
    """Return a page of Markdown as HTML.

    Parameters
    ----------
    text
        The page, which begins with its title as the only heading of the first level.
    leads
        Takes the path of a link that names no host and returns where it leads here; none makes the
        link plain text.

    Returns
    -------
    Rendered
        Its HTML needs no more escaping.
    """
    reader = _reader()
    tokens = reader.parse(text, env := {_LEADS: leads})
    (title,) = _contents(tokens)
    return Rendered(title.text, reader.renderer.render(tokens, reader.options, env), title.inner)


@cache
def _reader() -> MarkdownIt:
    reader = MarkdownIt("commonmark", {"html": False}).enable("table")
    # In this order, once the text is read.
    reader.core.ruler.push("comments", _drop_comments)
    reader.core.ruler.push("links", _direct_links)
    reader.core.ruler.push("anchors", _set_anchors)
    reader.core.ruler.push("boxes", _let_scroll)
    reader.add_render_rule("code_inline", _breakable_code)
    return reader


def _breakable_code(
    _: RendererProtocol, tokens: Sequence[Token], index: int, _options: OptionsDict, _env: EnvType
) -> str:
    # A long name had better break between its words than within one.
    return f"<code>{escape(tokens[index].content).replace('_', '_<wbr>')}</code>"


def _drop_comments(state: StateCore) -> None:
    """Drop paragraphs that are a comment: they speak to those who edit the file."""
    kept: list[Token] = []
    tokens = iter(state.tokens)
    for token in tokens:
        if token.type == "inline" and _COMMENT.fullmatch(token.content):
            # The paragraph's own beginning and end go with it.
            kept.pop()
            next(tokens)
        else:
            kept.append(token)
    state.tokens = kept


def _direct_links(state: StateCore) -> None:
    """Let links between files lead to the pages that are made of them."""
    for token in state.tokens:
        is_dead = False
        for part in token.children or ():
            if part.type == "link_open":
                target = _directed(str(part.attrs["href"]), state.env[_LEADS])
                is_dead = target is None
                part.attrs = {} if target is None else {"href": target}
            if part.type in ("link_open", "link_close") and is_dead:
                part.tag = "span"


def _directed(href: str, leads: Leads) -> str | None:
    parts = urlsplit(href)
    if parts.scheme or parts.netloc or not parts.path:
        return href
    found = leads(parts.path)
    if found is None or not parts.fragment:
        return found
    return f"{found}#{parts.fragment}"


def _headings(tokens: Sequence[Token]) -> Iterator[tuple[Token, Token]]:
    """Yield each heading and what stands in it."""
    for token, inline in pairwise(tokens):
        if token.type == "heading_open":
            yield token, inline


def _text_of(inline: Token) -> str:
    return "".join(
        part.content for part in inline.children or () if part.type in ("text", "code_inline")
    )


def _set_anchors(state: StateCore) -> None:
    """Give each heading its anchor, one that comes again a number, and a link to itself."""
    times: dict[str, int] = {}
    for token, inline in _headings(state.tokens):
        text = _text_of(inline)
        stem = re.sub(r"[^\w\- ]", "", text.lower()).replace(" ", "-")
        count = times[stem] = times.get(stem, -1) + 1
        anchor = f"{stem}-{count}" if count else stem
        token.attrSet("id", anchor)
        if token.tag == "h1":
            continue
        number = _REQUIREMENT.match(text)
        named = f' id="{number[0]}"' if number else ""
        target, label = number[0] if number else anchor, f"Link to {text}"
        link = f' <a class="self"{named} href="#{target}" aria-label="{escape(label)}">#</a>'
        inline.children = [*(inline.children or ()), Token("html_inline", "", 0, content=link)]


def _let_scroll(state: StateCore) -> None:
    """Let wide tables and listings scroll by themselves, by the keyboard as well."""
    kept: list[Token] = []
    heading = ""
    for token in state.tokens:
        if kept and kept[-1].type == "heading_open":
            heading = _text_of(token)
        if token.type == "table_open":
            label = escape(f"Table: {heading}")
            box = f'<div class="scroll" role="group" tabindex="0" aria-label="{label}">\n'
            kept.append(Token("html_block", "", 0, content=box))
        elif token.type == "th_open":
            token.attrSet("scope", "col")
        elif token.type in ("fence", "code_block"):
            token.attrSet("tabindex", "0")
        kept.append(token)
        if token.type == "table_close":
            kept.append(Token("html_block", "", 0, content="</div>\n"))
    state.tokens = kept


def _contents(tokens: Sequence[Token]) -> list[Entry]:
    """Return the headings of the first level, each with those below it."""
    top = Entry("", "")
    above = [(0, top)]
    for token, inline in _headings(tokens):
        level = int(token.tag[1:])
        while above[-1][0] >= level:
            above.pop()
        entry = Entry(str(token.attrs["id"]), _text_of(inline))
        above[-1][1].inner.append(entry)
        above.append((level, entry))
    return top.inner
