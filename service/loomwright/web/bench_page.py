"""The bench page: a worksheet in the browser over the operations of this service.

Its files are fixed and packaged; each has an address of its own, so that nothing of a request
ever becomes part of a path of a file.
"""

from functools import cache
from importlib.resources import files
from types import MappingProxyType

import orjson
from flask import Blueprint, Response
from flask.globals import request_ctx

from loomwright.jobs.demo_library import DEMO_JOBS, demo_job

_TYPES = MappingProxyType(
    {
        ".html": "text/html; charset=utf-8",
        ".css": "text/css; charset=utf-8",
        ".js": "text/javascript; charset=utf-8",
    }
)
ASSETS = (
    "answer.css",
    "bench.css",
    "body.js",
    "calculators.js",
    "choices.js",
    "copying.js",
    "dom.js",
    "drawing.js",
    "entry.js",
    "faults.js",
    "fields.css",
    "fields.js",
    "form.js",
    "layout.js",
    "live.js",
    "loading.js",
    "main.js",
    "plan.js",
    "plans.js",
    "printing.js",
    "references.js",
    "results.js",
    "schema.js",
    "service.js",
    "supply.js",
    "tables.js",
    "words.js",
    "work.js",
)
PAGE, DEMO_JOBS_FILE = "/", "/bench/demo-jobs.json"
# What a browser loads before anybody could type a key in; all of it is the same for everybody.
PAGE_PATHS = frozenset({PAGE, DEMO_JOBS_FILE, *(f"/bench/{name}" for name in ASSETS)})
PAGE_HEADERS: MappingProxyType[str, str] = MappingProxyType(
    {
        "Content-Security-Policy": (
            "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
            "connect-src 'self'; font-src 'self'; frame-src blob:; base-uri 'none'; "
            "form-action 'self'; frame-ancestors 'none'"
        ),
        "X-Content-Type-Options": "nosniff",
        "Referrer-Policy": "no-referrer",
    }
)

blueprint = Blueprint("bench_page", __name__)


@cache
def page_file(name: str) -> bytes:
    """Return a packaged file of the page.

    Parameters
    ----------
    name
        ``index.html`` or one of ``ASSETS``.

    Returns
    -------
    bytes
        As it stands in the package.
    """
    return (files("loomwright.web") / "bench" / name).read_bytes()


def _sent(content: bytes, media_type: str) -> Response:
    return Response(content, content_type=media_type, headers=dict(PAGE_HEADERS))


@blueprint.get(PAGE)
def page_view() -> Response:
    """Answer the page itself."""
    return _sent(page_file("index.html"), _TYPES[".html"])


@cache
def _demo_jobs() -> bytes:
    return orjson.dumps([{"name": name, "job": demo_job(name)} for name in DEMO_JOBS])


@blueprint.get(DEMO_JOBS_FILE)
def demo_jobs_view() -> Response:
    """Answer the demo jobs, each with its name."""
    return _sent(_demo_jobs(), "application/json")


def _asset_view() -> Response:
    # The address is one of a fixed list: the rule matched it whole.
    name = request_ctx.request.path.rpartition("/")[2]
    return _sent(page_file(name), _TYPES[name[name.rindex(".") :]])


for _name in ASSETS:
    blueprint.add_url_rule(f"/bench/{_name}", f"asset_{_name.replace('.', '_')}", _asset_view)
