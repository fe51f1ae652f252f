"""Who watches the exchanges of an application, as its settings say."""

from collections.abc import Iterable

from flask import Flask

from loomwright.web.described_http import OPENAPI_PATH
from loomwright.web.openapi import Operation
from loomwright.web.pages.serving import page_paths
from loomwright.web.probes import Watcher as ProbeWatcher
from loomwright.web.serving.admission import Paths
from loomwright.web.settings import ON, Settings
from loomwright.web.signals.exchange import OPENAPI, PAGES, UNKNOWN, Watched, Watcher

# Libraries of what is off are not loaded.
# ruff: noqa: PLC0415


def register_signals(app: Flask, settings: Settings, operations: Iterable[Operation]) -> None:
    """Let those who are turned on watch an application; without any it stays as it is.

    Parameters
    ----------
    app
        With all its routes.
    settings
        What is on.
    operations
        All operations.
    """
    offered = list(operations)
    names = dict.fromkeys(page_paths(app), PAGES)
    names |= {each.url: each.name for each in offered}
    names[OPENAPI_PATH] = OPENAPI
    watchers: list[Watcher] = []
    if settings.metrics_bind:
        from loomwright.web.signals.metrics import MetricsWatcher, memo_counts, metrics

        known = frozenset((*names.values(), UNKNOWN))
        watchers.append(MetricsWatcher(metrics(), known, memo_counts(), Paths(offered)))
    if settings.telemetry == ON:
        from loomwright.web.signals.telemetry import SpanWatcher

        watchers.append(SpanWatcher({each.name: each.url for each in offered}))
    if settings.access_log == ON:
        from loomwright.web.signals.access_log import AccessLog

        watchers.append(AccessLog(settings.log_format))
    if watchers:
        app.wsgi_app = Watched(app.wsgi_app, names, watchers)  # type: ignore[method-assign]


def readiness_watcher(settings: Settings) -> ProbeWatcher | None:
    """Return who is told what checks of readiness find; None where nobody is."""
    if not settings.metrics_bind:
        return None
    from loomwright.web.signals.metrics import metrics

    return metrics().told_ready
