"""What the server's configuration calls for metrics, logs and spans; nothing where all are off.

The metrics of all processes are served by a thread of the first one, at an address of their own:

- not at the public one, where whoever may calculate could read how much the service is used;
- not by the processes that serve requests, so that a scrape is answered while all of them are busy;
- not by a process more, which would have to be watched and could outlive the server.

A process counts in files that are named by its place among its siblings, and not by its number: one
that takes the place of another goes on from what that one counted. So sums never go down, and there
are never more files than places.
"""

import atexit
import contextlib
import os
import shutil
import sys
import tempfile
from fcntl import LOCK_EX, LOCK_NB, flock
from pathlib import Path
from typing import Any

from loomwright.web.effective_settings import settings_line
from loomwright.web.server import end_process
from loomwright.web.serving.admission import bounds_of
from loomwright.web.settings import ON, Settings
from loomwright.web.signals.logs import set_up_logs
from loomwright.web.signals.refusals import watch_refusals
from loomwright.web.signals.waiting import held_within

# Libraries of what is off are not loaded.
# ruff: noqa: PLC0415

# The library reads it.
_VARIABLE = "PROMETHEUS_MULTIPROC_DIR"
_LOCK = "lock"
_ENDED = ".ended"
_LOCK_WAIT_S = 5.0
_PREFIX = "loomwright-metrics-"


class _Served:
    """What the first process holds, and a process that was forked from it lets go."""

    folder: Path | None = None
    is_own_folder = False
    lock: int | None = None
    listener: Any = None
    #: Name of this process's files.
    place = "server"


def _place() -> str:
    return _Served.place


def prepare(settings: Settings) -> None:
    """Make ready what has to be there before the application is loaded.

    Called each time that the configuration is read, also at a reload.

    Parameters
    ----------
    settings
        Checked. Where the folder of metrics cannot be had, the process ends with a line.
    """
    set_up_logs(settings)
    if not settings.metrics_bind or _Served.folder is not None:
        return
    _Served.folder = _folder(settings)
    os.environ[_VARIABLE] = str(_Served.folder)
    from prometheus_client import values

    values.ValueClass = values.MultiProcessValue(_place)  # type: ignore[no-untyped-call]


def _folder(settings: Settings) -> Path:
    """Return an empty folder that no other server has."""
    stated = settings.metrics_folder
    if stated is None:
        try:
            folder = Path(tempfile.mkdtemp(prefix=_PREFIX))
        except OSError as error:
            end_process(
                [
                    f"no folder for metrics can be made: {error.strerror}; set "
                    "LOOMWRIGHT_METRICS_FOLDER to one that can be written to."
                ]
            )
        _Served.is_own_folder = True
        # Also where the start fails; in a process that was forked it is not its own.
        atexit.register(_remove, folder, os.getpid())
        return folder
    lock = os.open(stated / _LOCK, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    # Processes of a server that was killed hold on to it until they see that they are alone.
    if not held_within(lambda: _try_lock(lock), _LOCK_WAIT_S):
        end_process([f"LOOMWRIGHT_METRICS_FOLDER is '{stated}', which another server uses."])
    _Served.lock = lock
    for pattern in ("*.db", f"*{_ENDED}"):
        for file in stated.glob(pattern):
            file.unlink()
    return stated


def _remove(folder: Path, owner: int) -> None:
    if os.getpid() != owner:
        return
    # Who asks at the very end is not answered from half of the files.
    if _Served.listener is not None:
        _Served.listener.stop()
    shutil.rmtree(folder, ignore_errors=True)


def _try_lock(lock: int) -> bool:
    try:
        flock(lock, LOCK_EX | LOCK_NB)
    except OSError:
        return False
    return True


def on_starting(server: Any, settings: Settings) -> None:
    """Tell the settings, and serve the metrics; the process ends with a line where it cannot.

    Parameters
    ----------
    server
        The first process of gunicorn.
    settings
        Checked.
    """
    server.log.info("%s", settings_line(settings))
    if not settings.metrics_bind:
        return
    from loomwright.web.signals.listener import MetricsListener
    from loomwright.web.signals.metrics import metrics

    assert _Served.folder is not None
    try:
        _Served.listener = MetricsListener(settings.metrics_bind, _Served.folder)
    except OSError as error:
        end_process(
            [
                f"LOOMWRIGHT_METRICS_BIND is '{settings.metrics_bind}', where nothing can be "
                f"served: {error.strerror}."
            ]
        )
    refused = metrics().refused_unread
    watch_refusals(lambda status: refused.labels(str(status)).inc())
    bounds = bounds_of(settings)
    metrics().of_server(
        {weight: server.cfg.workers * bound.threads for weight, bound in bounds.items()}
    )
    _Served.listener.start()


def pre_fork(server: Any, worker: Any) -> None:
    """Give a process that is about to be made the first free place.

    Parameters
    ----------
    server
        The first process.
    worker
        The one to come.
    """
    if _Served.folder is None:
        return
    from loomwright.web.signals.metrics import metrics

    taken = {getattr(each, "metrics_place", None) for each in server.WORKERS.values()}
    worker.metrics_place = next(n for n in range(len(taken) + 1) if n not in taken)
    counted = metrics()
    counted.worker_starts.inc()
    counted.workers.set(len(server.WORKERS) + 1)


def post_fork(_server: Any, worker: Any) -> None:
    """Let a new process count in its own place, and let go of what is the first one's.

    Parameters
    ----------
    _server
        The first process, as it was when this one was made.
    worker
        The new process, in which this is called.
    """
    if _Served.folder is None:
        return
    from loomwright.web.signals.metrics import metrics

    # Held by two, the address and the folder would stay taken once the first process is gone.
    if _Served.listener is not None:
        _Served.listener.close_socket()
    if _Served.lock is not None:
        os.close(_Served.lock)
    _Served.place = str(worker.metrics_place)
    # Opens all files, which the first request need not wait for.
    metrics().of_process()


def child_exit(server: Any, worker: Any) -> None:
    """Forget what a process that is gone was at.

    Parameters
    ----------
    server
        The first process, in which this is called.
    worker
        The one that is gone.
    """
    if _Served.folder is None:
        return
    from prometheus_client import multiprocess

    from loomwright.web.signals.metrics import DIED, ENDED, metrics

    multiprocess.mark_process_dead(  # type: ignore[no-untyped-call]
        worker.metrics_place, str(_Served.folder)
    )
    counted = metrics()
    mark = _mark(worker)
    outcome = ENDED if mark.exists() else DIED
    mark.unlink(missing_ok=True)
    counted.worker_exits.labels(outcome).inc()
    counted.workers.set(len(server.WORKERS))


def worker_exit(_server: Any, worker: Any, settings: Settings) -> None:
    """Send what spans there are, and leave word that the process ended as it was told to.

    Parameters
    ----------
    _server
        The first process, as it was when this one was made.
    worker
        The process that ends, in which this is called.
    settings
        Checked.
    """
    if os.getpid() != worker.pid:
        return
    if settings.telemetry == ON:
        from loomwright.web.signals.telemetry import shut_down

        shut_down()
    if _Served.folder is not None:
        from loomwright.web.signals.metrics import flush

        flush()
    ending = sys.exc_info()[1]
    is_told_to = ending is None or (isinstance(ending, SystemExit) and not ending.code)
    if _Served.folder is not None and is_told_to:
        with contextlib.suppress(OSError):
            _mark(worker).touch()


def _mark(worker: Any) -> Path:
    assert _Served.folder is not None
    return _Served.folder / f"{worker.metrics_place}{_ENDED}"


def on_exit(_server: Any) -> None:
    """Take away the folder that was made for this server."""
    if _Served.is_own_folder and _Served.folder is not None:
        _remove(_Served.folder, os.getpid())
