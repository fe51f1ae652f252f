"""A provider behind the service under its own server with two workers."""

import json
import os
import shutil
import urllib.request
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from loomwright.jobs.demo_library import demo_job
from served import ROOT, served

SAMPLES = ROOT / "openapi" / "plugin" / "samples"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    copy = tmp_path / "quayside"
    shutil.copytree(SAMPLES / "quayside", copy)
    (copy / "stock.csv").touch()
    return copy


@pytest.fixture
def service(tmp_path: Path, folder: Path) -> Iterator[str]:
    """Address of the service, which takes prices from the sample in process."""
    file = tmp_path / "providers.toml"
    file.write_text(
        '[providers.shelf]\nentry_point = "csv_provider:provider"\n'
        f'options = {{folder = "{folder}"}}\n'
    )
    path = os.pathsep.join([str(SAMPLES), *filter(None, [os.environ.get("PYTHONPATH")])])
    settings = {
        "LOOMWRIGHT_PROVIDERS_FILE": str(file),
        "LOOMWRIGHT_WORKERS": "2",
        "PYTHONPATH": path,
    }
    with served(tmp_path / "log", **settings) as address:
        yield address


def bill(address: str) -> bytes:
    """Ask on a connection of its own, so that whichever worker is free answers."""
    wanted: dict[str, Any] = {
        "job": demo_job("hybrid_jump_start"),
        "price_book_from": {"provider": "shelf", "price_book": "counter"},
    }
    request = urllib.request.Request(
        f"{address}/v1/build-bill-of-materials",
        json.dumps(wanted).encode(),
        {"Content-Type": "application/json"},
    )
    with urllib.request.urlopen(request, timeout=60) as response:
        content: bytes = response.read()
        return content


def test_two_workers_give_the_same_bytes_and_see_a_change_at_once(
    service: str, folder: Path
) -> None:
    with ThreadPoolExecutor(4) as pool:
        before = set(pool.map(bill, [service] * 12))
        file = folder / "book.csv"
        file.write_text(file.read_text().replace("Quayside", "Harbour"))
        after = set(pool.map(bill, [service] * 12))
    assert len(before) == 1
    assert len(after) == 1
    assert before != after
