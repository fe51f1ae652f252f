"""The README's requests are executed, and its answers are excerpts of the real ones."""

import json
import re
import shlex
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from flask.testing import FlaskClient

from loomwright.web.app import create_app

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text("utf-8")
PAIRS = re.findall(r"```sh\n(.*?)```\n```json\n(.*?)```", README, re.DOTALL)
OPERATIONS = {
    "/v1/size-conductor",
    "/v1/size-fuse",
    "/v1/estimate-real-output",
    "/v1/build-bill-of-materials",
    "/v1/price-packages",
}


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return create_app().test_client()


def answer_to_curl(client: FlaskClient, command: str) -> Any:
    """Do what the curl command line says, with the client in the server's place."""
    words = shlex.split(command.replace("\\\n", " "))
    assert words[0] == "curl"
    data = [words[place + 1] for place, word in enumerate(words) if word == "-d"]
    url = urlsplit(next(word for word in words if word.startswith("http://127.0.0.1:8080/")))
    if "-G" in words:
        query = dict(entry.split("=", 1) for entry in data)
        response = client.get(url.path, query_string=query)
    else:
        assert "Content-Type: application/json" in words
        (body,) = data
        if body.startswith("@"):
            body = (ROOT / body[1:]).read_text("utf-8")
        address = f"{url.path}?{url.query}"
        response = client.post(address, data=body, content_type="application/json")
    assert response.status_code == 200, response.text
    return response.json


def assert_excerpt(shown: Any, real: Any, place: str = "") -> None:
    """Assert that all that is shown stands in the real answer, at the same place."""
    if isinstance(shown, dict):
        for name, value in shown.items():
            assert name in real, f"{place}/{name} is not in the answer"
            assert_excerpt(value, real[name], f"{place}/{name}")
    elif isinstance(shown, list):
        assert len(shown) <= len(real), place
        for index, value in enumerate(shown):
            assert_excerpt(value, real[index], f"{place}/{index}")
    else:
        assert shown == real, place


@pytest.mark.parametrize(("command", "shown"), PAIRS)
def test_answer_is_an_excerpt_of_the_real_one(client: FlaskClient, command: str, shown: str):
    assert_excerpt(json.loads(shown), answer_to_curl(client, command))


def test_excerpt_of_something_else_is_seen():
    with pytest.raises(AssertionError, match="/a/1"):
        assert_excerpt({"a": [1, 2]}, {"a": [1, 3]})
    with pytest.raises(AssertionError, match="/b is not"):
        assert_excerpt({"b": 1}, {"a": 1})


def test_each_operation_is_shown():
    shown = {urlsplit(re.search(r"http://\S+", command)[0]).path for command, _ in PAIRS}
    assert shown == OPERATIONS


def test_readme_is_short_and_starts_with_the_job():
    lines = README.splitlines()
    assert len(lines) <= 120
    first = README.split("\n\n")[1]
    for word in ("conductors", "fuses", "amplifier", "bill of\nmaterials", "HTTP service"):
        assert word in first


def test_two_commands_and_no_more():
    commands = [line.split("#")[0].strip() for line in README.splitlines() if "bash " in line]
    assert commands == ["bash deploy/start.sh", "bash tests/run.sh"]
    for command in commands:
        assert (ROOT / command.removeprefix("bash ")).is_file()


def test_map_names_what_is_there():
    block = README.split("## Map")[1].split("`DEVELOPERS.md`")[0]
    folder = ROOT
    for line in block.splitlines():
        if not line.strip():
            continue
        name = line.split()[0]
        depth = len(line) - len(line.lstrip())
        if depth > 12:
            continue
        folder = ROOT / "service" / "loomwright" if depth == 8 else ROOT
        assert (folder / name).exists(), name
