"""The pages on HTTP and on settings say what the code does."""

import hashlib
import re
import shlex
import subprocess
import sys
import tomllib
from pathlib import Path

from loomwright.web import jwks, manners, quota
from loomwright.web.forms.registry import FORMS_BY_OPERATION
from loomwright.web.key_file import SCOPES, keys_of_file
from loomwright.web.operations import OPERATIONS
from loomwright.web.problem_codes import CODES
from loomwright.web.request_ids import GREATEST_ID_LENGTH
from loomwright.web.requests import GREATEST_BODY_BYTES
from loomwright.web.schemas.batch import (
    GREATEST_BATCH_BYTES,
    GREATEST_PACKAGES,
    GREATEST_PAIRS,
    GREATEST_VEHICLES,
)
from loomwright.web.settings_table import SETTINGS

ROOT = Path(__file__).parents[2]
HTTP = (ROOT / "openapi" / "http.md").read_text("utf-8")
DEPLOY = (ROOT / "deploy" / "README.md").read_text("utf-8")


def rows(page: str, head: str) -> list[list[str]]:
    """Cells of the table whose head begins with a word."""
    block = re.search(rf"^\| {head} \|.*\n\|[-|]+\|\n((?:\|.*\n)+)", page, re.MULTILINE)
    assert block is not None, head
    return [
        [cell.strip() for cell in line.strip("|").split(" | ")] for line in block[1].splitlines()
    ]


def test_codes_are_those_of_the_table() -> None:
    told = [
        [f"`{code}`", str(known.status), known.title, known.action]
        for code, known in sorted(CODES.items())
    ]
    assert rows(HTTP, "code") == told


def test_scopes_are_those_of_the_table() -> None:
    assert rows(HTTP, "scope") == [[f"`{name}`", text] for name, text in SCOPES.items()]


def test_settings_are_those_of_the_table() -> None:
    told = [[f"`{each.name}`", each.default, each.meaning] for each in SETTINGS]
    assert rows(DEPLOY, "variable") == told


def test_figures_in_the_prose_are_those_of_the_code() -> None:
    assert GREATEST_BODY_BYTES == 1024 * 1024
    assert GREATEST_BATCH_BYTES == 16 * 1024 * 1024
    limits = (GREATEST_PACKAGES, GREATEST_VEHICLES, GREATEST_PAIRS)
    packages, vehicles, pairs = (f"{limit:,}" for limit in limits)
    for page, figure in (
        (HTTP, f"max-age={manners.KEPT_FOR_S}"),
        (HTTP, f"from {manners.LEAST_COMPRESSED_BYTES} bytes on"),
        (HTTP, f"1 to {GREATEST_ID_LENGTH} letters"),
        (HTTP, f"{packages} packages, {vehicles} vehicles and {pairs} pairs"),
        (HTTP, f"{packages}, {vehicles}, {pairs}"),
        (DEPLOY, f"again after {jwks.KEPT_FOR_S / 60:g} min"),
        (DEPLOY, f"at most every {jwks.ASKED_AT_MOST_EVERY_S:g} s"),
        (DEPLOY, f"{jwks.TIME_LIMIT_S:g} s and {jwks.GREATEST_BYTES // 1024} KiB"),
        (DEPLOY, f"tried again after {quota.LEFT_ALONE_S:g} s"),
    ):
        assert figure in page.replace("\n", " "), figure
    server = (ROOT / "deploy" / "gunicorn.conf.py").read_text("utf-8")
    told = dict(re.findall(r"^(STALLED_\w+_S) = ([0-9]+)$", server, re.MULTILINE))
    waits = {each[0]: each[1] for each in rows(HTTP, "what")}
    assert waits["pause within a request"] == f"{told['STALLED_CLIENT_S']} s"
    assert waits["pause in taking an answer"] == f"{told['STALLED_READER_S']} s"
    for page in (HTTP, DEPLOY):
        assert f"for {told['STALLED_READER_S']} s is cut off" in page.replace("\n", " ")
    assert f"{', '.join(jwks.ALGORITHMS[:-1])} or {jwks.ALGORITHMS[-1]}" in HTTP.replace(
        "\n  ", " "
    )


def test_the_command_makes_a_key_and_its_digest() -> None:
    command = re.search(r"```sh\n(python3 .*)\n```", DEPLOY)[1]
    arguments = [sys.executable, *shlex.split(command)[1:]]
    done = subprocess.run(arguments, capture_output=True, text=True, check=True)
    key, digest = done.stdout.split()
    assert hashlib.sha256(key.encode()).hexdigest() == digest


def test_the_example_is_a_file_of_keys(tmp_path: Path) -> None:
    text = re.search(r"```toml\n(.*?)```", DEPLOY, re.DOTALL)[1]
    assert tomllib.loads(text)
    path = tmp_path / "keys.toml"
    path.write_text(text, "utf-8")
    (key,) = keys_of_file(path)
    assert key.id == "till"


def test_forms_of_batches_are_those_of_the_service() -> None:
    (operation,) = [each for each in OPERATIONS if each.name == "price-packages"]
    taken = ["application/json", *(body.media_type for body in operation.bodies)]
    assert [row[0] for row in rows(HTTP, "media type")] == [f"`{each}`" for each in taken]
    forms = FORMS_BY_OPERATION[operation.name]
    told = {row[0].split()[0].strip("`"): row[1].strip("`") for row in rows(HTTP, "`as`")}
    assert told == {form.name: form.media_type for form in forms.forms}
    assert f"`{forms.usual}` (without a wish)" in HTTP
