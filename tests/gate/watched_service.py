"""The service with an engine that notes what it is asked for, and waits where it is told to.

Served in place of the service by ``test_streams.py``: ``watched_service:watched()``. The folder
``LOOMWRIGHT_WATCHED`` would be no setting, so the notes lie in the working folder: ``asked`` has a
line for each time that the engine is asked, ``closed`` one for each answer that is done with. Where
``wait`` lies there, the engine does nothing from the second package on until it is gone.
"""

import os
import time
from pathlib import Path

from loomwright.batch.array_engine import engine_of
from loomwright.web import streaming
from loomwright.web.app import create_app

ASKED, CLOSED, WAIT = Path("asked"), Path("closed"), Path("wait")
LONGEST_WAIT_S = 60.0


def note(path, text):
    """Add a line, whole, whoever else does."""
    file = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    os.write(file, f"{text}\n".encode())
    os.close(file)


class Watched:
    """An engine that notes what it is asked for before it asks the true one."""

    def __init__(self, batch):
        self.engine = engine_of(batch)

    def rows(self, package, vehicles):
        note(ASKED, package)
        deadline = time.monotonic() + LONGEST_WAIT_S
        while package and WAIT.exists() and time.monotonic() < deadline:
            time.sleep(0.02)
        return self.engine.rows(package, vehicles)


class Noted:
    """An answer that notes when the server is done with it."""

    def __init__(self, answer):
        self.answer = answer

    def __iter__(self):
        return iter(self.answer)

    def close(self):
        self.answer.close()
        note(CLOSED, "closed")


def watched():
    """Return the service as a WSGI application."""
    service = create_app()
    streaming.engine_of = Watched

    def application(environ, start_response):
        answer = service(environ, start_response)
        return Noted(answer) if environ["PATH_INFO"] == "/v1/price-packages" else answer

    return application
