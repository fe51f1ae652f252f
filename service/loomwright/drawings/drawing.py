"""What every drawing is: a picture with the words that stand for it."""

from dataclasses import dataclass

from loomwright.drawings.shown_text import escaped, printable


@dataclass(frozen=True, slots=True)
class Drawing:
    """A drawing as SVG.

    The same input gives the same bytes. Black and white say everything; a shade only helps. It
    needs no style sheet, no script and no font from elsewhere, and has no ``style`` attributes, so
    that it stands inside a page with a strict content-security policy. Every ``id`` in it starts
    with the drawing's name, so that several stand in one page.

    Parameters
    ----------
    name
        Of its kind, as in ``time_current``.
    title
        What it shows, in one line; the ``title`` of the SVG.
    description
        What a person who does not see it has to know: the figures that matter, in words; the
        ``desc`` of the SVG.
    width, height
        Of the view box [px of CSS]; readable on a screen of 360 px.
    svg
        The document, an ``svg`` element without XML declaration.
    """

    name: str
    title: str
    description: str
    width: int
    height: int
    svg: str


def drawing_of(
    name: str,
    title: str,
    description: str,
    *,
    width: int,
    height: int,
    style: str,
    elements: str,
) -> Drawing:
    """Return a drawing of finished elements, on white.

    Parameters
    ----------
    name
        Of its kind; every ``id`` in the elements starts with it.
    title
        What it shows; what is harmful in it is made harmless.
    description
        What a person who does not see it has to know, as harmless.
    width
        Of the view box [px of CSS].
    height
        Of the view box [px of CSS].
    style
        Attributes of all elements together, as XML.
    elements
        As XML, the lowest first.

    Returns
    -------
    Drawing
        With title and description inside, and a name for each that a reader of screens goes by.
    """
    title, description = printable(title), printable(description)
    titled, described = f"{name}_title", f"{name}_desc"
    size = f'width="{width}" height="{height}"'
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" {size}'
        f' role="img" aria-labelledby="{titled} {described}">'
        f'<title id="{titled}">{escaped(title)}</title>'
        f'<desc id="{described}">{escaped(description)}</desc>'
        f'<rect {size} fill="#fff"/><g {style}>{elements}</g></svg>'
    )
    return Drawing(name, title, description, width, height, svg)
