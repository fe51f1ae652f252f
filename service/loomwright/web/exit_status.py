"""The exit status of a process whose log is full."""

import atexit
import os
import sys


def keep_exit_status() -> None:
    """Let this process, and those forked from it, end as they mean to though the log is full.

    Lines that a log does not take stay with their stream. The interpreter tries them once more at
    the end, and if they fail again puts 120 in place of the exit status (``Py_FinalizeEx``).
    """
    # Called again at each reload.
    atexit.unregister(_drop_what_no_log_takes)
    atexit.register(_drop_what_no_log_takes)


def _drop_what_no_log_takes() -> None:
    for stream in (sys.stdout, sys.stderr):
        # As the interpreter has it: a standard stream may be missing, or closed by now.
        if stream is None or stream.closed:
            continue
        try:
            stream.flush()
        except OSError:
            # The way of the standard library's documentation, "Note on SIGPIPE" of ``signal``.
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, stream.fileno())
            os.close(nowhere)
