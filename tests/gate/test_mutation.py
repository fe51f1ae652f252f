"""The mutation runner: a weak test lets a mutant live, which is said; its lists fit the source."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

from mutation.configuration import (
    ROOT,
    Configuration,
    Identity,
    read_configuration,
    read_survivors,
)
from mutation.judgement import complaints, figures_of
from mutation.trial import KILLED, SURVIVED, TIMED_OUT, changed_at

LAW = "def resistance_ohm(voltage_v, current_a):\n    return voltage_v / current_a\n"
# Tried in a process of its own, which forks without the threads and plug-ins of this one.
TRIAL = """
import sys
from pathlib import Path
from mutation.trial import tried
folder, test = Path(sys.argv[1]), sys.argv[2]
for source in sys.argv[3:]:
    arguments = ["--rootdir", str(folder), str(folder / test)]
    print(tried("law", folder / "law.py", source or None, arguments, 4.0).verdict)
"""
SAME = "product where a quotient of the same value is asked for"


def verdicts(folder: Path, test: str, *sources: str) -> list[str]:
    done = subprocess.run(
        [sys.executable, "-c", TRIAL, str(folder), test, *sources],
        cwd=ROOT / "tests",
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()


@pytest.fixture
def sample(tmp_path: Path) -> Path:
    """A law with a test that any product passes too, and one that only the quotient passes."""
    (tmp_path / "law.py").write_text(LAW, encoding="utf-8")
    (tmp_path / "conftest.py").write_text("", encoding="utf-8")
    for name, voltage, current in (("weak", 12.0, 1.0), ("strong", 12.0, 4.0)):
        test = (
            "from law import resistance_ohm\n"
            f"def test_law():\n    assert resistance_ohm({voltage}, {current}) == "
            f"{voltage / current}\n"
        )
        (tmp_path / f"test_{name}.py").write_text(test, encoding="utf-8")
    return tmp_path


def test_a_weak_test_lets_a_mutant_live_and_a_strong_one_kills_it(sample: Path) -> None:
    mutant = LAW.replace("/", "*")
    assert verdicts(sample, "test_weak.py", "", mutant) == [SURVIVED, SURVIVED]
    assert verdicts(sample, "test_strong.py", "", mutant) == [SURVIVED, KILLED]
    assert (sample / "law.py").read_text(encoding="utf-8") == LAW


def test_a_mutant_that_hangs_or_cannot_be_loaded_does_not_live(sample: Path) -> None:
    hangs = LAW.replace("    return", "    while True:\n        pass\n    return")
    assert verdicts(sample, "test_weak.py", hangs, "1 +") == [TIMED_OUT, KILLED]


def test_a_trial_ends_by_itself_where_nobody_stops_it(sample: Path) -> None:
    (sample / "test_limited.py").write_text(
        "import resource\nimport law\n\n"
        "def test_limits():\n    assert resource.getrlimit(resource.RLIMIT_CPU) == (9, 9)\n",
        encoding="utf-8",
    )
    assert verdicts(sample, "test_limited.py", "") == [SURVIVED]


@pytest.mark.parametrize(
    ("name", "counts"), [("test_weak.py", True), ("case.json", True), ("law.pyc", False)]
)
def test_an_edit_during_the_trials_is_noticed(sample: Path, name: str, counts: bool) -> None:
    before = changed_at(sample)
    assert changed_at(sample) == before
    (sample / name).write_text("", encoding="utf-8")
    assert (changed_at(sample) != before) is counts


def test_what_lives_unlisted_and_what_is_listed_in_vain_is_said() -> None:
    alive, known, dead, gone = (
        Identity("package.law", "law", "a / b", f"a {sign} b") for sign in "*+-%"
    )
    configuration = Configuration(
        Path(), 90.0, (), {"package.law": ("test",)}, {"package": ("package.law",)}
    )
    found = {"package.law": {alive: SURVIVED, known: SURVIVED, dead: KILLED}}
    assert complaints(found, dict.fromkeys((known, dead, gone), SAME), configuration) == [
        f"survives and is not listed: {alive}",
        f"listed and not a mutant: {gone}",
        f"listed and killed: {dead}",
        "package: 33.3 % killed, at least 90 % are asked for",
    ]
    good = {"package.law": {known: SURVIVED, dead: KILLED, **dict.fromkeys(nine(), TIMED_OUT)}}
    assert complaints(good, {known: SAME}, configuration) == []
    assert figures_of(good["package.law"].values()).line("law") == "law,11,1,9,1,90.9"


def nine() -> list[Identity]:
    return [Identity("package.law", "law", "a", str(number)) for number in range(9)]


def test_each_module_of_a_mutated_package_has_tests_that_exist() -> None:
    configuration = read_configuration()
    for package, modules in configuration.packages.items():
        folder = configuration.source / "loomwright" / package
        files = folder.rglob("*.py") if folder.is_dir() else [folder.with_suffix(".py")]
        there = {
            path.relative_to(configuration.source).with_suffix("").as_posix().replace("/", ".")
            for path in files
            if path.name != "__init__.py"
        }
        assert set(modules) == there
    named = {file for files in configuration.tests.values() for file in files}
    assert all(configuration.tests.values())
    for test in sorted({*named, *configuration.without}):
        file, _, function = test.partition("::")
        assert (ROOT / file).is_file(), test
        if function:
            name = function.split("[")[0]
            assert f"def {name}(" in (ROOT / file).read_text(encoding="utf-8"), test


def test_each_known_survivor_is_in_the_source() -> None:
    configuration = read_configuration()
    for survivor in read_survivors():
        assert survivor.module in configuration.tests, survivor
        source = configuration.path(survivor.module).read_text(encoding="utf-8")
        assert survivor.before in " ".join(source.split()), survivor
        assert survivor.function in {"", *definitions(ast.parse(source))}, survivor


def definitions(node: ast.AST, outer: str = "") -> set[str]:
    found = set()
    for child in ast.iter_child_nodes(node):
        name = outer
        if isinstance(child, ast.FunctionDef | ast.ClassDef):
            name = f"{outer}.{child.name}".lstrip(".")
            found.add(name)
        found |= definitions(child, name)
    return found
