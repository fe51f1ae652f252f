"""Pages for a browser: the bench, the interface and the specification, and what serves them."""

from importlib.resources import files

from flask import Flask

from loomwright.web.pages.bench import register_bench
from loomwright.web.pages.reference import register_reference
from loomwright.web.pages.serving import register_assets
from loomwright.web.pages.specification import register_specification


def register_pages(app: Flask) -> None:
    """Make an application answer all pages and their files.

    Parameters
    ----------
    app
        The application.

    Raises
    ------
    FileNotFoundError
        What is to be served is not installed.
    """
    register_assets(app, files("loomwright.web.pages") / "assets")
    register_bench(app)
    register_reference(app)
    register_specification(app)
