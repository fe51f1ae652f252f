"""Pages and their files, with the headers that keep a browser from doing anything else with them.

Every page and every file has a route of its own, made at the start. A request therefore never
becomes the name of a file, and what was not listed is not there. Pages hold no secrets: they need
no key and count for no limit. They stand in no OpenAPI document.
"""

import gzip
from collections.abc import Callable, Iterable, Mapping
from functools import cache
from importlib.resources.abc import Traversable
from pathlib import PurePosixPath
from types import MappingProxyType

from flask import Flask, Response
from flask.globals import request_ctx

from loomwright.web.manners import LEAST_COMPRESSED_BYTES, takes_gzip

Policy = Mapping[str, str]
View = Callable[[], Response]

# Content Security Policy, level 3: what is not named is refused.
STRICT: Policy = MappingProxyType(
    {
        "default-src": "'none'",
        "script-src": "'self'",
        "style-src": "'self'",
        "img-src": "'self' data: blob:",
        "connect-src": "'self'",
        "font-src": "'self'",
        "base-uri": "'none'",
        "form-action": "'self'",
        "frame-ancestors": "'none'",
    }
)
ASSETS = "/assets"
MEDIA_TYPES = MappingProxyType(
    {
        ".css": "text/css; charset=utf-8",
        ".js": "text/javascript; charset=utf-8",
        ".json": "application/json",
        ".png": "image/png",
        ".svg": "image/svg+xml",
        ".txt": "text/plain; charset=utf-8",
        ".yaml": "application/yaml",
    }
)
_EXTENSION = "loomwright.pages"


def page_paths(app: Flask) -> set[str]:
    """Return the paths of all pages and files of an application, as its routes have them.

    Parameters
    ----------
    app
        The application.

    Returns
    -------
    set
        Kept by the application: what is registered later is added to it.
    """
    paths: set[str] = app.extensions.setdefault(_EXTENSION, set())
    return paths


def page_response(html: str | bytes, policy: Policy = STRICT) -> Response:
    """Return a page with the headers that every page carries.

    Parameters
    ----------
    html
        A whole document, in UTF-8.
    policy
        Directives of the Content Security Policy.

    Returns
    -------
    Response
        ``text/html``.
    """
    response = Response(html, content_type="text/html; charset=utf-8")
    stated = "; ".join(f"{name} {sources}" for name, sources in policy.items())
    response.headers["Content-Security-Policy"] = stated
    response.headers["Referrer-Policy"] = "no-referrer"
    response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
    return response


def register_page(app: Flask, path: str, view: View) -> None:
    """Make an application answer a page or a file to GET and HEAD, with or without a key.

    Parameters
    ----------
    app
        The application.
    path
        Without variable parts. With a slash at its end it is answered without it, too: the service
        redirects nobody.
    view
        Answers the page.

    Raises
    ------
    ValueError
        The path has a variable part.
    """
    if "<" in path:
        raise ValueError(f"{path} is not the path of one page")
    # A dot in the name of an endpoint would stand for a blueprint.
    endpoint = f"page {path}".replace(".", "_")
    app.add_url_rule(path, endpoint, view, methods=["GET"], strict_slashes=False)
    page_paths(app).add(path)


def register_assets(
    app: Flask, folder: Traversable, names: Iterable[str] | None = None, prefix: str = ASSETS
) -> None:
    """Make an application serve files of a package.

    Parameters
    ----------
    app
        The application.
    folder
        Where they lie, such as ``files("package") / "assets"``.
    names
        Which of them; all files of the folder if none are given.
    prefix
        Path that the names are put behind.

    Raises
    ------
    FileNotFoundError
        A file is not there.
    ValueError
        The media type of a file is not known.
    """
    chosen = [each.name for each in folder.iterdir() if each.is_file()] if names is None else names
    for name in sorted(chosen):
        register_page(app, f"{prefix}/{name}", asset_view(folder / name))


def asset_view(file: Traversable) -> View:
    """Return what answers a file; it is read at the first request and kept.

    Parameters
    ----------
    file
        The file.

    Returns
    -------
    callable
        View without arguments.

    Raises
    ------
    FileNotFoundError
        The file is not there.
    ValueError
        Its media type is not known.
    """
    if not file.is_file():
        raise FileNotFoundError(f"{file} is not there to be served")
    suffix = PurePosixPath(file.name).suffix
    if suffix not in MEDIA_TYPES:
        raise ValueError(f"{file.name} has none of the endings {', '.join(MEDIA_TYPES)}")
    content = cache(file.read_bytes)

    @cache
    def packed() -> bytes:
        # Kept, as it may be long; best compression, as it is paid for once.
        return gzip.compress(content(), mtime=0)

    def view() -> Response:
        plain = content()
        response = Response(plain, content_type=MEDIA_TYPES[suffix])
        if len(plain) >= LEAST_COMPRESSED_BYTES and takes_gzip(request_ctx.request):
            response.set_data(packed())
            response.headers["Content-Encoding"] = "gzip"
        return response

    return view
