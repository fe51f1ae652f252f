"""The plugin specification in the browser, with the pages on HTTP and on price books.

Each text is kept once, in ``openapi/``: an editable install serves it from there, and a wheel from
the copy that ``setup.py`` puts into it.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path, PurePosixPath
from posixpath import normpath

from flask import Flask, Response

from loomwright.web.pages.rendering import rendered
from loomwright.web.pages.serving import asset_view, page_response, register_page

ROOT_PATH = "/plugin/"
_INDEX = "README.md"
# What pages link to without being pages, and what programs read of them.
_RAW_ENDINGS = (".yaml", ".json")
# Folders that are served, from the root of the specification, and the group of their pages.
_GROUPS = {"plugin": "Specification", ".": "Beside it", "plugin/operations": "Operations"}


@dataclass(frozen=True, slots=True)
class Place:
    """A page as others link to it."""

    path: str
    name: str


def specification_folder() -> Traversable:
    """Return where the texts lie.

    Returns
    -------
    Traversable
        With ``http.md``, ``price-book.md`` and ``plugin``.

    Raises
    ------
    FileNotFoundError
        Neither an installed package nor a checkout has them.
    """
    packed = files("loomwright.web.pages") / "specification"
    if packed.is_dir():
        return packed
    checkout = Path(__file__).parents[4] / "openapi"
    if not checkout.is_dir():
        raise FileNotFoundError(f"the specification is neither in {packed} nor in {checkout}")
    return checkout


def paths_by_file(folder: Traversable) -> dict[str, str]:
    """Return the path of each page and of each file beside the pages.

    Parameters
    ----------
    folder
        As ``specification_folder`` returns it.

    Returns
    -------
    dict
        By file below the folder, such as ``plugin/operations/README.md``; pages have no ending.
    """
    found = {}
    for below in _GROUPS:
        for file in sorted((folder / below).iterdir(), key=lambda each: each.name):
            name = str(PurePosixPath(below, file.name))
            shown = name.removeprefix("plugin/")
            if file.name.endswith(".md"):
                found[name] = ROOT_PATH + shown.removesuffix(".md").removesuffix("README")
            elif below == "plugin" and file.name.endswith(_RAW_ENDINGS):
                found[name] = ROOT_PATH + shown
    return found


def register_specification(app: Flask) -> None:
    """Make an application answer the pages of the specification.

    Parameters
    ----------
    app
        The application.

    Raises
    ------
    FileNotFoundError
        There is no specification.
    """
    folder = specification_folder()
    paths = paths_by_file(folder)
    for name, path in paths.items():
        file = folder / name
        view = page_view(file, name, paths) if name.endswith(".md") else asset_view(file)
        register_page(app, path, view)


def page_view(file: Traversable, name: str, paths: dict[str, str]) -> Callable[[], Response]:
    """Return what answers a page, which is made at the first request and kept.

    Parameters
    ----------
    file
        Its Markdown.
    name
        Its name below the folder of the specification.
    paths
        Those of all pages and files, by name.

    Returns
    -------
    callable
        View without arguments.
    """

    @cache
    def page() -> str:
        return _page(file.read_text("utf-8"), name, paths)

    return lambda: page_response(page())


def _page(text: str, name: str, paths: dict[str, str]) -> str:
    # Not before a page is asked for: whoever calculates needs no reader of Markdown.
    from loomwright.web.pages.markdown import rendered_markdown  # noqa: PLC0415

    def leads(target: str) -> str | None:
        wanted = normpath(PurePosixPath(name).parent / target)
        return paths.get(wanted) or paths.get(f"{wanted}/{_INDEX}")

    made = rendered_markdown(text, leads)
    return rendered(
        "specification.html",
        here=paths[name],
        title=made.title,
        content=made.html,
        contents=made.contents,
        groups=_groups(paths),
    )


def _groups(paths: dict[str, str]) -> list[tuple[str, list[Place]]]:
    grouped: dict[str, list[Place]] = {group: [] for group in _GROUPS.values()}
    for name, path in paths.items():
        if name.endswith(".md"):
            file = PurePosixPath(name)
            shown = "overview" if file.name == _INDEX else file.stem
            grouped[_GROUPS[str(file.parent)]].append(Place(path, shown))
    return list(grouped.items())
