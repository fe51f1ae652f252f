"""Settings of the server process; read by gunicorn with ``--config``.

Why each is as it is, with the figures, stands in ``deploy/README.md`` under "Server process".
"""

import gc
import os
from typing import Any

# One thread does the arithmetic of a request; more would only contend for the same cores.
for _library in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_library, "1")

# Below the lines above, which have to come before any library that reads them.
from loomwright.web.draining import drain_before_the_end  # noqa: E402
from loomwright.web.exit_status import keep_exit_status  # noqa: E402
from loomwright.web.server import (  # noqa: E402
    checked_settings,
    refuse_exposure,
    send_heads_with_bodies,
    use_problem_documents,
)
from loomwright.web.serving.worker import Patience, worker_with  # noqa: E402
from loomwright.web.signals import hooks  # noqa: E402
from loomwright.web.signals.logs import server_logger  # noqa: E402

# [s] for the head of a request, and between two pieces of its body; then it is refused.
STALLED_CLIENT_S = 10
# [s] that a client may take nothing of an answer, then the connection is dropped.
STALLED_READER_S = 60

keep_exit_status()
wsgi_app = "loomwright.web.app:create_app()"
settings = checked_settings()
hooks.prepare(settings)
bind = settings.listens_on
workers = settings.worker_count
worker_class = worker_with(
    settings, Patience(arriving_s=STALLED_CLIENT_S, taking_s=STALLED_READER_S)
)
threads = settings.threads
keepalive = 15
http_parser = "python"
# An answer is handed to the thread that waits for all clients; none is a file.
sendfile = False

# Loading before the fork makes a faulty table stop the start instead of each worker in turn.
preload_app = True

# Nothing is kept between requests, so there is nothing to manage while running.
control_socket_disable = True

# A key may stand in an address, so the logs, this one too where it is wanted, leave it out.
logger_class = server_logger(settings)
accesslog = None
errorlog = "-"
loglevel = settings.log_level

# This file is read again at each reload.
send_heads_with_bodies()


def on_starting(server: Any) -> None:
    """Look at where the server really listens; the command line may say otherwise than here."""
    refuse_exposure(settings, server.cfg.address)
    use_problem_documents(settings)
    drain_before_the_end(server)
    hooks.on_starting(server, settings)


# What the processes count, and the spans that they send: loomwright/web/signals/hooks.py.
pre_fork, post_fork, child_exit, on_exit = (
    hooks.pre_fork,
    hooks.post_fork,
    hooks.child_exit,
    hooks.on_exit,
)


def worker_exit(server: Any, worker: Any) -> None:
    """Let a process that ends send and tell what it has yet to."""
    hooks.worker_exit(server, worker, settings)


def when_ready(_server: Any) -> None:
    """Set aside what is loaded."""
    # Tables and modules stay: the collector need not walk them again and again in each worker.
    gc.collect()
    gc.freeze()
    # A plan makes and drops tens of thousands of objects and few cycles (tests/bench/calls.py).
    gc.set_threshold(50_000)
