"""A run on the disk: a folder beside the output with a manifest and the finished partitions.

A partition is written under a temporary name, forced to the disk and renamed; the rename is what
makes it finished. Whatever ends the process before it, a partition is there whole or not at all,
and is worked out again in the second case. The folder goes once the output stands in its place.
"""

import fcntl
import os
import re
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import orjson
import pyarrow as pa
import pyarrow.parquet as pq

from loomwright.batch.runs.run_error import RunError
from loomwright.batch.runs.software import differences

MANIFEST, LOCK, ROWS, JOINED = "manifest.json", "lock", "rows", "joined"
REPLACED, FINISHING = "replaced", "finishing"
_PART = re.compile(r"part-(\d{8})\.parquet", re.ASCII)
_UNFINISHED = ".unfinished"


@dataclass(frozen=True, slots=True)
class Manifest:
    """What a run is of; two runs with the same manifest have the same partitions.

    Parameters
    ----------
    inputs
        SHA-256 of each input by its name on the command line.
    software
        As ``software()`` says.
    pairs
        Number of pairs.
    partition_pairs
        Pairs of each partition.
    tabular
        Whether circuits are text in the rows, as CSV needs them, and not lists.
    """

    inputs: Mapping[str, str]
    software: Mapping[str, str]
    pairs: int
    partition_pairs: int
    tabular: bool

    @property
    def partitions(self) -> int:
        """Number of partitions."""
        return -(-self.pairs // self.partition_pairs)

    def rows(self, number: int) -> int:
        """Return how many rows a partition has."""
        return min(self.partition_pairs, self.pairs - number * self.partition_pairs)

    def document(self) -> dict[str, Any]:
        """Return the manifest as plain JSON values."""
        return {
            "inputs": dict(self.inputs),
            "software": dict(self.software),
            "pairs": self.pairs,
            "partition_pairs": self.partition_pairs,
            "tabular": self.tabular,
        }

    def changes(self, earlier: "Manifest") -> list[str]:
        """Return why partitions of an earlier manifest are none of this one, in words."""
        names = sorted({*self.inputs, *earlier.inputs})
        changed = [
            f"the content of --{name} changed"
            for name in names
            if self.inputs.get(name) != earlier.inputs.get(name)
        ]
        changed += differences(earlier.software, self.software)
        if self.partition_pairs != earlier.partition_pairs:
            changed.append(
                f"--partition-pairs was {earlier.partition_pairs} and is {self.partition_pairs}"
            )
        if self.tabular != earlier.tabular:
            changed.append("the form of the output changed")
        return changed


class Ending(NamedTuple):
    """What a run has to say at its end.

    Parameters
    ----------
    page
        The page of text.
    quotes
        Rows with a quote.
    """

    page: str
    quotes: int


class RunFolder:
    """The folder of a run that this process alone writes to.

    Parameters
    ----------
    path
        The folder.
    """

    def __init__(self, path: Path) -> None:
        self.path = path

    @property
    def rows(self) -> Path:
        """Folder of the finished partitions."""
        return self.path / ROWS

    def part(self, number: int) -> Path:
        """Return where a finished partition stands."""
        return self.rows / f"part-{number:08d}.parquet"

    def manifest(self) -> Manifest | None:
        """Return the manifest of the run that the folder is of, none in a new folder.

        Returns
        -------
        Manifest or None
            As it was written.

        Raises
        ------
        RunError
            It cannot be read.
        """
        path = self.path / MANIFEST
        try:
            return Manifest(**orjson.loads(path.read_bytes()))
        except FileNotFoundError:
            return None
        except (orjson.JSONDecodeError, TypeError):
            raise RunError(f"{path} is no manifest of a run; --restart begins anew.") from None

    def begin(self, manifest: Manifest) -> None:
        """Write the manifest of a new run, which has no partitions yet."""
        _remove(self.rows)
        self.rows.mkdir()
        self._write(self.path / MANIFEST, orjson.dumps(manifest.document()))
        _sync_folder(self.path)

    def clear(self) -> None:
        """Throw away what an earlier run left; the lock stays."""
        for entry in self.path.iterdir():
            if entry.name != LOCK:
                _remove(entry)

    def finished(self, manifest: Manifest) -> set[int]:
        """Return which partitions are finished, and throw away what is none.

        Parameters
        ----------
        manifest
            Of this run.

        Returns
        -------
        set of int
            Their numbers.
        """
        found = set()
        for entry in self.rows.iterdir():
            matched = _PART.fullmatch(entry.name)
            if matched and _has_rows(entry, manifest.rows(int(matched[1]))):
                found.add(int(matched[1]))
            else:
                _remove(entry)
        return found

    def commit(self, number: int, content: bytes) -> None:
        """Make a partition finished.

        Its name is forced to the disk with all others at the end; one that a power cut loses is
        worked out again.

        Parameters
        ----------
        number
            Of the partition.
        content
            A Parquet file.

        Raises
        ------
        OSError
            It cannot be written, as where the disk is full; nothing is left of it.
        """
        self._write(self.part(number), content)

    def _write(self, path: Path, content: bytes) -> None:
        unfinished = path.with_name(path.name + _UNFINISHED)
        try:
            with unfinished.open("wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
        except OSError:
            with suppress(OSError):
                unfinished.unlink()
            raise
        unfinished.replace(path)

    def mark_finishing(self, ending: Ending) -> None:
        """Note that the output is complete.

        From now on what stands in the place of the output may be this run's own, so that a run that
        is killed between here and its end asks no more whether an earlier output may go.

        Parameters
        ----------
        ending
            What ``ending`` returns from now on.
        """
        _sync_folder(self.rows)
        self._write(self.path / FINISHING, orjson.dumps(ending._asdict()))
        _sync_folder(self.path)

    def ending(self) -> Ending | None:
        """Return the ending of a run whose output is complete, none while it is not."""
        try:
            return Ending(**orjson.loads((self.path / FINISHING).read_bytes()))
        except FileNotFoundError:
            return None

    def put_in_place(self, name: str, out: Path) -> None:
        """Put the output where it belongs, in place of an earlier one, unless it is there already.

        Parameters
        ----------
        name
            File or folder within this folder, complete and on the disk.
        out
            Where it belongs.

        Raises
        ------
        OSError
            It cannot be renamed.
        """
        made = self.path / name
        if not made.exists():
            return
        if made.is_dir() and out.exists():
            # A folder cannot be renamed over another one.
            _remove(self.path / REPLACED)
            out.rename(self.path / REPLACED)
        made.replace(out)
        _sync_folder(out.absolute().parent)

    def remove(self) -> None:
        """Remove the folder, its manifest last of all that tells what it is."""
        for name in (ROWS, JOINED, REPLACED):
            _remove(self.path / name)
        shutil.rmtree(self.path)


def holds_partitions_alone(path: Path) -> bool:
    """Return whether a folder holds finished partitions and nothing else."""
    return all(_PART.fullmatch(entry.name) for entry in path.iterdir())


def _has_rows(path: Path, rows: int) -> bool:
    try:
        count: int = pq.read_metadata(path).num_rows
    except (pa.ArrowException, OSError):
        return False
    return count == rows


def _remove(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)


def _sync_folder(path: Path) -> None:
    """Force names to the disk; a rename is safe from a power cut only then."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


@contextmanager
def held_folder(path: Path) -> Iterator[RunFolder]:
    """Hold the folder of a run against every other process, and make it where it is missing.

    The lock is the kernel's and ends with the process, however that ends.

    Parameters
    ----------
    path
        The folder.

    Yields
    ------
    RunFolder
        The folder.

    Raises
    ------
    RunError
        Another run holds it.
    """
    path.mkdir(exist_ok=True)
    with (path / LOCK).open("ab") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise RunError(f"Another run is at work in {path}; wait for its end.") from None
        yield RunFolder(path)
