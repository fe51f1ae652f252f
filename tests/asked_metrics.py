"""Which metrics and labels the rules and the dashboard for operators ask for."""

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import promql_parser
import yaml

FOLDER = Path(__file__).parents[1] / "deploy" / "observability"
RULES: list[dict[str, Any]] = [
    {**rule, "group": group["name"]}
    for group in yaml.safe_load((FOLDER / "alerts.yaml").read_text("utf-8"))["groups"]
    for rule in group["rules"]
]
DASHBOARD: dict[str, Any] = json.loads((FOLDER / "dashboard.json").read_text("utf-8"))
# Labels that Prometheus itself adds, and that of buckets.
OF_SCRAPES = frozenset({"job", "instance"})
# What the dashboard's program puts in: a range, and the choice of jobs.
_VARIABLES = {"$__rate_interval": "5m", "$job": ".+"}
_TEMPLATE = re.compile(r"\{\{ ?\$?([a-z.]+)")


def expression(text: str) -> promql_parser.Expr:
    """Return a query as it is parsed; wrong ones raise."""
    for name, value in _VARIABLES.items():
        text = text.replace(name, value)
    assert "$" not in text
    return promql_parser.parse(text)


def panel_queries() -> Iterator[tuple[str, str, str]]:
    """Yield title, query and legend of everything that the dashboard shows."""
    for panel in DASHBOARD["panels"]:
        for target in panel["targets"]:
            yield panel["title"], target["expr"], target["legendFormat"]
    for each in DASHBOARD["annotations"]["list"]:
        yield each["name"], each["expr"], each["titleFormat"]


def asked(text: str) -> Iterator[tuple[str, set[str]]]:
    """Yield each metric that a query selects, with the labels that it matches."""
    found: list[Any] = []

    def visit(node: Any) -> None:
        if isinstance(node, promql_parser.MatrixSelector):
            node = node.vector_selector
        if isinstance(node, promql_parser.VectorSelector):
            found.append(node)

    promql_parser.walk(expression(text), visit)
    for node in found:
        yield node.name, {each.name for each in node.matchers.matchers}


def grouped_by(text: str) -> set[str]:
    """Return the labels by which a query groups or joins."""
    found: set[str] = set()
    for listed in re.findall(r"\b(?:by|on|without|ignoring) ?\(([^)]*)\)", text):
        found |= {name.strip() for name in listed.split(",") if name.strip()}
    return found


def shown_labels(text: str) -> set[str]:
    """Return the labels that a legend or a message names."""
    return {
        name.removeprefix("labels.")
        for name in _TEMPLATE.findall(text.replace("$labels.", "labels."))
        if name != "value"
    }
