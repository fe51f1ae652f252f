"""The start script: each failure is one clear line; the way through ends without a process left.

Nothing here fetches a package: where an environment is needed it is built from the running one.
"""

import contextlib
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SEARCHED = ("python3.11", "python3", "python")


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A copy of what the start script needs, without an environment."""
    for name in ("pyproject.toml", "setup.py", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, tmp_path)
    for name in ("deploy", "openapi", "service"):
        ignored = shutil.ignore_patterns("__pycache__", "*.egg-info")
        shutil.copytree(ROOT / name, tmp_path / name, ignore=ignored)
    return tmp_path


@pytest.fixture
def commands(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A directory that stands first on PATH and holds the running Python under every name."""
    folder = tmp_path_factory.mktemp("commands")
    for name in SEARCHED:
        command(folder / name, f'exec {sys.executable} "$@"')
    return folder


def command(path: Path, line: str) -> None:
    path.write_text(f"#!/bin/sh\n{line}\n", encoding="utf-8")
    path.chmod(0o755)


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def surroundings(commands: Path, port: int | str, **more: str) -> dict[str, str]:
    kept = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith(("PIP_", "LOOMWRIGHT_", "PYTHON"))
    }
    path = f"{commands}{os.pathsep}{os.environ['PATH']}"
    return {**kept, "PATH": path, "LOOMWRIGHT_PORT": str(port), **more}


def refused(copy: Path, environment: dict[str, str]) -> str:
    """Run the start script, see it fail, and return what it says in its one line of complaint."""
    run = subprocess.run(
        ["bash", "deploy/start.sh"],
        cwd=copy,
        env=environment,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert run.returncode == 1, run.stdout + run.stderr
    lines = run.stderr.splitlines()
    assert len(lines) == 1, run.stderr
    assert lines[0].startswith("loomwright: ")
    return lines[0]


def test_a_busy_port_is_named(copy: Path, commands: Path) -> None:
    with socket.socket() as holder:
        holder.bind(("127.0.0.1", 0))
        holder.listen()
        port = holder.getsockname()[1]
        line = refused(copy, surroundings(commands, port))
    assert f"port {port} on 127.0.0.1 is busy" in line


@pytest.mark.parametrize("port", ["0", "65536", "http", "-1", "80 81"])
def test_a_port_that_is_none_is_refused(copy: Path, commands: Path, port: str) -> None:
    assert f"not '{port}'" in refused(copy, surroundings(commands, port))


@pytest.mark.parametrize("folder", [".", "elsewhere"])
def test_without_python_3_11_nothing_is_made(
    copy: Path, commands: Path, folder: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    for name in SEARCHED:  # what a launcher does whose version is missing
        command(commands / name, "echo 'no such version' >&2; exit 127")
    environment = surroundings(commands, free_port())
    if folder == "elsewhere":  # no Python at all
        bare = tmp_path_factory.mktemp("bare")
        for tool in ("bash", "dirname", "sh"):
            (bare / tool).symlink_to(shutil.which(tool) or tool)
        environment["PATH"] = str(bare)
    assert "Python 3.11 is needed" in refused(copy, environment)
    assert not (copy / ".venv-run").exists()


def test_python3_serves_where_it_is_3_11(copy: Path, commands: Path) -> None:
    command(commands / "python3.11", "exit 127")
    with socket.socket() as holder:
        holder.bind(("127.0.0.1", 0))
        holder.listen()
        line = refused(copy, surroundings(commands, holder.getsockname()[1]))
    assert "is busy" in line  # so the version was accepted


def test_a_python_without_venv_is_named(copy: Path, commands: Path) -> None:
    line = f'case "$*" in *ensurepip*) exit 1 ;; esac; exec {sys.executable} "$@"'
    command(commands / "python3.11", line)
    assert "has no venv module" in refused(copy, surroundings(commands, free_port()))


@pytest.mark.parametrize("cut", [{"PIP_INDEX_URL": "closed"}, {"PIP_NO_INDEX": "1"}])
def test_without_network_the_index_is_blamed(
    copy: Path, commands: Path, cut: dict[str, str]
) -> None:
    closed = f"http://127.0.0.1:{free_port()}/simple"
    settings = {name: closed if value == "closed" else value for name, value in cut.items()}
    settings |= {"PIP_CONFIG_FILE": os.devnull, "PIP_RETRIES": "0", "NO_PROXY": "127.0.0.1"}
    environment = surroundings(commands, free_port(), **settings)
    assert "no package index" in refused(copy, environment)
    assert not (copy / ".venv-run" / "stamp").exists()  # so the next start begins anew


def test_a_package_with_another_hash_is_refused(copy: Path, commands: Path) -> None:
    wheels = copy / "wheels"
    wheels.mkdir()
    (wheels / "loomless-1.0-py3-none-any.whl").write_bytes(b"not what was locked")
    lock = f"loomless==1.0 --hash=sha256:{'0' * 64}\n"
    for name in ("build.lock", "requirements.lock"):
        (copy / "deploy" / name).write_text(lock, encoding="utf-8")
    settings = {"PIP_NO_INDEX": "1", "PIP_FIND_LINKS": str(wheels), "PIP_CONFIG_FILE": os.devnull}
    line = refused(copy, surroundings(commands, free_port(), **settings))
    assert "does not match its hash" in line


@pytest.fixture
def ready(copy: Path, commands: Path) -> Path:
    """The copy with an environment that the start script takes for its own."""
    environment = copy / ".venv-run"
    subprocess.run(
        [sys.executable, "-m", "venv", "--without-pip", environment], check=True, timeout=60
    )
    (packages,) = (environment / "lib").glob("python3.11/site-packages")
    here = next(path for path in sys.path if path.endswith("site-packages"))
    (packages / "borrowed.pth").write_text(f"{copy / 'service'}\n{here}\n", encoding="utf-8")
    line = "from loomwright.cli import main; raise SystemExit(main())"
    command(
        environment / "bin" / "loomwright",
        f'exec {environment}/bin/python -c "{line}" "$@"',
    )
    stamp = subprocess.run(
        [
            "bash",
            "-c",
            ". deploy/environment.sh; "
            'environment_stamp "$(python_3_11)" deploy/build.lock deploy/requirements.lock',
        ],
        cwd=copy,
        env=surroundings(commands, 1),
        capture_output=True,
        text=True,
        check=True,
    )
    (environment / "stamp").write_text(stamp.stdout, encoding="utf-8")
    return copy


def processes_below(folder: Path) -> list[str]:
    """Command lines of the processes that run out of the folder."""
    found = []
    for entry in Path("/proc").glob("[0-9]*/cmdline"):
        with contextlib.suppress(OSError):  # it ended meanwhile
            line = entry.read_bytes().replace(b"\0", b" ").decode("utf-8", "replace")
            if str(folder) in line or os.readlink(entry.parent / "cwd") == str(folder):
                found.append(line)
    return found


def eventually(condition: Callable[[], bool], seconds: float = 20.0) -> bool:
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        if condition():
            return True
        time.sleep(0.05)
    return condition()


@contextlib.contextmanager
def started(copy: Path, environment: dict[str, str]) -> Iterator[subprocess.Popen[str]]:
    """The start script in a process group of its own, as a terminal has it; ended at the end."""
    process = subprocess.Popen(
        # Whoever runs the tests in the background of a shell hands down that SIGINT is ignored.
        ["env", "--default-signal=INT", "bash", "deploy/start.sh"],
        cwd=copy,
        env=environment,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        start_new_session=True,
    )
    try:
        yield process
    finally:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGTERM)
        process.communicate(timeout=30)


def read_until(process: subprocess.Popen[str], words: str) -> str:
    """Read the output up to and including the line with the words."""
    assert process.stdout is not None
    seen = []
    for line in process.stdout:
        seen.append(line)
        if words in line:
            return "".join(seen)
    raise AssertionError("".join(seen))


def health(port: int, seconds: float) -> bytes:
    """The first bytes of the health answer, awaited for that long."""
    with socket.create_connection(("127.0.0.1", port), timeout=seconds) as client:
        client.sendall(b"GET /v1/health HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n")
        return client.recv(64)


@pytest.mark.parametrize("to_whole_group", [True, False], ids=["terminal", "supervisor"])
def test_the_demo_is_printed_and_an_interrupt_leaves_no_process(
    ready: Path, commands: Path, to_whole_group: bool
) -> None:
    port = free_port()
    with started(ready, surroundings(commands, port)) as process:
        printed = read_until(process, "until interrupted")
        assert "TOTAL" in printed.upper()
        assert health(port, seconds=10).startswith(b"HTTP/1.1 200")
        if to_whole_group:
            os.killpg(process.pid, signal.SIGINT)
        else:
            process.terminate()
        rest, _ = process.communicate(timeout=30)
    assert process.returncode == 0, rest
    assert rest.splitlines()[-1:] == ["loomwright: stopped."]
    assert eventually(lambda: not processes_below(ready)), processes_below(ready)


def test_a_client_that_stalls_does_not_hold_its_worker(ready: Path, commands: Path) -> None:
    settings = ready / "deploy" / "gunicorn.conf.py"
    text = settings.read_text(encoding="utf-8")
    assert "STALLED_CLIENT_S = 10\n" in text
    settings.write_text(
        text.replace("STALLED_CLIENT_S = 10\n", "STALLED_CLIENT_S = 1\n"), encoding="utf-8"
    )
    port = free_port()
    environment = surroundings(commands, port, LOOMWRIGHT_WORKERS="1")
    with started(ready, environment) as process:
        read_until(process, "until interrupted")
        with socket.create_connection(("127.0.0.1", port)) as silent:
            silent.sendall(b"POST /v1/size-conductor HTTP/1.1\r\nHost: x\r\n")
            time.sleep(0.2)
            assert health(port, seconds=10).startswith(b"HTTP/1.1 200")


def test_a_server_that_dies_at_start_is_reported(ready: Path, commands: Path) -> None:
    app = ready / "service" / "loomwright" / "web" / "app.py"
    app.write_text("raise SystemError('broken on purpose')\n", encoding="utf-8")
    line = refused(ready, surroundings(commands, free_port()))
    assert "the server stopped while starting" in line
    assert "broken on purpose" in line
    assert eventually(lambda: not processes_below(ready)), processes_below(ready)


def test_a_server_that_dies_while_serving_is_reported(ready: Path, commands: Path) -> None:
    with started(ready, surroundings(commands, free_port())) as process:
        read_until(process, "until interrupted")
        os.kill(master_of(process), signal.SIGKILL)
        rest, _ = process.communicate(timeout=30)
    assert process.returncode == 1
    assert "the server ended with status 137" in rest
    assert eventually(lambda: not processes_below(ready)), processes_below(ready)


def master_of(process: subprocess.Popen[str]) -> int:
    """The process id of the server that the start script waits for."""
    children = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text(encoding="utf-8")
    (child,) = children.split()
    return int(child)
