"""Shared settings of the test suite."""

import pytest
from hypothesis import HealthCheck, settings

from left_out import deselect_what_is_not_here

settings.register_profile(
    "suite",
    derandomize=True,
    deadline=None,
    max_examples=100,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("suite")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out the tests whose outside program is not here."""
    deselect_what_is_not_here(config, items)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print what a test recorded under ``summary``, before the closing line."""
    for outcome in ("passed", "failed"):
        for report in terminalreporter.getreports(outcome):
            for name, text in report.user_properties:
                if name == "summary":
                    terminalreporter.write_line(str(text))
