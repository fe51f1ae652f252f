"""One trial: the tests of a module on a changed source, in a forked process.

The parent has the libraries loaded and nothing of the package, so that a trial imports the package
anew, with one module's source exchanged in memory: no file is ever changed. ``NUMBA_DISABLE_JIT``
makes compiled formulas run as Python; the parent sets it before numba is loaded.
"""

import gc
import importlib
import importlib.abc
import importlib.machinery
import importlib.util
import math
import os
import resource
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from types import CodeType, ModuleType
from typing import NoReturn

LIBRARIES = (
    *("numpy", "numba", "pint", "flask", "marshmallow", "hypothesis", "jsonschema", "pytest"),
    *("highspy", "iso4217"),
)
ARGUMENTS = (
    "-x",
    "-q",
    "--no-header",
    "--no-summary",
    # Only whether a test fails is asked for, not how: asserts stay plain, plug-ins are left out.
    "--assert=plain",
    *("-p", "_hypothesis_pytestplugin", "-p", "no:cacheprovider"),
    "--hypothesis-profile=mutation",
    # The libraries that are plug-ins of pytest are loaded before it looks at them.
    "-Wignore::pytest.PytestAssertRewriteWarning",
)
MEMORY = 4 << 30
SECONDS_BEYOND = 5
READ_BY_TRIALS = {".py", ".json", ".csv", ".toml", ".yaml"}
KILLED, SURVIVED, TIMED_OUT = "killed", "survived", "timed out"


@dataclass(frozen=True)
class Outcome:
    """What became of a mutant, after how long, and what the tests wrote."""

    verdict: str
    seconds: float
    output: str


def load_libraries() -> None:
    """Load once what every trial needs, with machine code off."""
    os.environ["NUMBA_DISABLE_JIT"] = "1"
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    if "numba" in sys.modules:
        raise SystemExit("numba was loaded before its compiler was turned off")
    for library in LIBRARIES:
        importlib.import_module(library)
    # pytest collects garbage as it ends; what every trial shares is never any.
    gc.freeze()


def changed_at(*folders: Path) -> dict[Path, int]:
    """Return when each file that a trial may read was changed last; the runner's own are none."""
    return {
        path: path.stat().st_mtime_ns
        for folder in folders
        for path in folder.rglob("*")
        if path.suffix in READ_BY_TRIALS and not path.is_relative_to(Path(__file__).parent)
    }


def tried(
    module: str,
    path: Path,
    source: str | None,
    arguments: Sequence[str],
    seconds: float,
) -> Outcome:
    """Run tests on a module with another source, or as it is for None."""
    started = time.monotonic()
    with tempfile.TemporaryFile("w+", encoding="utf-8", errors="replace") as output:
        child = os.fork()
        if child == 0:
            _run_tests(module, path, source, arguments, seconds, output.fileno())
        status = _awaited(child, started + seconds)
        output.seek(0)
        text = output.read()
    verdict = TIMED_OUT if status is None else SURVIVED if status == 0 else KILLED
    return Outcome(verdict, time.monotonic() - started, text)


def _awaited(child: int, deadline: float) -> int | None:
    """Return the status of a process, or stop it at the deadline and return None."""
    pause = 0.005
    while time.monotonic() < deadline:
        finished, status = os.waitpid(child, os.WNOHANG)
        if finished:
            return status
        time.sleep(pause)
        pause = min(2.0 * pause, 0.05)
    # The child leads a group of its own, so that what it started goes too.
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return None


def _run_tests(
    module: str,
    path: Path,
    source: str | None,
    arguments: Sequence[str],
    seconds: float,
    output: int,
) -> NoReturn:
    status = 70
    try:
        os.setsid()
        os.dup2(output, 1)
        os.dup2(output, 2)
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
        # The parent stops it before; where the parent itself was stopped, a loop ends all the same.
        busy = math.ceil(seconds) + SECONDS_BEYOND
        resource.setrlimit(resource.RLIMIT_CPU, (busy, busy))
        if source is not None:
            sys.meta_path.insert(0, _Exchange(module, path, source))
        status = _pytest_status(arguments)
    except BaseException:
        # Whatever a mutant raises past pytest ends its process here, with a trace in the session.
        traceback.print_exc()
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(status)


def _pytest_status(arguments: Sequence[str]) -> int:
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
    import hypothesis  # noqa: PLC0415 - loaded by the parent already
    import pytest  # noqa: PLC0415

    hypothesis.settings.register_profile(
        "mutation",
        derandomize=True,
        database=None,
        deadline=None,
        max_examples=25,
        suppress_health_check=list(hypothesis.HealthCheck),
        # A counterexample is enough, it need not be the least one.
        phases=(hypothesis.Phase.explicit, hypothesis.Phase.generate),
    )
    return int(pytest.main([*ARGUMENTS, *arguments]))


class _Exchange(importlib.abc.MetaPathFinder, importlib.machinery.SourceFileLoader):
    """Finds one module, and loads it from a source of its own."""

    def __init__(self, module: str, path: Path, source: str) -> None:
        super().__init__(module, str(path))
        self._source = source

    def find_spec(
        self, fullname: str, _path: object = None, _target: ModuleType | None = None
    ) -> importlib.machinery.ModuleSpec | None:
        if fullname != self.name:
            return None
        return importlib.util.spec_from_file_location(fullname, self.path, loader=self)

    def get_code(self, fullname: str) -> CodeType:
        assert fullname == self.name
        return compile(self._source, self.path, "exec", dont_inherit=True)
