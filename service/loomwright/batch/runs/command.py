"""The command ``price-packages``: files in, a file or folder out."""

import argparse
import os
import signal
import sys
from collections.abc import Callable
from pathlib import Path
from types import FrameType
from typing import Any, Self

from loomwright.batch.runs.comparison import earlier_files
from loomwright.batch.runs.inputs import inputs_at
from loomwright.batch.runs.page import comparison_page, summary_page
from loomwright.batch.runs.partition import Progress, Work
from loomwright.batch.runs.run import Priced, Request, output_at, parts_of, priced
from loomwright.batch.runs.run_error import RunError
from loomwright.batch.runs.workers import ThisProcess, WorkerProcesses, Workers

WRITTEN, NOTHING_QUOTED, TO_MEND = 0, 1, 2
DESCRIPTION = """\
Price package deals for vehicles: files in, a file or folder out, and a page on it at the end."""
EPILOG = """\
exit status:
  0    the output stands in its place, whatever its rows say
  1    it does, and not one pair has a quote
  2    something must be mended first, told in one line
  130  stopped by Ctrl-C
  143  stopped by SIGTERM

After 2, 130 and 143, and after any sudden end, finished partitions are kept in the folder
OUT.parts; the same command goes on with them."""
LOCAL = "local"
_SCHEMES = ("tcp://", "tls://")
# Of a cluster whose size is not known before it is reached.
_MANY = 16


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Let a parser know the command.

    Parameters
    ----------
    parser
        Of the command.
    """
    parser.description, parser.epilog = DESCRIPTION, EPILOG
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    add = parser.add_argument
    forms = "CSV, NDJSON, JSON or Parquet by its suffix, or a folder of Parquet files"
    add("--packages", required=True, type=Path, metavar="FILE", help=f"package deals: {forms}")
    add("--vehicles", required=True, type=Path, metavar="FILE", help=f"vehicle variants: {forms}")
    add(
        "--pairs",
        type=Path,
        metavar="FILE",
        help="which package is priced for which vehicle, by their keys; all with all if absent",
    )
    add(
        "--price-book",
        type=Path,
        metavar="PATH",
        help="JSON file, or a folder of CSV tables; the demo book if absent",
    )
    add("--pricing", type=Path, metavar="FILE", help="JSON file of pricing options")
    add(
        "--out",
        required=True,
        type=Path,
        metavar="PATH",
        help="where quotes go: .parquet, .csv, or without a suffix a folder of Parquet files",
    )
    add("--overwrite", action="store_true", help="replace an output that is there already")
    add(
        "--restart",
        action="store_true",
        help="throw away what an interrupted run finished instead of going on with it",
    )
    add(
        "--compare",
        type=Path,
        metavar="PATH",
        help="Parquet file or folder of an earlier run; the page at the end tells what changed",
    )
    add(
        "--workers",
        type=_at_least_1,
        metavar="N",
        help="work in N processes of this machine; in one if absent",
    )
    add(
        "--cluster",
        metavar="ADDRESS",
        help="work on a Dask cluster: 'local' starts one here for this run, tcp://host:port is a "
        "scheduler that runs already",
    )
    add(
        "--partition-pairs",
        type=_at_least_1,
        metavar="N",
        help="pairs that are worked out and kept together; chosen by their number if absent",
    )
    parser.set_defaults(run=run_command)


def _at_least_1(text: str) -> int:
    number = int(text)
    if number < 1:
        raise ValueError
    return number


def run_command(chosen: argparse.Namespace) -> int:
    """Run the command.

    Parameters
    ----------
    chosen
        What ``add_arguments`` makes of the command line.

    Returns
    -------
    int
        Exit status.
    """
    with _Signals() as signals:
        try:
            return _run(chosen, signals)
        except RunError as error:
            _tell(str(error))
            return TO_MEND
        except BaseException as error:
            # What a signal comes through may turn its exception into another one.
            if signals.received is not None:
                _tell(f"stopped{_kept(chosen.out)}")
                return 128 + signals.received
            if isinstance(error, OSError | MemoryError):
                _tell(_reason(error) + _kept(chosen.out))
                return TO_MEND
            raise


class _Signals:
    """Ends the run at Ctrl-C and SIGTERM in good order, and at a second one of them at once."""

    def __init__(self) -> None:
        self.received: int | None = None
        self._before: dict[int, Any] = {}

    def __enter__(self) -> Self:
        for number in (signal.SIGINT, signal.SIGTERM):
            self._before[number] = signal.signal(number, self._receive)
        return self

    def __exit__(self, *_: object) -> None:
        for number, handler in self._before.items():
            signal.signal(number, handler)

    def check(self) -> None:
        """End the run if a signal came in where its exception was lost."""
        if self.received is not None:
            raise KeyboardInterrupt

    def _receive(self, number: int, _frame: FrameType | None) -> None:
        self.received = number
        for each in self._before:
            signal.signal(each, signal.SIG_DFL)
        raise KeyboardInterrupt


def _kept(out: Path) -> str:
    if not parts_of(out).exists():
        return ""
    return f"; finished partitions are kept in {parts_of(out)}, the same command goes on"


def _run(chosen: argparse.Namespace, signals: _Signals) -> int:
    for read in (chosen.packages, chosen.vehicles, chosen.pairs, chosen.price_book, chosen.pricing):
        if read is not None and read.resolve() == chosen.out.resolve():
            raise RunError(f"--out {chosen.out}: it is read as an input.")
    output = output_at(chosen.out, chosen.overwrite)
    earlier = None if chosen.compare is None else earlier_files(chosen.compare)
    make, count = _workers(chosen)
    inputs = inputs_at(
        chosen.packages, chosen.vehicles, chosen.pairs, chosen.price_book, chosen.pricing
    )

    def page_of(run: Priced) -> str:
        page = summary_page(run, str(chosen.out))
        if run.comparison is not None:
            page += "\n" + comparison_page(run.comparison, str(chosen.compare))
        return page

    request = Request(make, count, chosen.partition_pairs, chosen.restart, earlier, signals.check)
    quotes = priced(inputs, output, request, page_of, _show, _tell)
    return WRITTEN if quotes else NOTHING_QUOTED


def _workers(chosen: argparse.Namespace) -> tuple[Callable[[Work, Progress], Workers], int]:
    """Return who works partitions out, and about how many they are."""
    address, count = chosen.cluster, chosen.workers
    if address is None and count is None:
        return ThisProcess, 1
    if address is None:
        return (lambda work, _: WorkerProcesses(work, count)), count
    if address != LOCAL and not address.startswith(_SCHEMES):
        raise RunError(f"--cluster {address}: 'local', or an address such as tcp://host:8786.")
    if address != LOCAL and count is not None:
        raise RunError("--workers counts processes of this machine; a cluster has its own.")
    try:
        # Only then: it is an extra, and takes a second to load.
        from loomwright.batch.runs.cluster import ClusterWorkers  # noqa: PLC0415
    except ModuleNotFoundError as error:
        raise RunError(
            f"--cluster needs {error.name}, which is not installed; it comes with the extra "
            "'cluster' of this package: pip install 'loomwright[cluster]'."
        ) from None
    processes = count or os.cpu_count() or 1
    is_local = address == LOCAL
    return (lambda work, _: ClusterWorkers(work, address, processes)), (
        processes if is_local else _MANY
    )


def _reason(error: OSError | MemoryError) -> str:
    if isinstance(error, MemoryError):
        return "memory is short; --partition-pairs with fewer pairs needs less"
    named = f"{error.filename}: " if error.filename else ""
    return f"{named}{error.strerror or error}"


def _show(page: str) -> None:
    sys.stdout.write(page)
    sys.stdout.flush()


def _tell(line: str) -> None:
    sys.stderr.write(f"loomwright: {line}\n")
