"""The reference of the interface: the service's own OpenAPI document in Swagger UI, offline."""

from functools import cache
from importlib.util import find_spec
from pathlib import Path

from flask import Flask

from loomwright.web.pages.rendering import rendered
from loomwright.web.pages.serving import ASSETS, page_response, register_assets, register_page

PATH = "/reference"
_VENDOR = f"{ASSETS}/swagger-ui"
_VENDOR_PACKAGE = "flask_swagger_ui"
_VENDOR_FILES = ("swagger-ui-bundle.js", "swagger-ui.css")


def register_reference(app: Flask) -> None:
    """Make an application answer the reference and the files of Swagger UI.

    Parameters
    ----------
    app
        The application.

    Raises
    ------
    FileNotFoundError
        The package that carries Swagger UI is not installed, or lacks a file.
    """
    register_assets(app, _vendor_folder(), _VENDOR_FILES, _VENDOR)
    register_page(app, PATH, lambda: page_response(_page()))


def _vendor_folder() -> Path:
    # Found, not imported: of the package nothing but the files is used.
    found = find_spec(_VENDOR_PACKAGE)
    if found is None or found.origin is None:
        raise FileNotFoundError(f"the package {_VENDOR_PACKAGE} is not installed")
    return Path(found.origin).parent / "dist"


@cache
def _page() -> str:
    return rendered(
        "reference.html",
        here=PATH,
        title="Reference of the interface",
        sheets=(f"{_VENDOR}/swagger-ui.css", f"{ASSETS}/reference.css"),
        scripts=(f"{_VENDOR}/swagger-ui-bundle.js", f"{ASSETS}/reference.js"),
    )
