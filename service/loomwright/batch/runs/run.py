"""A run: a batch priced partition by partition, going on where an earlier run ended."""

import hashlib
import os
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import closing
from pathlib import Path
from typing import Literal, NamedTuple

import orjson
from tqdm import tqdm

from loomwright.batch.engine import Batch, Pairs
from loomwright.batch.runs.changes import Comparison
from loomwright.batch.runs.comparison import compared
from loomwright.batch.runs.partition import Progress, Work, partitions
from loomwright.batch.runs.parts import (
    Example,
    join_as_csv,
    join_as_parquet,
    refusal_examples,
    summary_of_parts,
)
from loomwright.batch.runs.run_error import RunError
from loomwright.batch.runs.run_folder import (
    JOINED,
    ROWS,
    Ending,
    Manifest,
    RunFolder,
    held_folder,
    holds_partitions_alone,
)
from loomwright.batch.runs.software import software
from loomwright.batch.runs.workers import Workers
from loomwright.batch.summary import Summary
from loomwright.engineering.record import record

# Pairs of a partition: a few seconds of work at most, a few megabytes to send, and enough rows for
# what a partition costs by itself to vanish.
MOST_PAIRS, LEAST_PAIRS = 100_000, 1_000
_PARTITIONS_PER_WORKER = 4

Form = Literal["parquet", "csv", "folder"]
_FORMS: Mapping[str, Form] = {".parquet": "parquet", ".csv": "csv", "": "folder"}


@record
class Inputs:
    """What a run prices, as it was read.

    Parameters
    ----------
    batch
        Packages, vehicles and pricing.
    pairs
        Listed pairs; none where every package meets every vehicle.
    digests
        SHA-256 of each input by its name on the command line.
    """

    batch: Batch
    pairs: Pairs | None
    digests: Mapping[str, str]

    @property
    def count(self) -> int:
        """Number of pairs."""
        if self.pairs is not None:
            return int(self.pairs.packages.size)
        return len(self.batch.packages) * len(self.batch.vehicles)


@record
class Output:
    """Where the rows go.

    Parameters
    ----------
    path
        File or folder.
    form
        Decided by its suffix.
    overwrite
        Whether what is there already may go.
    """

    path: Path
    form: Form
    overwrite: bool

    @property
    def parts(self) -> Path:
        """Folder of the run, beside the output and so on the same disk."""
        return parts_of(self.path)


def parts_of(out: Path) -> Path:
    """Return the folder of the run that writes an output."""
    return out.with_name(out.name + ".parts")


class Priced(NamedTuple):
    """What a run came to.

    Parameters
    ----------
    summary
        Of all rows.
    examples
        A refusal of each code.
    comparison
        With an earlier run, if one was named.
    resumed
        Partitions that were finished by an earlier run.
    partitions
        Partitions of the batch.
    seconds
        Of this run, from the first partition to the output in its place.
    """

    summary: Summary
    examples: Mapping[str, Example]
    comparison: Comparison | None
    resumed: int
    partitions: int
    seconds: float


def output_at(path: Path, overwrite: bool) -> Output:
    """Return where rows go by a path of the command line.

    Parameters
    ----------
    path
        With the suffix ``.parquet`` or ``.csv``, or without one for a folder.
    overwrite
        Whether what is there already may go.

    Returns
    -------
    Output
        The output.

    Raises
    ------
    RunError
        The suffix says nothing, the folder that it is to stand in is not there, or something else
        than quotes stands in its place.
    """
    form = _FORMS.get(path.suffix.lower())
    if form is None:
        raise RunError(
            f"--out {path}: rows are written as .parquet, as .csv, or without a suffix as a folder "
            "of Parquet files."
        )
    if not path.name or path.name == "..":
        raise RunError(f"--out {path}: a name of its own is needed.")
    if not path.absolute().parent.is_dir():
        raise RunError(f"--out {path}: there is no folder {path.absolute().parent}.")
    if path.exists() and path.is_dir() != (form == "folder"):
        raise RunError(f"--out {path}: a {'folder' if path.is_dir() else 'file'} stands there.")
    if path.is_dir() and not holds_partitions_alone(path):
        raise RunError(f"--out {path}: the folder holds other things than quotes, which would go.")
    return Output(path, form, overwrite)


def default_partition_pairs(pairs: int, workers: int) -> int:
    """Return how many pairs a partition has where nothing is said.

    Few enough that every worker gets several, so that none waits long for the last.
    """
    share = -(-pairs // (_PARTITIONS_PER_WORKER * workers))
    return min(MOST_PAIRS, max(LEAST_PAIRS, share))


@record
class Request:
    """What a run is asked for beside its inputs and output.

    Parameters
    ----------
    workers
        Makes who works partitions out from what they are of.
    count
        About how many workers there are.
    partition_pairs
        Pairs of a partition; those of the run that goes on, or ``default_partition_pairs``, for
        none.
    restart
        Whether what an earlier run left is thrown away.
    earlier
        Parquet files of an earlier run to compare with, if any.
    check
        Called between partitions; raises what ends the run.
    """

    workers: Callable[[Work, Progress], Workers]
    count: int
    partition_pairs: int | None
    restart: bool
    earlier: tuple[Path, ...] | None
    check: Callable[[], None]


def priced(
    inputs: Inputs,
    output: Output,
    request: Request,
    page_of: Callable[[Priced], str],
    show: Callable[[str], object],
    tell: Callable[[str], None],
) -> int:
    """Price a batch into an output.

    Parameters
    ----------
    inputs
        What is priced.
    output
        Where the rows go.
    request
        How.
    page_of
        Makes a page of what the run came to.
    show
        Called with the page as soon as the output stands in its place.
    tell
        Called with a line on what an earlier run left.

    Returns
    -------
    int
        Rows with a quote; the folder of the run is gone.

    Raises
    ------
    RunError
        The run cannot start or go on; what is finished stays.
    OSError
        The disk is full or not writable; what is finished stays.
    """
    began = time.monotonic()
    if not output.parts.exists():
        _check_overwrite(output)
    with held_folder(output.parts) as folder:
        manifest = _manifest(inputs, output, request, folder)
        ending = folder.ending()
        if ending is None:
            resumed = _finish_partitions(inputs, manifest, folder, request, tell)
            parts = [folder.part(number) for number in range(manifest.partitions)]
            summary = summary_of_parts(parts, inputs.batch.pricing.book.currency)
            comparison = None if request.earlier is None else compared(parts, request.earlier)
            _join(output, parts, summary, folder)
            seconds = time.monotonic() - began
            examples = refusal_examples(parts, summary.refusals)
            run = Priced(summary, examples, comparison, resumed, manifest.partitions, seconds)
            ending = Ending(page_of(run), summary.verdicts.total())
            folder.mark_finishing(ending)
        folder.put_in_place(_made(output), output.path)
        show(ending.page)
        folder.remove()
    return ending.quotes


def _check_overwrite(output: Output) -> None:
    path = output.path
    is_empty = path.is_dir() and not any(path.iterdir())
    if path.exists() and not is_empty and not output.overwrite:
        raise RunError(f"--out {output.path} is there already; --overwrite replaces it.")


def _manifest(inputs: Inputs, output: Output, request: Request, folder: RunFolder) -> Manifest:
    """Return the manifest of this run, which is that of an earlier one if there is one."""
    if request.restart:
        folder.clear()
    earlier = folder.manifest()
    size = request.partition_pairs
    if size is None:
        asked = default_partition_pairs(inputs.count, request.count)
        size = asked if earlier is None else earlier.partition_pairs
    manifest = Manifest(inputs.digests, software(), inputs.count, size, output.form == "csv")
    changes = [] if earlier is None else manifest.changes(earlier)
    if changes:
        raise RunError(
            f"{folder.path} is of another run: {'; '.join(changes)}. Undo that to go on with it, "
            "or begin anew with --restart."
        )
    if folder.ending() is None:
        _check_overwrite(output)
    if earlier is None:
        folder.begin(manifest)
    return manifest


def _finish_partitions(
    inputs: Inputs,
    manifest: Manifest,
    folder: RunFolder,
    request: Request,
    tell: Callable[[str], None],
) -> int:
    """Work out what is not finished yet; return how many partitions were."""
    finished = folder.finished(manifest)
    if finished:
        tell(f"going on: {len(finished)} of {manifest.partitions} partitions are finished")
    missing = (
        partition
        for partition in partitions(manifest.pairs, manifest.partition_pairs, inputs.pairs)
        if partition.number not in finished
    )
    done = sum(manifest.rows(number) for number in finished)
    if len(finished) == manifest.partitions:
        return len(finished)
    with tqdm(total=manifest.pairs, initial=done, unit=" pairs", disable=None) as bar:
        workers = request.workers(_work(inputs, manifest), bar.update)
        with workers, closing(workers.results(missing)) as results:
            for partition, content in results:
                folder.commit(partition.number, content)
                request.check()
                done += partition.count
                # Workers that report rows as they go have moved it there already.
                bar.update(max(0, done - bar.n))
    return len(finished)


def _work(inputs: Inputs, manifest: Manifest) -> Work:
    named = orjson.dumps(manifest.document(), option=orjson.OPT_SORT_KEYS)
    name = hashlib.sha256(named).hexdigest()[:16]
    return Work(name, inputs.batch, manifest.software, manifest.tabular)


def _made(output: Output) -> str:
    return ROWS if output.form == "folder" else JOINED


def _join(output: Output, parts: Sequence[Path], summary: Summary, folder: RunFolder) -> None:
    """Make the output within the folder; a folder of Parquet files is one already."""
    if output.form == "folder":
        return
    target = folder.path / JOINED
    join = join_as_csv if output.form == "csv" else join_as_parquet
    join(parts, summary, target)
    with target.open("rb") as file:
        os.fsync(file.fileno())
