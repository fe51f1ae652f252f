"""What the pages of the plugin specification name is there: links, options, words, files."""

import json
import re
from pathlib import Path

import pytest

from loomwright import cli
from loomwright.conformance.caller import KEY
from loomwright.conformance.specification import FOLDER, PAGES, specification
from loomwright.conformance.stand_in import OF_STATUS
from loomwright.web.openapi import openapi_document
from loomwright.web.operations import OPERATIONS
from loomwright.web.problem_codes import CODES

ALL_PAGES = sorted(FOLDER.rglob("*.md"))
README = (FOLDER / "README.md").read_text("utf-8")


@pytest.mark.parametrize("page", ALL_PAGES, ids=lambda page: page.name)
def test_links_lead_somewhere(page: Path) -> None:
    text = page.read_text("utf-8")
    for target in re.findall(r"\]\(([^)]+)\)", text):
        path, _, anchor = target.partition("#")
        linked = page.parent / path
        assert linked.exists(), target
        if anchor:
            headings = re.findall(r"^#+ (.+)$", linked.read_text("utf-8"), re.MULTILINE)
            anchors = {
                re.sub(r"[^a-z0-9 -]", "", heading.lower()).replace(" ", "-")
                for heading in headings
            }
            assert anchor in anchors, target


def test_files_named_in_the_readme_exist() -> None:
    for page in PAGES:
        assert f"({page})" in README, page
    for name in (
        "requirements.json",
        "retired.json",
        "receiver.yaml",
        "samples/",
        "../loomwright.yaml",
    ):
        assert f"`{name}`" in README
        assert (FOLDER / name).exists()


def test_options_named_in_the_readme_exist(capsys: pytest.CaptureFixture[str]) -> None:
    known = ""
    for role in ("caller", "provider", "receiver"):
        with pytest.raises(SystemExit):
            cli.main(["conformance", role, "--help"])
        known += capsys.readouterr().out
    named = set(re.findall(r"--[a-z][a-z-]+", README)) - {"--service", "--quotes-to"}
    assert named == set(re.findall(r"--[a-z][a-z-]+", known)) - {"--help"}
    assert {f"{{{word}}}" for word in ("url", "receiver_url", "key", "timeout_s")} <= set(
        re.findall(r"\{\w+\}", README)
    )


def test_cases_are_read_by_eye_too() -> None:
    read = specification()
    assert len({case.about for case in read.cases}) == len(read.cases)
    assert all(case.about.endswith(".") for case in read.cases)
    assert KEY not in json.dumps([dict(case.document) for case in read.cases])


def test_scripts_use_codes_and_verdicts_of_the_service() -> None:
    acts = [
        act
        for case in specification().cases_of("caller")
        for acts in case.document.get("script", {}).values()
        for act in acts
    ]
    codes = {act["code"] for act in acts if "code" in act}
    assert {code for code in codes if not code.startswith("x_")} <= {*CODES, OF_STATUS}
    schemas = openapi_document(OPERATIONS)["components"]["schemas"]
    answers = {operation.name: operation.answer.__name__ for operation in OPERATIONS}
    edited = [item for act in acts for item in act.get("edits", {}).items() if item[0] != "*"]
    assert {name for name, _ in edited} >= {"size-conductor", "build-bill-of-materials"}
    for name, edits in edited:
        for edit in edits:
            known = schemas[answers[name]]["properties"][edit["at"].removeprefix("/")]["enum"]
            assert edit["set"] in known, name
