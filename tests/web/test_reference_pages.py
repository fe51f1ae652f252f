"""Reference and specification in the browser: every page, its links, anchors and headers."""

import re
import shutil
import subprocess
import sys
from collections import Counter
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import urljoin, urlsplit

import pytest
from flask import Flask
from flask.testing import FlaskClient

from loomwright.web.app import create_app
from loomwright.web.pages import register_pages
from loomwright.web.pages.markdown import rendered_markdown
from loomwright.web.pages.serving import STRICT, page_paths
from loomwright.web.pages.specification import paths_by_file, specification_folder
from set_up import create_with

ROOT = Path(__file__).parents[2]
SPECIFICATION = ROOT / "openapi"
HTML = "text/html; charset=utf-8"
# Where files of pages lie.
FILES = ("/assets/", "/bench/")
# Attributes from which a browser fetches by itself.
FETCHED = {"src", "srcset", "data", "poster", "background", "action", "formaction", "manifest"}


class Page(HTMLParser):
    """What a page holds: tags with their attributes, identifiers, links, and its text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.text = ""
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, {name: value or "" for name, value in attrs}))

    def handle_data(self, data: str) -> None:
        self.text += data

    @property
    def identifiers(self) -> list[str]:
        return [attributes["id"] for _, attributes in self.tags if "id" in attributes]

    @property
    def links(self) -> list[str]:
        return [
            attributes["href"]
            for tag, attributes in self.tags
            if tag == "a" and "href" in attributes
        ]


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return create_app().test_client()


def paths() -> list[str]:
    app = Flask("pages", static_folder=None)
    register_pages(app)
    return sorted(page_paths(app))


def is_page(path: str) -> bool:
    return "." not in path.rpartition("/")[2]


PAGES = [*filter(is_page, paths()), "/v1/problems"]


def page(client: FlaskClient, path: str) -> Page:
    response = client.get(path, headers={"Accept": "text/html"})
    assert (response.status_code, response.content_type) == (200, HTML), path
    return Page(response.text)


# --- what is there ---


def test_every_text_is_a_page() -> None:
    texts = {str(path.relative_to(SPECIFICATION)) for path in SPECIFICATION.rglob("*.md")}
    found = paths_by_file(specification_folder())
    assert texts == {name for name in found if name.endswith(".md")}
    assert len(texts) > 20
    assert set(found.values()) <= set(paths())
    assert found["plugin/README.md"] == "/plugin/"
    assert found["plugin/operations/README.md"] == "/plugin/operations/"
    assert found["plugin/operations/size-fuse.md"] == "/plugin/operations/size-fuse"
    assert found["price-book.md"] == "/plugin/price-book"
    assert found["plugin/provider.yaml"] == "/plugin/provider.yaml"


def test_files_beside_the_pages_are_served_as_they_are(client: FlaskClient) -> None:
    for name, path in paths_by_file(specification_folder()).items():
        if not name.endswith(".md"):
            assert client.get(path).data == (SPECIFICATION / name).read_bytes()


@pytest.mark.parametrize(
    "path", ["/plugin/samples/caller.py", "/plugin/cases/caller.json", "/plugin/x"]
)
def test_nothing_else_is_there(client: FlaskClient, path: str) -> None:
    response = client.get(path)
    assert (response.status_code, response.content_type) == (404, "application/problem+json")


@pytest.mark.parametrize("path", ["/plugin", "/plugin/", "/reference", "/reference/"])
def test_a_slash_at_the_end_decides_nothing(client: FlaskClient, path: str) -> None:
    assert client.get(path).data == client.get(path.rstrip("/")).data
    assert client.get(path).status_code == 200


def test_pages_are_open_where_keys_are_needed(tmp_path: Path) -> None:
    keys = tmp_path / "keys.toml"
    keys.write_text("", "utf-8")
    keyed = create_with(keys_file=keys).test_client()
    for path in paths():
        assert keyed.get(path).status_code == keyed.head(path).status_code == 200
        # What a shared cache keeps must never hang on who asked.
        assert keyed.get(path).headers["Cache-Control"] == "private, no-cache"


# --- each page ---


@pytest.mark.parametrize("path", PAGES)
def test_a_page_is_strict(client: FlaskClient, path: str) -> None:
    response = client.get(path, headers={"Accept": "text/html"})
    stated = "; ".join(f"{name} {sources}" for name, sources in STRICT.items())
    assert response.headers["Content-Security-Policy"] == stated
    assert response.headers["X-Content-Type-Options"] == "nosniff"
    again = client.get(
        path, headers={"Accept": "text/html", "If-None-Match": response.headers["ETag"]}
    )
    assert (again.status_code, again.data) == (304, b"")


@pytest.mark.parametrize("path", PAGES)
def test_a_page_keeps_to_its_policy(client: FlaskClient, path: str) -> None:
    found = page(client, path)
    for tag, attributes in found.tags:
        assert tag not in ("style", "base", "iframe", "object", "embed"), tag
        assert tag != "script" or attributes["src"].startswith(FILES)
        assert tag != "link" or attributes["href"].startswith(FILES)
        assert "style" not in attributes
        assert not [name for name in attributes if name.startswith("on")]
        for name in FETCHED & attributes.keys():
            assert attributes[name].startswith("/"), (tag, name)
            assert not attributes[name].startswith("//"), (tag, name)
    scripts = [attributes["src"] for tag, attributes in found.tags if tag == "script"]
    assert bool(scripts) == (path in ("/", "/reference"))


@pytest.mark.parametrize("path", PAGES)
def test_every_anchor_of_a_page_is_unique(client: FlaskClient, path: str) -> None:
    found = page(client, path)
    assert [name for name, count in Counter(found.identifiers).items() if count > 1] == []
    headings = [attributes for tag, attributes in found.tags if re.fullmatch("h[1-6]", tag)]
    if path.startswith("/plugin"):
        assert all(attributes["id"] for attributes in headings)
        assert [tag for tag, _ in found.tags].count("h1") == 1


def test_every_link_leads_somewhere(client: FlaskClient) -> None:
    read = {path: page(client, path) for path in PAGES}
    followed = 0
    for path, found in read.items():
        for link in found.links:
            target = urlsplit(urljoin(f"http://service{path}", link))
            assert target.netloc == "service", f"{link} of {path} leaves the service"
            assert client.get(target.path).status_code == 200, f"{link} of {path}"
            if target.fragment:
                assert target.fragment in read[target.path].identifiers, f"{link} of {path}"
            followed += 1
    assert followed > 500


def test_every_page_is_reached_from_the_first(client: FlaskClient) -> None:
    reached, waiting = set(), ["/plugin/"]
    while waiting:
        path = waiting.pop()
        if path in reached or path not in PAGES:
            continue
        reached.add(path)
        waiting += [urlsplit(urljoin(path, link)).path for link in page(client, path).links]
    assert reached == set(PAGES)


def test_texts_are_shown_whole(client: FlaskClient) -> None:
    for name, path in paths_by_file(specification_folder()).items():
        if name.endswith(".md"):
            text = (SPECIFICATION / name).read_text("utf-8")
            shown = page(client, path)
            assert "<!--" not in shown.text
            tables = len(re.findall(r"^\|[\s:|-]+\|$", text, re.MULTILINE))
            assert [tag for tag, _ in shown.tags].count("table") == tables
            for heading in re.findall(
                r"^#+ (.+)$", re.sub(r"```.*?```", "", text, flags=re.DOTALL), re.M
            ):
                assert heading.replace("`", "") in shown.text, (name, heading)


def test_a_requirement_is_found_by_its_number(client: FlaskClient) -> None:
    assert {"C-001", "C-002"} <= set(page(client, "/plugin/caller").identifiers)
    assert "the-quote-id" in page(client, "/plugin/rationale").identifiers


# --- Markdown ---


def test_markup_of_a_text_is_text() -> None:
    text = "# A <b>\n\n<script>alert(1)</script>\n\n[x](javascript:alert(1)) `<i>`\n"
    made = rendered_markdown(text, {}.get)
    assert made.title == "A <b>"
    assert "<script" not in made.html
    assert "<b>" not in made.html
    assert "href" not in made.html
    assert "<code>&lt;i&gt;</code>" in made.html


def test_a_long_name_breaks_between_its_words_only(client: FlaskClient) -> None:
    made = rendered_markdown("# A\n\n`body_too_large` `<b>`\n", {}.get)
    assert "<code>body_<wbr>too_<wbr>large</code> <code>&lt;b&gt;</code>" in made.html
    problems = client.get("/v1/problems", headers={"Accept": "text/html"}).text
    assert "<code>body_<wbr>too_<wbr>large</code>" in problems


def test_a_link_to_what_is_not_served_is_text() -> None:
    made = rendered_markdown("# A\n\n[x](gone.md) [y](#a) [z](b.md#c)\n", {"b.md": "/b"}.get)
    assert "<span>x</span>" in made.html
    assert '<a href="#a">y</a>' in made.html
    assert '<a href="/b#c">z</a>' in made.html


def test_headings_that_come_again_are_numbered() -> None:
    made = rendered_markdown("# A\n\n## B, `c`!\n\n### D\n\n## B c\n\n### D\n", {}.get)
    assert [(entry.anchor, entry.text) for entry in made.contents] == [
        ("b-c", "B, c!"),
        ("b-c-1", "B c"),
    ]
    assert [entry.anchor for each in made.contents for entry in each.inner] == ["d", "d-1"]


# --- cost and packaging ---

UNUSED = """
import sys
from loomwright.web.app import create_app
client = create_app().test_client()
loaded = {"markdown_it", "flask_swagger_ui"} & sys.modules.keys()
assert not loaded, loaded
assert client.get("/plugin/").status_code == 200
assert "markdown_it" in sys.modules
assert client.get("/reference").status_code == 200
assert "flask_swagger_ui" not in sys.modules
"""


def test_who_asks_for_no_page_pays_for_none() -> None:
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", UNUSED],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr


def test_a_build_without_the_specification_fails(tmp_path: Path) -> None:
    for name in ("setup.py", "pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, tmp_path / name)
    (tmp_path / "service" / "loomwright").mkdir(parents=True)
    (tmp_path / "service" / "loomwright" / "__init__.py").write_text("", "utf-8")
    done = subprocess.run(
        [sys.executable, "setup.py", "--quiet", "build"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode != 0
    assert "holds no page of the specification" in done.stderr
