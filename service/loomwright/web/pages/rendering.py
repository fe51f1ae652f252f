"""Pages from templates, everything escaped that is not markup already."""

from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from loomwright.web.pages.serving import ASSETS

SHEET = f"{ASSETS}/page.css"
# What the head of each page leads to.
PLACES = (
    ("/", "Bench"),
    ("/reference", "Reference"),
    ("/plugin/", "Plugin specification"),
    ("/v1/problems", "Problems"),
)


@cache
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("loomwright.web.pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        auto_reload=False,
    )


def rendered(
    template: str,
    *,
    here: str,
    title: str,
    sheets: tuple[str, ...] = (),
    scripts: tuple[str, ...] = (),
    **values: Any,
) -> str:
    """Return a page.

    Parameters
    ----------
    template
        Name of a template that extends ``layout.html``.
    here
        Path of the page.
    title
        Its title, without the name of the service.
    sheets
        Paths of style sheets beside that of all pages.
    scripts
        Paths of scripts, run in order once the page is read.
    **values
        What else the template wants.

    Returns
    -------
    str
        A whole HTML document.
    """
    return (
        _environment()
        .get_template(template)
        .render(
            here=here,
            title=title,
            sheets=(SHEET, *sheets),
            scripts=scripts,
            places=PLACES,
            **values,
        )
    )
