"""The bench page: a worksheet in the browser over the operations of this service."""

from functools import cache
from importlib.resources import files

import orjson
from flask import Flask, Response

from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from loomwright.web.pages.serving import page_response, register_assets, register_page

PAGE, PREFIX = "/", "/bench"
DEMO_JOBS_FILE = f"{PREFIX}/demo-jobs.json"
INDEX = "index.html"
FOLDER = files("loomwright.web") / "bench"


def register_bench(app: Flask) -> None:
    """Make an application answer the bench page, its files and the demo jobs.

    Parameters
    ----------
    app
        The application.
    """
    register_page(app, PAGE, lambda: page_response(_page()))
    register_page(app, DEMO_JOBS_FILE, _demo_jobs_view)
    register_assets(app, FOLDER, asset_names(), PREFIX)


def asset_names() -> tuple[str, ...]:
    """Return the names of the scripts and style sheets of the page."""
    return tuple(sorted(each.name for each in FOLDER.iterdir() if each.name != INDEX))


@cache
def _page() -> bytes:
    return (FOLDER / INDEX).read_bytes()


@cache
def _demo_jobs() -> bytes:
    return orjson.dumps([{"name": name, "job": demo_job(name)} for name in DEMO_JOBS])


def _demo_jobs_view() -> Response:
    return Response(_demo_jobs(), content_type="application/json")
