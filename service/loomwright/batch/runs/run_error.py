"""What ends a run before its output is written."""


class RunError(Exception):
    """A run that cannot start or go on, in one line for whoever started it.

    Finished partitions stay where they are, so that the run goes on once the cause is gone.
    """
