"""A release: the same bytes, archives that work alone, and a bill of what is in it."""

import hashlib
import json
import os
import re
import shutil
import socket
import subprocess
import sys
import tarfile
import time
import tomllib
import urllib.request
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from email import message_from_bytes
from email.message import Message
from importlib.metadata import distribution
from pathlib import Path

import pytest
from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator
from flask import Flask
from license_expression import get_spdx_licensing
from release_tools import DEPLOY, ROOT, VERSION, locked_names

from loomwright.documents.text import bill_text
from loomwright.jobs.demo_library import demo_job
from loomwright.web.app import create_app
from loomwright.web.pages import register_pages
from loomwright.web.pages.serving import page_paths

NAME = f"loomwright-{VERSION}"
# A Monday; no build may take another time.
EPOCH = 1_924_992_000
BUILT_FROM = (
    *("pyproject.toml", "setup.py", "MANIFEST.in", "README.md", "LICENSE"),
    *("service", "openapi", "deploy"),
)


# --- what is built ---


def copied(folder: Path) -> Path:
    """A copy of what a release is made of, which is no Git checkout."""
    folder.mkdir(parents=True)
    ignored = shutil.ignore_patterns("__pycache__", "*.egg-info", "build", ".venv*", ".numba*")
    for name in BUILT_FROM:
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, folder / name, ignore=ignored)
        else:
            shutil.copy(ROOT / name, folder / name)
    return folder


def building(
    source: Path, target: Path, *, umask: int = 0o022, **surroundings: str
) -> "subprocess.Popen[str]":
    """Start the script that makes a release."""
    return subprocess.Popen(
        ["bash", "deploy/build.sh", "--python", sys.executable, str(target)],
        cwd=source,
        env={**outside(), "GIT_CEILING_DIRECTORIES": str(source.parent), **surroundings},
        umask=umask,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )


def outside() -> dict[str, str]:
    """The environment without what leads back into the checkout."""
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("PYTHON", "PIP_", "LOOMWR"))}
    return kept | {"SOURCE_DATE_EPOCH": str(EPOCH)}


@pytest.fixture(scope="module")
def releases(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Two releases of the same sources, built in surroundings that differ in all they can."""
    folder = tmp_path_factory.mktemp("releases")
    one, other = copied(folder / "one"), copied(folder / "other" / "farther down")
    for path in other.rglob("*"):
        path.chmod(0o700)
        os.utime(path, (86_400 * 9_000, 86_400 * 9_000))
    targets = folder / "made", folder / "made again"
    first = building(one, targets[0], LC_ALL="C", TZ="UTC")
    second = building(
        other, targets[1], umask=0o077, LC_ALL="de_DE.UTF-8", TZ="Asia/Tokyo", PYTHONHASHSEED="7"
    )
    for process in (first, second):
        said, _ = process.communicate(timeout=300)
        assert process.returncode == 0, said
    return targets


@pytest.fixture(scope="module")
def release(releases: tuple[Path, Path]) -> Path:
    return releases[0]


def test_the_same_commit_gives_the_same_bytes(releases: tuple[Path, Path]) -> None:
    one, other = ({path.name: path.read_bytes() for path in each.iterdir()} for each in releases)
    assert {name for name in one if one[name] != other.get(name)} == set()
    assert one.keys() == other.keys()
    assert one.keys() == {
        *(f"{NAME}-py3-none-any.whl", f"{NAME}.tar.gz", f"{NAME}.cdx.json"),
        *("requirements.lock", "gunicorn.conf.py", "SHA256SUMS"),
    }
    sums = dict(reversed(line.split("  ")) for line in one.pop("SHA256SUMS").decode().splitlines())
    assert sums == {name: hashlib.sha256(content).hexdigest() for name, content in one.items()}
    for name in ("requirements.lock", "gunicorn.conf.py"):
        assert one[name] == (DEPLOY / name).read_bytes()


def test_the_source_archive_holds_all_that_the_wheel_is_made_of(
    release: Path, tmp_path: Path
) -> None:
    """The script builds the wheel of the archive; of the sources themselves it is the same."""
    source = copied(tmp_path / "source")
    for path in source.rglob("*"):
        path.chmod(0o755 if path.is_dir() else 0o644)
    command = [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir"]
    done = subprocess.run(
        [*command, tmp_path / "made", source],
        env=outside(),
        umask=0o022,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    (wheel,) = (tmp_path / "made").iterdir()
    assert wheel.read_bytes() == (release / wheel.name).read_bytes()
    with tarfile.open(release / f"{NAME}.tar.gz") as archive:
        names = [name.removeprefix(f"{NAME}/") for name in archive.getnames()]
        assert {entry.mtime for entry in archive} == {EPOCH}
    assert {"pyproject.toml", "setup.py", "LICENSE", "README.md"} <= set(names)
    assert {name.partition("/")[0] for name in names if "/" in name} == {"openapi", "service"}


def test_the_wheel_says_what_it_is(release: Path) -> None:
    with zipfile.ZipFile(release / f"{NAME}-py3-none-any.whl") as wheel:
        names = set(wheel.namelist())
        metadata = message_from_bytes(wheel.read(f"{NAME}.dist-info/METADATA"))
        licence = wheel.read(f"{NAME}.dist-info/licenses/LICENSE")
    assert licence == (ROOT / "LICENSE").read_bytes()
    assert "loomwright/py.typed" in names
    assert_complete(metadata)
    # All of the package, and the pages of the specification; no test, no trace of this machine.
    package = ROOT / "service"
    ours = {
        path.relative_to(package).as_posix()
        for path in (package / "loomwright").rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    inside = {name for name in names if not name.startswith(NAME)}
    pages = "loomwright/web/pages/specification/"
    assert {name for name in inside if not name.startswith(pages)} == ours


def assert_complete(metadata: Message) -> None:
    """Core metadata 2.4 (PEP 639) of what users look for."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    assert metadata["Version"] == VERSION
    assert metadata["License-Expression"] == "MIT"
    assert metadata["License-File"] == "LICENSE"
    assert metadata["Requires-Python"] == "==3.11.*"
    assert metadata["Summary"] == project["description"]
    assert metadata["Author"] == "The Loomwright developers"
    assert metadata["Description-Content-Type"] == "text/markdown"
    assert "Typing :: Typed" in metadata.get_all("Classifier", [])
    needed = [each for each in metadata.get_all("Requires-Dist", []) if "extra ==" not in each]
    assert len(needed) == len(project["dependencies"])


def test_the_project_is_valid() -> None:
    """PEP 621 and PEP 639, as validate-pyproject holds them."""
    command = [sys.executable, "-m", "validate_pyproject", str(ROOT / "pyproject.toml")]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def refusal(source: Path, target: Path, **surroundings: str) -> str:
    process = building(source, target, **surroundings)
    said, _ = process.communicate(timeout=120)
    assert process.returncode == 1, said
    return said.strip()


def test_what_cannot_be_released_is_refused(tmp_path: Path) -> None:
    source = copied(tmp_path / "source")
    used = tmp_path / "used"
    used.mkdir()
    (used / "old.whl").touch()
    assert "used is not empty" in refusal(source, used)
    target = tmp_path / "made"
    assert "set SOURCE_DATE_EPOCH" in refusal(source, target, SOURCE_DATE_EPOCH="")
    changelog = source / "deploy" / "CHANGELOG.md"
    changelog.write_text(changelog.read_text("utf-8").replace(f"[{VERSION}]", "[0.0.1]"), "utf-8")
    assert f"has no line '## [{VERSION}] - YYYY-MM-DD'" in refusal(source, target)
    shutil.copy(DEPLOY / "CHANGELOG.md", changelog)
    table = source / "deploy" / "release" / "licences.toml"
    table.write_text(table.read_text("utf-8").replace('    "MPL-2.0",\n', ""), "utf-8")
    said = refusal(source, target)
    assert "tqdm is under MPL-2.0 AND MIT" in said
    assert "orjson is under MPL-2.0 AND (Apache-2.0 OR MIT)" in said
    assert not target.exists()


# --- installed alone ---

INSTALLED = """
import sys
import loomwright
assert loomwright.__file__.startswith(sys.argv[1]), loomwright.__file__
from flask import Flask
from loomwright.web.pages import register_pages
from loomwright.web.pages.serving import page_paths
app = Flask("pages", static_folder=None)
register_pages(app)
for path in sorted(page_paths(app)):
    answer = app.test_client().get(path)
    assert answer.status_code == 200, path
    print(path, len(answer.data))
"""


@pytest.fixture(scope="module")
def installed(release: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An environment of the wheel and of what the lock names, and of nothing else.

    The packages of the lock are those of the running environment, which were installed with
    their hashes; they are lent out by links, so that nothing is fetched. The wheel is installed
    by its hash.
    """
    environment = tmp_path_factory.mktemp("installed") / "environment"
    run(sys.executable, "-m", "venv", "--without-pip", str(environment))
    packages = environment / "lib" / "python3.11" / "site-packages"
    for name in locked_names():
        lent = distribution(name)
        tops = {file.parts[0] for file in lent.files or []} - {"..", "__pycache__"}
        assert tops, name
        for top in tops:
            (packages / top).symlink_to(str(lent.locate_file(top)))
    wheel = release / f"{NAME}-py3-none-any.whl"
    wanted = environment / "wanted.txt"
    digest = hashlib.sha256(wheel.read_bytes()).hexdigest()
    wanted.write_text(f"loomwright=={VERSION} --hash=sha256:{digest}\n", "utf-8")
    pip = [sys.executable, "-m", "pip", "--python", str(environment / "bin" / "python")]
    run(
        *(*pip, "install", "--quiet", "--disable-pip-version-check", "--no-deps", "--no-index"),
        *("--require-hashes", "--find-links", str(release), "--requirement", str(wanted)),
    )
    # What the wheel asks for, the lock has in versions that agree with it.
    assert "No broken requirements" in run(*pip, "check")
    return environment


def run(*command: str) -> str:
    done = subprocess.run(
        command,
        cwd="/",
        # Without machine code: an installation of its own would compile every formula anew.
        env=outside() | {"NUMBA_DISABLE_JIT": "1"},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@contextmanager
def serving(environment: Path, settings: Path) -> Iterator[str]:
    """The service of an environment under the server, as ``deploy/start.sh`` starts it."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    log = environment / "server.log"
    own = {"LOOMWRIGHT_PORT": str(port), "LOOMWRIGHT_WORKERS": "1", "NUMBA_DISABLE_JIT": "1"}
    with log.open("w") as output:
        server = subprocess.Popen(
            [environment / "bin" / "python", "-m", "gunicorn", "--config", settings],
            cwd="/",
            env=outside() | own,
            stdout=output,
            stderr=subprocess.STDOUT,
        )
    url = f"http://127.0.0.1:{port}"
    try:
        deadline = time.monotonic() + 60.0
        while True:
            assert server.poll() is None, log.read_text("utf-8")
            assert time.monotonic() < deadline, log.read_text("utf-8")
            try:
                with urllib.request.urlopen(f"{url}/v1/health", timeout=5) as response:
                    assert json.load(response)["engine_version"] == VERSION
                break
            except OSError:
                time.sleep(0.1)
        yield url
    finally:
        server.terminate()
        server.wait(timeout=30)
    assert "Traceback" not in log.read_text("utf-8")


def test_the_wheel_alone_prices_the_demo_job(installed: Path, release: Path) -> None:
    with serving(installed, release / "gunicorn.conf.py") as url:
        printed = run(str(installed / "bin" / "loomwright"), "demo", "--url", url)
    request = {"job": demo_job("hybrid_jump_start")}
    here = create_app().test_client().post("/v1/build-bill-of-materials", json=request)
    assert len(here.json["lines"]) > 5
    assert printed.strip() == bill_text(here.json).strip()


def test_the_wheel_alone_serves_the_same_pages(installed: Path) -> None:
    assert not (installed / "openapi").exists()
    python = str(installed / "bin" / "python")
    printed = run(python, "-W", "error", "-c", INSTALLED, str(installed))
    app = Flask("pages", static_folder=None)
    register_pages(app)
    here = [(path, len(app.test_client().get(path).data)) for path in sorted(page_paths(app))]
    assert printed.splitlines() == [f"{path} {length}" for path, length in here]


# --- the bill of software ---


def test_the_bill_of_software_is_valid(release: Path) -> None:
    """CycloneDX 1.6 (ECMA-424), strictly, by the schema that cyclonedx-python-lib carries."""
    text = (release / f"{NAME}.cdx.json").read_text("utf-8")
    validator = JsonStrictValidator(SchemaVersion.V1_6)
    assert validator.validate_str(text) is None
    assert validator.validate_str(text.replace('"purl"', '"parcel"', 1)) is not None


def test_the_bill_of_software_is_the_lock(release: Path) -> None:
    bill = json.loads((release / f"{NAME}.cdx.json").read_text("utf-8"))
    entries = re.split(
        r"\n(?=\S)", (DEPLOY / "requirements.lock").read_text("utf-8").replace("\\\n", " ").strip()
    )
    locked = {
        entry.split()[0]: set(re.findall(r"--hash=sha256:([0-9a-f]{64})", entry))
        for entry in entries
    }
    assert len(locked) > 40
    assert {described(component) for component in bill["components"]} == locked.keys()
    for component in bill["components"]:
        (archives,) = [each for each in component["externalReferences"] if "hashes" in each]
        assert (archives["type"], archives["url"]) == ("distribution", component["purl"])
        assert {each["alg"] for each in archives["hashes"]} == {"SHA-256"}
        hashes = {each["content"] for each in archives["hashes"]}
        assert hashes == locked[described(component)]
        (licence,) = component["licenses"]
        assert get_spdx_licensing().validate(licence["expression"]).errors == []
    root = bill["metadata"]["component"]
    assert (root["name"], root["version"]) == ("loomwright", VERSION)
    assert bill["metadata"]["timestamp"] == "2031-01-01T00:00:00+00:00"


def described(component: dict[str, str]) -> str:
    """Name and version as the lock writes them; the package URL says the same."""
    name = re.sub(r"[-_.]+", "-", component["name"]).lower()
    assert component["purl"] == f"pkg:pypi/{name}@{component['version']}"
    return f"{name}=={component['version']}"


def test_the_bill_of_software_says_what_needs_what(release: Path) -> None:
    bill = json.loads((release / f"{NAME}.cdx.json").read_text("utf-8"))
    needs = {each["ref"]: each.get("dependsOn", []) for each in bill["dependencies"]}
    known = {component["bom-ref"] for component in bill["components"]}
    root = bill["metadata"]["component"]["bom-ref"]
    assert needs.keys() == known | {root}
    reached, waiting = set(), [root]
    while waiting:
        reference = waiting.pop()
        if reference not in reached:
            reached.add(reference)
            waiting += needs[reference]
    assert reached - {root} == known, "every package of the lock is there for a reason"
