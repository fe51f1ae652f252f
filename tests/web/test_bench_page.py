"""The bench page as files: addresses, headers, what it may load, and that it fits the service."""

import json
import re
import tomllib
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from loomwright.web.app import create_app
from loomwright.web.operations import OPERATIONS
from loomwright.web.pages.bench import DEMO_JOBS_FILE, FOLDER, PAGE, asset_names
from loomwright.web.pages.serving import STRICT
from set_up import create_with, key_entry

ROOT = Path(__file__).parents[2]
ASSETS = asset_names()
PAGE_PATHS = {PAGE, DEMO_JOBS_FILE, *(f"/bench/{name}" for name in ASSETS)}
SCRIPTS = [name for name in ASSETS if name.endswith(".js")]
TYPES = {
    "html": "text/html",
    "css": "text/css",
    "js": "text/javascript",
    "json": "application/json",
}


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return create_app().test_client()


def text_of(name: str) -> str:
    return (FOLDER / name).read_text("utf-8")


# --- addresses and headers ---


@pytest.mark.parametrize("path", sorted(PAGE_PATHS))
def test_every_file_is_served_with_its_type(client: FlaskClient, path: str) -> None:
    response = client.get(path)
    assert response.status_code == 200
    ending = "html" if path == PAGE else path.rpartition(".")[2]
    assert response.mimetype == TYPES[ending]
    assert response.headers["X-Content-Type-Options"] == "nosniff"
    # A browser asks whether it still has the right one, and is told so without content.
    assert response.headers["Cache-Control"] == "public, no-cache"
    again = client.get(path, headers={"If-None-Match": response.headers["ETag"]})
    assert (again.status_code, again.data) == (304, b"")


def test_the_page_may_load_nothing_from_elsewhere(client: FlaskClient) -> None:
    headers = client.get(PAGE).headers
    parts = (part.strip().split(" ", 1) for part in headers["Content-Security-Policy"].split(";"))
    assert dict(parts) == dict(STRICT)
    assert headers["Referrer-Policy"] == "no-referrer"


@pytest.mark.parametrize("path", sorted(PAGE_PATHS))
def test_head_and_other_methods_are_answered(client: FlaskClient, path: str) -> None:
    full, head = client.get(path), client.head(path)
    assert (head.status_code, head.data) == (200, b"")
    own = {"X-Request-Id"}
    assert {name: value for name, value in head.headers if name not in own} == {
        name: value for name, value in full.headers if name not in own
    }
    options = client.options(path)
    assert (options.status_code, options.headers["Allow"]) == (200, "GET, HEAD, OPTIONS")
    for method in ("POST", "PUT", "PATCH", "DELETE"):
        refused = client.open(path, method=method)
        assert (refused.status_code, refused.mimetype) == (405, "application/problem+json")
        assert refused.headers["Allow"] == "GET, HEAD, OPTIONS"


@pytest.mark.parametrize(
    "path",
    ["/bench", "/bench/", "/bench/index.html", "/bench/../bench_page.py", "/bench/other.js"],
)
def test_there_is_no_other_file(client: FlaskClient, path: str) -> None:
    response = client.get(path)
    assert (response.status_code, response.mimetype) == (404, "application/problem+json")


def test_the_demo_jobs_are_those_of_the_package(client: FlaskClient) -> None:
    assert client.get(DEMO_JOBS_FILE).get_json() == [
        {"name": name, "job": demo_job(name)} for name in DEMO_JOBS
    ]


def test_the_page_needs_no_key_and_costs_no_quota(tmp_path: Path) -> None:
    keys = tmp_path / "keys.toml"
    keys.write_text(key_entry("listed", "price"), "utf-8")
    limited = create_with(keys_file=keys, rate_limit="1/day").test_client()
    for _ in range(2):
        for path in sorted(PAGE_PATHS):
            response = limited.get(path)
            assert response.status_code == 200
            assert "RateLimit" not in response.headers


def test_the_page_is_no_operation(client: FlaskClient) -> None:
    assert not PAGE_PATHS & {each.url for each in OPERATIONS}
    assert not PAGE_PATHS & client.get("/v1/openapi.json").get_json()["paths"].keys()


# --- files ---


def test_every_file_is_packaged() -> None:
    packaged = {entry.name for entry in FOLDER.iterdir()}
    stated = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    patterns = stated["tool"]["setuptools"]["package-data"]["*"]
    assert {f"*.{name.rpartition('.')[2]}" for name in packaged} <= set(patterns)


def test_every_script_is_loaded_and_every_import_is_there() -> None:
    loaded = {"main.js"}
    for name in SCRIPTS:
        imported = set(re.findall(r'from "\./([^"]+)"', text_of(name)))
        assert imported <= set(SCRIPTS) - {name}
        # No other way to load a module.
        assert len(re.findall(r"\bimport\b", text_of(name))) == len(imported), name
        loaded |= imported
    assert loaded == set(SCRIPTS)
    page = text_of("index.html")
    assert re.findall(r'(?:src|href)="(/bench/[^"]+)"', page) == [
        "/bench/bench.css",
        "/bench/fields.css",
        "/bench/answer.css",
        "/bench/main.js",
    ]


@pytest.mark.parametrize("name", ["index.html", *ASSETS])
def test_files_are_small_and_name_no_outside_address(name: str) -> None:
    text = text_of(name)
    assert len(text.splitlines()) < 400
    assert not re.search(r"(?:https?|wss?|ftp):|[\"'(]//|@import|url\(", text)


def test_the_markup_has_no_inline_script_or_style() -> None:
    page = text_of("index.html")
    assert not re.search(r"<style|\sstyle=|\son[a-z]+=|javascript:", page)
    assert re.findall(r"<script[^>]*>[^<]*", page) == [
        '<script type="module" src="/bench/main.js">'
    ]
    assert "<noscript>" in page
    assert 'href="/reference"' in page


@pytest.mark.parametrize("name", SCRIPTS)
def test_scripts_make_no_markup_and_no_code_of_text(name: str) -> None:
    text = text_of(name)
    assert not re.search(
        r"\binnerHTML\b|\.outerHTML\s*=|insertAdjacentHTML|document\.write|srcdoc|\beval\(|"
        r"new Function|setHTML|createContextualFragment|localStorage|\.style\b",
        text,
    )


def test_identifiers_are_unique_and_links_have_targets() -> None:
    page = text_of("index.html")
    identifiers = re.findall(r'\sid="([^"]+)"', page)
    assert len(identifiers) == len(set(identifiers))
    for attribute in ("for", "aria-labelledby", "aria-describedby"):
        for target in re.findall(rf'\s{attribute}="([^"]+)"', page):
            assert target in identifiers
    for target in re.findall(r'href="#([^"]+)"', page):
        assert target in identifiers
    for script in SCRIPTS:
        for target in re.findall(r'byId\("([^"]+)"\)', text_of(script)):
            assert target in identifiers or target == "result-total", (script, target)


# --- the page and the service speak of the same things ---


@pytest.fixture(scope="module")
def components(client: FlaskClient) -> dict[str, dict]:
    found: dict[str, dict] = client.get("/v1/openapi.json").get_json()["components"]["schemas"]
    return found


def test_the_layout_names_members_that_are_there(components: dict[str, dict]) -> None:
    text = text_of("layout.js")
    stated = re.search(r"const OPEN = \{(.*?)\n\};", text, re.DOTALL)
    assert stated is not None
    rows = re.findall(r"^  (\w+): (\[.*?\]),$", stated[1], re.MULTILINE)
    assert len(rows) > 15
    for schema, members in rows:
        assert set(json.loads(members)) <= components[schema]["properties"].keys(), schema
    every = {name for each in components.values() for name in each.get("properties", {})}
    for table in ("ONE", "LABELS"):
        stated = re.search(rf"const {table} = \{{(.*?)\n\}};", text, re.DOTALL)
        assert stated is not None
        assert set(re.findall(r"^  (\w+):", stated[1], re.MULTILINE)) <= every


@pytest.mark.parametrize(
    ("table", "schema", "member"),
    [
        ("PLAN", "PlanAnswer", "verdict"),
        ("PLAN_NAME", "PlanAnswer", "name"),
        ("CIRCUIT", "BilledCircuitAnswer", "verdict"),
        ("SUPPLY", "SupplyAnswer", "verdict"),
        ("CLAIM", "EquipmentOutputAnswer", "verdict"),
        ("SIGNAL", "SignalAnswer", "verdict"),
        ("STATE", "SupplyLoadAnswer", "state"),
        ("CHECK", "ShortfallAnswer", "check"),
        ("READING", "PlanExpectationAnswer", "what"),
        ("UNIT", "PlanLineAnswer", "unit"),
    ],
)
def test_every_verdict_has_words(
    components: dict[str, dict], table: str, schema: str, member: str
) -> None:
    stated = re.search(rf"const {table} = \{{(.*?)\}};", text_of("words.js"), re.DOTALL)
    assert stated is not None
    worded = set(re.findall(r"(?:^|[\s{,])(\w+): \"", stated[1]))
    known = {key for key in components[schema]["properties"][member]["enum"] if key}
    # A state of a load may be one in which nothing is charged.
    assert worded >= known
    assert table == "STATE" or worded == known
