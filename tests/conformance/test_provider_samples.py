"""The sample providers: the right ones pass, the broken one fails in what it says and no more."""

import json
import shutil
from pathlib import Path

import pytest
from conformance_samples import SAMPLES, SPECIFICATION, failed, passed, sample, serving

from loomwright.conformance.provider import HttpSource, ProcessSource, ProviderRunner
from loomwright.conformance.report import Ledger, Report, report_of
from loomwright.exchange import address_of

CSV_PROVIDER, HTTP_PROVIDER, BROKEN = (
    sample(name) for name in ("csv_provider", "http_provider", "broken_provider")
)
ROLE = SPECIFICATION.of_role("provider")
# Of the providers of one kind nothing can be said where the other is meant.
IN_PROCESS = {"P-050", "P-051", "P-052"}


def report(source: HttpSource | ProcessSource) -> Report:
    ledger = Ledger()
    ProviderRunner(source).judge(SPECIFICATION.cases_of("provider"), ledger)
    return report_of("provider", "a sample", ROLE, ledger)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the sample's files, counted just now."""
    copy = tmp_path / "quayside"
    shutil.copytree(SAMPLES / "quayside", copy)
    (copy / "stock.csv").touch()
    return copy


def test_the_provider_in_process_passes(folder: Path) -> None:
    found = report(ProcessSource(CSV_PROVIDER.provider({"folder": str(folder)})))
    assert failed(found) == {}
    assert passed(found) >= IN_PROCESS | {"P-001", "P-010", "P-011", "P-012", "P-022", "P-030"}


def test_the_provider_over_http_passes(folder: Path) -> None:
    server = HTTP_PROVIDER.server_of(CSV_PROVIDER.CsvProvider(folder, "Sample"), token="sesame")
    with serving(server) as url:
        found = report(HttpSource(address_of(url, "sesame")))
    assert failed(found) == {}
    assert passed(found) >= {"P-040", "P-041", "P-042", "P-043", "V-013", "V-014"}


def test_the_broken_provider_fails_in_what_it_says(folder: Path) -> None:
    provider = BROKEN.BrokenProvider(folder, "Broken")
    server = HTTP_PROVIDER.server_of(provider, handler=BROKEN.BrokenHandler)
    with serving(server) as url:
        found = report(HttpSource(address_of(url)))
    stated = json.loads((SAMPLES / "broken.json").read_text("utf-8"))["samples"]
    assert set(failed(found)) == set(stated["broken_provider.py"]["fails"])
