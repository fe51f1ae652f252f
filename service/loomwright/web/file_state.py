"""What tells one version of a file from another, for files that are read again when they change."""

import time
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

# A file written twice within one tick of the file system's clock can keep its time and size; the
# coarsest tick is that of FAT, 2 s. Until a change is as old as that, the file is read each time.
SETTLED_NS = 2_000_000_000


@dataclass(frozen=True, slots=True)
class FileState:
    """A file, and what tells one version of it from another."""

    path: Path
    modified_ns: int
    changed_ns: int
    size: int
    inode: int


def file_state(path: Path) -> FileState:
    """Return the state of a file.

    Parameters
    ----------
    path
        The file.

    Returns
    -------
    FileState
        As the file system tells it.

    Raises
    ------
    OSError
        The file cannot be looked at.
    """
    stat = path.stat()
    return FileState(path, stat.st_mtime_ns, stat.st_ctime_ns, stat.st_size, stat.st_ino)


def are_settled(states: Iterable[FileState]) -> bool:
    """Tell whether what was read of files in these states may be kept.

    Parameters
    ----------
    states
        Of all the files.

    Returns
    -------
    bool
        False while the last change is younger than ``SETTLED_NS``. A change in the future is from
        before the clock was set back; the next one will have another time.
    """
    now = time.time_ns()
    return all(abs(now - state.changed_ns) >= SETTLED_NS for state in states)
