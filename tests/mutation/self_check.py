"""The runner on a package of two functions, one of them tested weakly: what lives is reported."""

import tempfile
from pathlib import Path

from .configuration import Configuration, Identity
from .session import verdicts_of
from .trial import KILLED, SURVIVED, TIMED_OUT

MODULE = """
from functools import lru_cache

@lru_cache(maxsize=4)
def resistance_ohm(voltage_v: float | None, current_a: float = 2.0) -> float:
    return voltage_v / current_a

def steps(count: int) -> int:
    done = 0
    while done < count:
        done += 1
    return done
"""
TESTS = """
from sample_under_mutation.law import resistance_ohm, steps

def test_resistance():
    assert resistance_ohm(12.0, 4.0) == 3.0

def test_steps():
    assert steps(3) == 3
"""
DEFAULT = "def resistance_ohm(voltage_v: float | None, current_a: float = {}) -> float:"
LIVES, HANGS = (
    {
        ("resistance_ohm", DEFAULT.format(2.0), DEFAULT.format(3.0)),
        ("resistance_ohm", DEFAULT.format(2.0), DEFAULT.format(1.0)),
        ("steps", "done = 0", "done = 1"),
        ("steps", "done = 0", "done = -1"),
    },
    {("steps", "done += 1", "done += 0")},
)
DIES = {
    ("resistance_ohm", "return voltage_v / current_a", "return voltage_v * current_a"),
    ("steps", "while done < count:", "while done <= count:"),
    ("steps", "while done < count:", "while done >= count:"),
    ("steps", "done += 1", "done += 2"),
}


def check() -> None:
    """Raise ``SystemExit`` if the runner does not find exactly what lives, hangs and dies."""
    module = "sample_under_mutation.law"
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        package = folder / "sample_under_mutation"
        package.mkdir()
        (package / "__init__.py").write_text("", encoding="utf-8")
        (package / "law.py").write_text(MODULE, encoding="utf-8")
        (folder / "test_law.py").write_text(TESTS, encoding="utf-8")
        # Names the folder as pytest's root, and puts it on the path.
        (folder / "conftest.py").write_text("", encoding="utf-8")
        configuration = Configuration(
            source=folder,
            least_killed=90.0,
            without=(),
            tests={module: (f"--rootdir={folder}", str(folder / "test_law.py"))},
            packages={"sample_under_mutation": (module,)},
        )
        found = verdicts_of(module, configuration, folder, (), lambda _: None, seconds=3.0)
    expected = {
        Identity(module, *each): verdict
        for verdict, mutants in ((SURVIVED, LIVES), (TIMED_OUT, HANGS), (KILLED, DIES))
        for each in mutants
    }
    if found != expected:
        raise SystemExit(f"the runner fails on its sample: {found}")
