"""Rules, dashboard and scrape configuration for operators: well formed, and of one mind.

That they ask for what the service exposes is seen in ``test_signals_served.py``.
"""

import re

import promql_parser
import pytest
import yaml

from asked_metrics import (
    DASHBOARD,
    FOLDER,
    OF_SCRAPES,
    RULES,
    asked,
    expression,
    grouped_by,
    panel_queries,
    shown_labels,
)

ALERTS = [rule for rule in RULES if "alert" in rule]
RECORDS = [rule for rule in RULES if "record" in rule]
QUERIES = [(title, query) for title, query, _ in panel_queries()]
COMPOSED = yaml.safe_load((FOLDER.parent / "compose.yaml").read_text("utf-8"))["services"]
# Prometheus documentation, "Data model" and "Recording rules": level:metric:operations.
METRIC, RECORD = r"[a-zA-Z_:][a-zA-Z0-9_:]*", r"[a-z_]+:[a-z_]+:[a-z0-9_]+"


@pytest.mark.parametrize("rule", RULES, ids=[each.get("alert", "record") for each in RULES])
def test_each_rule_is_a_query(rule: dict[str, object]) -> None:
    """Prometheus documentation, "Alerting rules": members, durations, and an instant vector."""
    assert isinstance(expression(str(rule["expr"])), promql_parser.Expr)
    if "alert" in rule:
        assert set(rule) - {"group"} <= {"alert", "expr", "for", "labels", "annotations"}
        assert re.fullmatch(r"Loomwright[A-Z][A-Za-z]+", str(rule["alert"]))
        assert promql_parser.parse_duration(str(rule.get("for", "1s")))
    else:
        assert set(rule) - {"group"} == {"record", "expr"}
        assert re.fullmatch(RECORD, str(rule["record"]))
        assert re.fullmatch(METRIC, str(rule["record"]))


def test_the_check_of_queries_fails_on_a_wrong_one() -> None:
    with pytest.raises(ValueError, match="parenthesis"):
        expression("sum by (a) rate(x[5m]")


def test_each_alert_says_what_to_look_at() -> None:
    names = [rule["alert"] for rule in ALERTS]
    assert len(set(names)) == len(names)
    wanted = ("Errors", "Slow", "NotReady", "RateLimiting", "WorkersRestart", "Overloaded")
    assert {f"Loomwright{name}" for name in wanted} <= set(names)
    for rule in ALERTS:
        assert rule["labels"]["severity"] in ("critical", "warning", "info")
        assert set(rule["annotations"]) == {"summary", "description"}
        labels = set(OF_SCRAPES) | grouped_by(rule["expr"])
        labels |= {name for record in RECORDS for name in grouped_by(record["expr"])}
        for text in rule["annotations"].values():
            assert shown_labels(text) <= labels, text


def test_recorded_series_are_used() -> None:
    used = {name for rule in ALERTS for name, _ in asked(rule["expr"])}
    assert {rule["record"] for rule in RECORDS} <= used


@pytest.mark.parametrize(("title", "query"), QUERIES)
def test_each_panel_is_a_query(title: str, query: str) -> None:
    assert title
    assert isinstance(expression(query), promql_parser.Expr)


def test_the_dashboard_is_whole() -> None:
    panels = DASHBOARD["panels"]
    assert [panel["id"] for panel in panels] == list(range(1, len(panels) + 1))
    assert len({panel["title"] for panel in panels}) == len(panels)
    covered: set[tuple[int, int]] = set()
    for panel in panels:
        place = panel["gridPos"]
        assert place["x"] + place["w"] <= 24
        cells = {
            (x, y)
            for x in range(place["x"], place["x"] + place["w"])
            for y in range(place["y"], place["y"] + place["h"])
        }
        # No panel lies on another one.
        assert not covered & cells
        covered |= cells
        assert panel["datasource"] == {"type": "prometheus", "uid": "${datasource}"}
        assert [target["refId"] for target in panel["targets"]] == sorted(
            {target["refId"] for target in panel["targets"]}
        )
    assert {each["name"] for each in DASHBOARD["templating"]["list"]} == {"datasource", "job"}
    for _, query, legend in panel_queries():
        assert shown_labels(legend) <= grouped_by(query) | OF_SCRAPES


def test_the_scrape_configuration_is_that_of_the_instances() -> None:
    configuration = yaml.safe_load((FOLDER / "prometheus.yaml").read_text("utf-8"))
    assert [(FOLDER / name).is_file() for name in configuration["rule_files"]] == [True]
    composed, pods = configuration["scrape_configs"]
    (targets,) = (each["targets"] for each in composed["static_configs"])
    bound = {
        name: service["environment"]["LOOMWRIGHT_METRICS_BIND"].rpartition(":")[2]
        for name, service in COMPOSED.items()
        if name.startswith("service-")
    }
    assert targets == [f"{name}:{port}" for name, port in bound.items()]
    kept = {
        rule["source_labels"][0]: rule["regex"]
        for rule in pods["relabel_configs"]
        if rule.get("action") == "keep"
    }
    deployment = yaml.safe_load(
        (FOLDER.parent / "kubernetes" / "base" / "deployment.yaml").read_text("utf-8")
    )
    template = deployment["spec"]["template"]
    assert template["metadata"]["annotations"]["prometheus.io/scrape"] == "true"
    prefix = "__meta_kubernetes_pod_"
    assert kept == {
        f"{prefix}label_app_kubernetes_io_name": template["metadata"]["labels"][
            "app.kubernetes.io/name"
        ],
        f"{prefix}annotation_prometheus_io_scrape": "true",
        f"{prefix}container_port_name": "metrics",
    }
