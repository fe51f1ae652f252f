"""Shared settings of the test suite."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

import outside_settings
from left_out import deselect_what_is_not_here
from own_ids import give_own_ids

outside_settings.set_aside()

settings.register_profile(
    "suite",
    derandomize=True,
    deadline=None,
    max_examples=100,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("suite")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out the tests whose outside program is not here, and let each have an id of its own."""
    deselect_what_is_not_here(config, items)
    give_own_ids(items)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print what a test recorded under ``summary``, and where what it kept lies."""
    kept: dict[Path, int] = {}
    for outcome in ("passed", "failed"):
        for report in terminalreporter.getreports(outcome):
            for name, text in report.user_properties:
                if name == "summary":
                    terminalreporter.write_line(str(text))
                elif name == "kept":
                    folder = Path(str(text)).parent
                    kept[folder] = kept.get(folder, 0) + 1
    for folder, count in kept.items():
        terminalreporter.write_line(f"{count} to look at in {folder}")
