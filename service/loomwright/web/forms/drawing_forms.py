"""The forms of a drawing: the picture itself, or JSON with the words that stand for it."""

from typing import Any

from loomwright.web.forms.form import Form
from loomwright.web.forms.shared_forms import JSON


def _svg_of(answer: dict[str, Any]) -> bytes:
    svg: str = answer["svg"]
    return svg.encode()


# What a page embeds, and so what comes where the caller has no wish.
SVG = Form(
    "svg",
    "image/svg+xml",
    "The drawing, with its title and description inside; it has no script and needs no other file.",
    encode=_svg_of,
)
DRAWING_FORMS = (JSON, SVG)
