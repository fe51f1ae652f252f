"""Each import contract is broken on purpose in a copy of the package, and seen to fail.

Source: the layers as DEVELOPERS.md states them; common practice, no published source.
"""

import os
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SETTINGS = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
CONTRACTS = [contract["name"] for contract in SETTINGS["tool"]["importlinter"]["contracts"]]

# Contract -> (module, line it gets), each of which breaks that contract and no other. A module that
# does not exist yet is made; a leaf imports nothing, so that it drags in no second fault.
BREAKERS = {
    "Arrows go down only": [
        ("loomwright.engineering.offence", "import loomwright.pricing.leaf"),
        ("loomwright.pricing.offence", "import loomwright.jobs.leaf"),
        ("loomwright.jobs.offence", "import loomwright.documents.leaf"),
        ("loomwright.documents.offence", "import loomwright.web.leaf"),
        ("loomwright.providers.offence", "import loomwright.jobs.leaf"),
        ("loomwright.documents.offence", "import loomwright.delivery"),
        ("loomwright.delivery", "import loomwright.web.leaf"),
        ("loomwright.web.offence", "import loomwright.conformance.leaf"),
        ("loomwright.conformance.offence", "import loomwright.cli"),
    ],
    "The command line knows no web module": [
        ("loomwright.cli", "import loomwright.web.leaf"),
    ],
    "The conformance runner needs no test tool": [
        ("loomwright.conformance.offence", "import jsonschema"),
        ("loomwright.delivery", "import pytest"),
    ],
    "The engineering core knows no web, file, unit or schema library": [
        ("loomwright.engineering.offence", "import flask"),
        ("loomwright.engineering.offence", "import csv"),
        ("loomwright.engineering.offence", "import loomwright.tables.load"),
    ],
    "Only units.py knows Pint": [
        ("loomwright.web.offence", "import pint"),
        ("loomwright.tables.offence", "import pint"),
        ("loomwright.conformance.offence", "import pint"),
    ],
    "Pricing, jobs, providers, drawings and documents know no web framework": [
        ("loomwright.pricing.offence", "import werkzeug"),
        ("loomwright.jobs.offence", "import flask"),
        ("loomwright.documents.offence", "import marshmallow"),
        ("loomwright.drawings.offence", "import flask"),
    ],
    "Only the cluster module knows Dask": [
        ("loomwright.web.offence", "import distributed"),
        ("loomwright.batch.offence", "import distributed"),
        ("loomwright.batch.engine", "import dask"),
    ],
    "Only the signals know Prometheus and OpenTelemetry": [
        ("loomwright.web.offence", "import prometheus_client"),
        ("loomwright.batch.offence", "import opentelemetry"),
        ("loomwright.web.signals.metrics", "import opentelemetry"),
    ],
    "The web process never loads the cluster module": [
        ("loomwright.web.offence", "import loomwright.batch.runs.cluster"),
        ("loomwright.web.offence", "import loomwright.batch.runs.command"),
    ],
}


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A copy of the package and its settings."""
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    shutil.copytree(
        ROOT / "service" / "loomwright",
        tmp_path / "service" / "loomwright",
        ignore=shutil.ignore_patterns("__pycache__"),
    )
    return tmp_path


def verdicts(copy: Path) -> dict[str, bool]:
    """Run the linter on the copy; contract name -> kept."""
    program = (
        "import sys; sys.path.insert(0, 'service');"
        "from importlinter.cli import lint_imports;"
        "sys.exit(lint_imports(config_filename='pyproject.toml', no_cache=True))"
    )
    run = subprocess.run(
        [sys.executable, "-c", program],
        cwd=copy,
        env={**os.environ, "COLUMNS": "200"},  # a narrow terminal would wrap the verdicts
        capture_output=True,
        text=True,
        check=False,
    )
    # Behind the verdict stands how many imports a contract lets through.
    found = re.findall(r"^(.+) (KEPT|BROKEN)(?: \(.+\))?$", run.stdout, re.MULTILINE)
    kept = {name: verdict == "KEPT" for name, verdict in found if name in CONTRACTS}
    assert run.returncode == (0 if all(kept.values()) else 1), run.stdout + run.stderr
    assert sorted(kept) == sorted(CONTRACTS), run.stdout + run.stderr
    return kept


def made(copy: Path, module: str) -> Path:
    """The module's file, made together with its package where missing."""
    path = copy / "service" / Path(*module.split(".")).with_suffix(".py")
    path.parent.mkdir(exist_ok=True)
    (path.parent / "__init__.py").touch()
    if not path.exists():
        path.write_text('"""Made by a test."""\n', encoding="utf-8")
    return path


def offend(copy: Path, module: str, line: str) -> None:
    """Add the offending line to the module."""
    imported = line.removeprefix("import ")
    if imported.endswith(".leaf"):
        made(copy, imported)
    path = made(copy, module)
    path.write_text(f"{path.read_text(encoding='utf-8')}\n{line}\n", encoding="utf-8")


def test_every_contract_has_a_breaker() -> None:
    assert sorted(BREAKERS) == sorted(CONTRACTS)


def test_the_package_as_it_is_keeps_every_contract(copy: Path) -> None:
    assert verdicts(copy) == dict.fromkeys(CONTRACTS, True)


@pytest.mark.parametrize(
    ("contract", "module", "line"),
    [(contract, *breaker) for contract, breakers in BREAKERS.items() for breaker in breakers],
)
def test_an_offending_import_breaks_its_contract_alone(
    copy: Path, contract: str, module: str, line: str
) -> None:
    offend(copy, module, line)
    broken = [name for name, kept in verdicts(copy).items() if not kept]
    assert broken == [contract]
