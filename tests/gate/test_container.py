"""The image's recipe and the composed services, as far as files can tell; the build is by hand."""

import os
import re
import stat
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
import yaml
from compose_spec import PyOptions

from loomwright.web.settings_table import PREFIX, SETTINGS, settings_from

ROOT = Path(__file__).parents[2]
DOCKERFILE = (ROOT / "Dockerfile").read_text("utf-8")
COMPOSE = (ROOT / "deploy" / "compose.yaml").read_text("utf-8")
CONTAINER = ROOT / "deploy" / "container"
VERSION = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["version"]
FINAL = DOCKERFILE.rpartition("\nFROM ")[2]


def test_the_linter_of_dockerfiles_finds_nothing() -> None:
    command = Path(sys.executable).with_name("hadolint")
    done = subprocess.run(
        [command, "--no-color", ROOT / "Dockerfile"],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_what_is_copied_is_there_and_reaches_the_build() -> None:
    sources = [
        source
        for line in re.findall(r"^COPY (?!--from)(.+)$", DOCKERFILE, re.MULTILINE)
        for source in line.split()[:-1]
    ]
    assert len(sources) >= 5
    reaching = (ROOT / ".dockerignore").read_text("utf-8").splitlines()
    assert reaching[0] == "*"
    let_in = [line.removeprefix("!") for line in reaching if line.startswith("!")]
    reached = {path for pattern in let_in for path in ROOT.glob(pattern)}
    assert {ROOT / source for source in sources} <= reached


def test_the_image_is_as_it_says() -> None:
    assert f"ARG VERSION={VERSION}\n" in FINAL
    assert re.search(r"^ARG BASE=python:3\.11\.\d+-slim-bookworm$", DOCKERFILE, re.MULTILINE)
    assert re.search(r"^USER 10001:10001$", FINAL, re.MULTILINE)
    assert re.search(r"^STOPSIGNAL SIGTERM$", FINAL, re.MULTILINE)
    assert "'GET', '/v1/live'" in FINAL
    # Lists of arguments, not lines of a shell, which would keep signals to itself.
    assert re.search(r'^CMD \["/opt/', FINAL, re.MULTILINE)
    assert re.search(r'^HEALTHCHECK .* CMD \["/opt/', FINAL, re.MULTILINE)
    # Machine code is found again only if it was made for the same processor.
    assert DOCKERFILE.count("NUMBA_CPU_NAME=generic") == 2


FORMULA = """
import numba

@numba.njit(cache=True)
def half(x):
    return x / 2

print(half(3.0), sum(half.stats.cache_hits.values()), sum(half.stats.cache_misses.values()))
print(half(4), sum(half.stats.cache_hits.values()), sum(half.stats.cache_misses.values()))
"""


def test_kept_machine_code_is_read_and_never_written(tmp_path: Path) -> None:
    """The locator of the image finds what a build left, and compiles the rest in memory."""
    module = tmp_path / "formula.py"
    module.write_text(FORMULA, "utf-8")
    kept = {name: text for name, text in os.environ.items() if not name.startswith("NUMBA_")}
    kept |= {"PYTHONPATH": f"{tmp_path}:{CONTAINER}", "NUMBA_CPU_NAME": "generic"}
    made = asked(FORMULA.count("\nprint") - 1, kept, tmp_path)
    assert made == ["1.5 0 1"]
    folder = tmp_path / "__pycache__"
    before = {path.name: path.stat().st_mtime_ns for path in folder.iterdir()}
    assert any(name.endswith(".nbc") for name in before)
    named = {"NUMBA_CACHE_LOCATOR_CLASSES": "kept_machine_code.KeptMachineCode"}
    folder.chmod(stat.S_IRUSR | stat.S_IXUSR)
    # The second call is with another type, which the build did not meet.
    assert asked(2, kept | named, tmp_path) == ["1.5 1 0", "2.0 1 1"]
    assert {path.name: path.stat().st_mtime_ns for path in folder.iterdir()} == before


def asked(calls: int, environment: dict[str, str], folder: Path) -> list[str]:
    """Run the first calls of the formula in a process of its own, and return what they print."""
    lines = FORMULA.splitlines(keepends=True)
    prints = [number for number, line in enumerate(lines) if line.startswith("print")]
    text = "".join(lines[: prints[calls - 1] + 1])
    head = text.partition("print")[0]
    # The formula is a module, at the same place in its file each time.
    (folder / "formula.py").write_text(head, "utf-8")
    script = "from formula import half\n" + text.removeprefix(head)
    done = subprocess.run(
        [sys.executable, "-B", "-c", script],
        env=environment,
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    return done.stdout.splitlines()


def test_the_composed_services_are_valid() -> None:
    """Compose specification, as the parser of the package compose-spec holds it."""
    options = PyOptions(apply_merge=True)
    parsed = options.from_yaml(COMPOSE)
    parsed.validate()
    parsed.to_spec()
    assert set(parsed.service_names()) == {"service-1", "service-2", "proxy", "redis"}
    with pytest.raises(ValueError, match="prots"):
        options.from_yaml(COMPOSE.replace("    ports:", "    prots:"))


SERVICES = yaml.safe_load(COMPOSE)["services"]


@pytest.mark.parametrize("name", SERVICES)
def test_each_service_is_pinned_and_can_do_little(name: str) -> None:
    service = SERVICES[name]
    assert re.fullmatch(r"[a-z]+:\d+\.\d+\.\d+(-alpine)?", service["image"])
    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert "mem_limit" in service
    assert not {"privileged", "network_mode", "pid", "cap_add"} & service.keys()


def test_the_composed_instances_are_set_as_the_service_takes_it(tmp_path: Path) -> None:
    keys = tmp_path / "keys.toml"
    keys.write_text(f'[[keys]]\nid = "a"\nsha256 = "{"0" * 64}"\nscopes = ["price"]\n', "utf-8")
    for name in ("service-1", "service-2"):
        service = SERVICES[name]
        assert service["image"] == f"loomwright:{VERSION}"
        stated = service["environment"]
        assert set(stated) <= {setting.name for setting in SETTINGS}
        there = {f"{PREFIX}BIND": "0.0.0.0:8080", f"{PREFIX}KEYS_FILE": str(keys)}
        settings = settings_from(stated | there)
        assert settings.needs_keys
        assert settings.rate_limit_storage == "redis://redis:6379/0"
        assert int(service["stop_grace_period"].removesuffix("s")) > 30
        assert "'/v1/ready'" in service["healthcheck"]["test"][-1]
        # Nobody reaches an instance but through the proxy.
        assert "ports" not in service
        assert service["networks"] == ["inside"]
    upstream = (ROOT / "deploy" / "nginx" / "upstream.conf").read_text("utf-8")
    assert re.findall(r"^server (\S+):8080 ", upstream, re.MULTILINE) == ["service-1", "service-2"]
    assert SERVICES["redis"]["networks"] == ["inside"]
    assert yaml.safe_load(COMPOSE)["networks"]["inside"] == {"internal": True}
    assert SERVICES["proxy"]["ports"] == ["127.0.0.1:8080:8080"]
