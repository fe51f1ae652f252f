"""The deployed settings of the server, with a worker that notes what each call waits and takes.

Read by gunicorn in the place of ``deploy/gunicorn.conf.py``. A line for each answer goes to
``LATENCIES``: its status and, in seconds of the worker's own processor time, how long ago the turn
began in which the call was read. What other processes of the machine do meanwhile is in none of it.
"""

import os
import runpy
import time
from pathlib import Path

_DEPLOYED = runpy.run_path(str(Path(__file__).parents[2] / "deploy" / "gunicorn.conf.py"))
globals().update({name: value for name, value in _DEPLOYED.items() if not name.startswith("_")})
NOTES = os.environ["LATENCIES"]


class Timed(_DEPLOYED["worker_class"]):
    """Notes how long calls wait."""

    turn_began = 0.0

    def run(self):
        self.notes = open(NOTES, "a", buffering=1)  # noqa: SIM115 - until the process ends
        super().run()

    def wait_for_and_dispatch_events(self, timeout):
        self.turn_began = time.thread_time()
        super().wait_for_and_dispatch_events(timeout)

    def _judge(self, connection):
        connection.began = self.turn_began
        super()._judge(connection)

    def _turn_away(self, connection):
        self.notes.write(f"503 {time.thread_time() - connection.began}\n")
        super()._turn_away(connection)

    def handle(self, conn):
        keeps = super().handle(conn)
        self.notes.write(f"200 {time.thread_time() - conn.began}\n")
        return keeps


worker_class = Timed
