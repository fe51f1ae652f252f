"""Two linters that nobody here wrote find nothing in the OpenAPI document.

Their settings are ``redocly.yaml`` and ``spectral.yaml``; each rule that is off there has its
reason, and where a rule was about more than style, a check of its own here.
"""

import copy
import json
import re
from pathlib import Path

import pytest
import yaml

import node
from drawn_requests import document

HERE = Path(__file__).parent
FILE = HERE.parents[1] / "openapi" / "loomwright.yaml"


def redocly(file, folder):
    """Return the problems that the first linter finds, as pairs of severity and rule."""
    settings = ("--config", HERE / "redocly.yaml", "--format", "json", "--max-problems", "9999")
    run = node.run("@redocly/cli", "bin/cli.js", "lint", *settings, file, folder=folder)
    assert run.stdout.strip().startswith("{"), run.stdout + run.stderr
    problems = json.loads(run.stdout)["problems"]
    assert (run.returncode == 0) == all(found["severity"] != "error" for found in problems)
    return [(found["severity"], found["ruleId"]) for found in problems]


def spectral(file, folder):
    """Return the problems that the second linter finds, as pairs of severity and rule."""
    settings = ("--ruleset", HERE / "spectral.yaml", "--format", "json", "--quiet")
    script = "dist/index.js"
    run = node.run("@stoplight/spectral-cli", script, "lint", *settings, file, folder=folder)
    assert run.stdout.strip().startswith("["), run.stdout + run.stderr
    severities = ("error", "warn", "info", "hint")
    return [(severities[found["severity"]], found["code"]) for found in json.loads(run.stdout)]


LINTERS = pytest.mark.parametrize("linter", [redocly, spectral], ids=lambda linter: linter.__name__)


@LINTERS
def test_linter_finds_nothing(linter, tmp_path, record_property):
    found = linter(FILE, tmp_path)
    errors = sum(severity == "error" for severity, _ in found)
    record_property(
        "summary",
        f"linter {linter.__name__}: {errors} errors, {len(found) - errors} warnings",
    )
    assert found == []


@LINTERS
def test_linter_finds_what_is_wrong(linter, tmp_path):
    """Were the settings not read or the rules not run, nothing would be found at all."""
    wrong = copy.deepcopy(document())
    post = wrong["paths"]["/v1/size-fuse"]["post"]
    post["operationId"] = "size_conductor"
    body = post["requestBody"]["content"]["application/json"]
    body["examples"]["bass_unit_under_the_seat"]["value"]["load_current"] = [25]
    file = tmp_path / "wrong.json"
    file.write_text(json.dumps(wrong), "utf-8")
    rules = {rule for _, rule in linter(file, tmp_path)}
    assert any(
        re.search("operationid-?unique|operation-operationId-unique", r, re.I) for r in rules
    )
    assert any("example" in rule for rule in rules), rules


def test_each_rule_that_is_changed_has_its_reason():
    for name in ("redocly.yaml", "spectral.yaml"):
        text = (HERE / name).read_text("utf-8")
        rules = list(yaml.safe_load(text)["rules"])
        lines = text.splitlines()
        for rule in rules:
            place = next(i for i, line in enumerate(lines) if line.strip().startswith(f"{rule}:"))
            assert any(line.strip().startswith("#") for line in lines[place - 5 : place]), rule


def required_beside(schema, known, missing):
    """Collect names that a schema or a rule in it asks for and that no property has."""
    if isinstance(schema, list):
        for entry in schema:
            required_beside(entry, known, missing)
    elif isinstance(schema, dict):
        own = known | set(schema.get("properties", {}))
        missing |= set(schema.get("required", ())) - own
        for word in ("allOf", "anyOf", "oneOf", "not", "if", "then", "else"):
            if word in schema:
                required_beside(schema[word], own, missing)
        inside = [*schema.get("properties", {}).values()]
        inside += [schema["items"]] if "items" in schema else []
        for entry in inside:
            required_beside(entry, set(), missing)


def test_rules_between_fields_name_fields_that_are_there():
    """In place of no-required-schema-properties-undefined."""
    for name, schema in document()["components"]["schemas"].items():
        missing = set()
        required_beside(schema, set(), missing)
        assert missing == set(), name


def test_kinds_of_a_part_exclude_each_other():
    """In place of no-illogical-composition-keywords, for the schema that it was about."""
    schemas = document()["components"]["schemas"]
    kinds = []
    for form in schemas["Part"]["oneOf"]:
        schema = schemas[form["$ref"].rpartition("/")[2]] if "$ref" in form else form
        kind = schema["properties"]["kind"]
        kinds += [kind["const"]] if "const" in kind else kind["enum"]
    assert len(kinds) > 10
    assert len(kinds) == len(set(kinds))
