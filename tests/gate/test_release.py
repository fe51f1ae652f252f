"""A release: one version everywhere, archives that work alone, the same bytes, what is in it."""

import hashlib
import importlib
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
from datetime import date
from email import message_from_bytes
from email.message import Message
from importlib.metadata import distribution, version
from pathlib import Path
from typing import Any

import keepachangelog
import pytest
import yaml
from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator
from flask import Flask
from license_expression import get_spdx_licensing

from loomwright.delivery import VERSION as SPECIFICATION_VERSION
from loomwright.documents.text import bill_text
from loomwright.jobs.demo_library import demo_job
from loomwright.web.app import create_app
from loomwright.web.pages import register_pages
from loomwright.web.pages.serving import page_paths

ROOT = Path(__file__).parents[2]
DEPLOY = ROOT / "deploy"
sys.path.append(str(DEPLOY / "release"))
PLACES = importlib.import_module("version")
LICENCES = importlib.import_module("licences")
VERSION = PLACES.current_version()
NAME = f"loomwright-{VERSION}"
# A Monday; no build may take another time.
EPOCH = 1_924_992_000
BUILT_FROM = (
    *("pyproject.toml", "setup.py", "MANIFEST.in", "README.md", "LICENSE"),
    *("service", "openapi", "deploy"),
)


# --- one version ---


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    """The OpenAPI document."""
    text = (ROOT / "openapi" / "loomwright.yaml").read_text("utf-8")
    read: dict[str, Any] = yaml.load(text, yaml.CSafeLoader)
    return read


def test_every_place_names_the_one_version(document: dict[str, Any]) -> None:
    assert PLACES.SEMANTIC.fullmatch(VERSION)
    assert PLACES.differences() == []
    assert version("loomwright") == VERSION
    assert document["info"]["version"] == VERSION
    recorded = ROOT / "service" / "loomwright" / "web" / "recorded_examples.json"
    for path in (recorded, ROOT / "openapi" / "loomwright.yaml"):
        named = re.findall(r"""engine_version["']?: *["']?([\d.]+)""", path.read_text("utf-8"))
        assert len(named) > 20
        assert set(named) == {VERSION}


def test_no_other_file_names_a_version_of_the_service() -> None:
    known = {ROOT / name for name in PLACES.PLACES} | {DEPLOY / "CHANGELOG.md"}
    looked_at = 0
    for path in texts():
        if path not in known:
            named = re.findall(r"loomwright[:=-]{1,2}v?(\d+\.\d+\.\d+)", path.read_text("utf-8"))
            assert not named, path
            looked_at += 1
    assert looked_at > 100


def texts() -> Iterator[Path]:
    yield from (ROOT / name for name in ("README.md", "DEVELOPERS.md", "Dockerfile", "setup.py"))
    for folder in ("deploy", "openapi", "service"):
        for path in (ROOT / folder).rglob("*"):
            if path.suffix in (".md", ".py", ".yaml", ".toml", ".sh", ".conf", ".js"):
                yield path


def test_a_place_that_lags_is_named_and_can_be_set(tmp_path: Path) -> None:
    for name in PLACES.PLACES:
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(ROOT / name, tmp_path / name)
    path = tmp_path / "deploy" / "compose.yaml"
    path.write_text(path.read_text("utf-8").replace(f":{VERSION}", ":9.9.9"), "utf-8")
    (tmp_path / "Dockerfile").write_text("FROM scratch\n", "utf-8")
    assert PLACES.differences(tmp_path) == [
        "Dockerfile names no version",
        f"deploy/compose.yaml names 9.9.9, not {VERSION}",
    ]
    shutil.copy(ROOT / "Dockerfile", tmp_path)
    PLACES.set_version("10.20.30", tmp_path)
    assert PLACES.differences(tmp_path) == []
    assert PLACES.current_version(tmp_path) == "10.20.30"
    # Nothing else changes, the versions of other images for one.
    for name in PLACES.PLACES:
        written = (tmp_path / name).read_text("utf-8").splitlines()
        before = (ROOT / name).read_text("utf-8").splitlines()
        changed = [line for line, old in zip(written, before, strict=True) if line != old]
        assert changed
        assert all("10.20.30" in line for line in changed)


def test_the_plugin_specification_has_one_version() -> None:
    folder = ROOT / "openapi" / "plugin"
    assert re.fullmatch(r"1\.\d+", SPECIFICATION_VERSION)
    head = (folder / "README.md").read_text("utf-8").partition("\n")[0]
    assert head == f"# Plugin specification, version {SPECIFICATION_VERSION}"
    stated = f"has a version of two numbers, `{SPECIFICATION_VERSION}`."
    assert stated in (folder / "versions.md").read_text("utf-8")
    requirements = json.loads((folder / "requirements.json").read_text("utf-8"))
    assert requirements["specification"] == SPECIFICATION_VERSION
    for name in ("provider.yaml", "receiver.yaml"):
        document = yaml.safe_load((folder / name).read_text("utf-8"))
        assert document["info"]["version"] == SPECIFICATION_VERSION


# --- the changelog ---

HEADING = re.compile(r"## (\[Unreleased\]|\[(\d+\.\d+\.\d+)\] - (\d{4}-\d{2}-\d{2}))")
KINDS = {"Added", "Changed", "Deprecated", "Removed", "Fixed", "Security"}


def test_the_changelog_is_of_its_form() -> None:
    """Keep a Changelog 1.1.0: newest first, dated by ISO 8601, six kinds of change."""
    lines = (DEPLOY / "CHANGELOG.md").read_text("utf-8").splitlines()
    headings = [HEADING.fullmatch(line) for line in lines if line.startswith("## ")]
    assert headings
    found = [heading for heading in headings if heading]
    assert len(found) == len(headings)
    assert all(heading[2] for heading in found[1:]), "Unreleased stands first or nowhere"
    released = [heading for heading in found if heading[2]]
    versions = [tuple(map(int, heading[2].split("."))) for heading in released]
    dates = [date.fromisoformat(heading[3]) for heading in released]
    assert versions == sorted(set(versions), reverse=True)
    assert dates == sorted(dates, reverse=True)
    assert {line.removeprefix("### ") for line in lines if line.startswith("### ")} <= KINDS
    # What is in force: a version that is not in it is being worked on.
    assert released[0][2] == VERSION or found[0][1] == "[Unreleased]"


def test_the_changelog_names_every_operation_and_none_that_is_gone(
    document: dict[str, Any],
) -> None:
    """Read by the parser of the package keepachangelog."""
    entries = keepachangelog.to_dict(str(DEPLOY / "CHANGELOG.md"), show_unreleased=True)
    newest = next(iter(entries.values()))
    assert newest["metadata"]["version"] in (VERSION, "unreleased")
    said = {
        kind: re.findall(r"`([a-z]+(?:-[a-z]+)+)`", " ".join(each.get(kind, "")))
        for each in entries.values()
        for kind in ("added", "removed")
    }
    operations = {path.removeprefix("/v1/") for path in document["paths"]} - {"health", "problems"}
    assert len(operations) > 15
    assert set(said["added"]) - set(said["removed"]) == operations


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


def locked_names() -> list[str]:
    lock = (DEPLOY / "requirements.lock").read_text("utf-8")
    return re.findall(r"^([a-z0-9-]+)==", lock, re.MULTILINE)


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


# --- licences ---

# Words that stand in no other of these licences; of the BSD licences the third clause.
WORDS = {
    "MIT": "Permission is hereby granted, free of charge",
    "BSD-2-Clause": "Redistribution and use in source and binary forms",
    "BSD-3-Clause": "Redistribution and use in source and binary forms",
    "Apache-2.0": "Apache License",
}
THIRD_CLAUSE = re.compile(r"Neither the names? of|names? of .{0,60} may not be used", re.DOTALL)


def test_every_licence_that_was_read_is_the_text_in_the_package() -> None:
    """Texts of the SPDX licence list."""
    for package, read in LICENCES.licence_table()["read"].items():
        files = [
            file
            for file in distribution(package).files or []
            if re.match(r"(LICEN[CS]E|COPYING)", file.name) and ".dist-info" in str(file)
        ]
        if read["expression"] == "LicenseRef-scancode-public-domain":
            assert "Public Domain" in str(distribution(package).metadata)
            continue
        texts = [file.read_text("utf-8") for file in files if "third-party" not in file.name]
        assert texts, package
        assert any(WORDS[read["expression"]] in text for text in texts), package
        if read["expression"].startswith("BSD"):
            has_third = any(THIRD_CLAUSE.search(text) for text in texts)
            assert has_third == (read["expression"] == "BSD-3-Clause"), package


def test_every_package_of_the_lock_has_an_allowed_licence() -> None:
    table = LICENCES.licence_table()
    names = locked_names()
    assert all(LICENCES.licence_of(name, table) for name in names)
    assert set(table["read"]) <= set(names)
    for name in table["allowed"]:
        assert get_spdx_licensing().validate(name).errors == [], name
    # A licence that no package has any longer goes out of the list.
    spdx = get_spdx_licensing()
    used = {
        key
        for name in names
        for key in map(str, spdx.parse(LICENCES.licence_of(name, table)).symbols)
    }
    assert set(table["allowed"]) <= used


def worded(**fields: str | list[str]) -> Message:
    message = Message()
    for name, value in fields.items():
        for each in [value] if isinstance(value, str) else value:
            message[name.replace("_", "-")] = each
    return message


@pytest.mark.parametrize(
    ("metadata", "said"),
    [
        (worded(License_Expression="GPL-3.0-only"), "sample is under GPL-3.0-only"),
        (worded(License_Expression="MIT AND AGPL-3.0-only"), "AGPL-3.0-only"),
        (worded(License_Expression="MIT AND Own-Licence"), "no SPDX expression"),
        (worded(License="BSD"), "no SPDX expression"),
        (worded(License="Redistribution\nand use"), "licence as ''"),
        (worded(Classifier=["License :: Other/Proprietary License"]), "Proprietary"),
        (worded(), "licence as ''"),
    ],
)
def test_an_unknown_licence_is_refused(metadata: Message, said: str) -> None:
    with pytest.raises(LICENCES.LicenceRefusedError, match=re.escape(said)):
        LICENCES.licence_of("sample", LICENCES.licence_table(), metadata)


def test_one_of_several_licences_is_enough_and_a_reading_holds_for_its_words_only() -> None:
    table = LICENCES.licence_table()
    either = worded(License_Expression="GPL-3.0-only OR MIT")
    assert LICENCES.licence_of("sample", table, either) == "GPL-3.0-only OR MIT"
    assert LICENCES.licence_of("pint", table, worded(License="BSD")) == "BSD-3-Clause"
    for words, said in (("BSD-like", "no SPDX expression"), ("MIT", "take its entry out")):
        with pytest.raises(LICENCES.LicenceRefusedError, match=said):
            LICENCES.licence_of("pint", table, worded(License=words))
