"""What every drawing is: a picture with the words that stand for it."""

from dataclasses import dataclass


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
