"""Price books that the operator mounts: files in a folder, read again when they change.

``LOOMWRIGHT_PRICE_BOOKS`` names the folder. ``<name>.json`` is a price book, and so is a folder
``<name>`` with CSV tables such as ``parts.csv``; other files are let lie. The files are looked at
in each use, so that every worker sees a change at once and none needs a thread or a restart.

A book that cannot be read is refused until it is mended; the last good version does not serve in
its place. A shop is held to the prices that it quotes, and a stale price served in silence is found
only when the invoice is; two workers, one of them started after the change, would answer the same
request with different prices; and an operator who sees no failure mends nothing.
"""

import os
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import orjson

from loomwright.pricing.book_csv import price_book_from_csv
from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.csv_rows import TableFault, table_fault
from loomwright.pricing.faults import DocumentError, Fault
from loomwright.pricing.price_book import PriceBook
from loomwright.unique_members import json_of_unique_members
from loomwright.web.file_state import FileState, are_settled, file_state
from loomwright.web.problems import ProblemError
from loomwright.web.settings import current_settings

# Neither a dot nor a separator: a name is never a path.
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,63}", re.ASCII)
_JSON, _CSV = ".json", ".csv"
_BOOKS_KEPT = 64
_TRIES = 5


@dataclass(frozen=True, slots=True)
class MountedBook:
    """A mounted price book, or what is wrong with its files where ``book`` is none."""

    name: str
    book: PriceBook | None
    faults: tuple[Fault, ...]


def mounted_names() -> tuple[str, ...]:
    """Return the names of the mounted price books, sorted.

    Returns
    -------
    tuple of str
        Empty where the operator mounts none.

    Raises
    ------
    ProblemError
        ``price_book_faulty``: the folder cannot be read.
    """
    return tuple(sorted(_mounted()))


def mounted_book(name: str) -> MountedBook | None:
    """Return the mounted price book of a name.

    Parameters
    ----------
    name
        Its name; it is compared with what the folder holds and never used as a path.

    Returns
    -------
    MountedBook or None
        None where no mounted book has the name.

    Raises
    ------
    ProblemError
        ``price_book_faulty``: the folder cannot be read.
    """
    paths = _mounted().get(name)
    if paths is None:
        return None
    if len(paths) > 1:
        message = "It stands there as a file and as a folder; remove one of them."
        return MountedBook(name, None, (Fault("", message),))
    try:
        return _settled(name, paths[0])
    except OSError as error:
        # Its own words would name the folder of the operator.
        return MountedBook(name, None, (Fault("", f"It cannot be read: {error.strerror}."),))


def unusable(mounted: MountedBook) -> ProblemError:
    """Return the problem of a mounted price book that cannot be read."""
    return ProblemError(
        "price_book_faulty",
        f"The mounted price book {mounted.name} has {len(mounted.faults)} fault(s); no other "
        "serves in its place.",
        [("/price_book_name", told(mounted.name, fault)) for fault in mounted.faults],
    )


def unknown() -> ProblemError:
    """Return the problem of a name that no mounted price book has, with those there are."""
    names = ", ".join(mounted_names()) or "none"
    message = f"No price book of this name is mounted. There are: {names}."
    return ProblemError("unknown_price_book", message, [("/price_book_name", message)])


def told(name: str, fault: Fault) -> str:
    """Return a fault of a mounted book in one text that begins with its file."""
    if isinstance(fault, TableFault):
        return f"{name}/{fault.table}{_CSV}: {fault.message}"
    return f"{name}{fault.pointer}: {fault.message}"


def _mounted() -> dict[str, list[Path]]:
    """Return the file or folder of each mounted book by name; two where both are there."""
    folder = current_settings().price_books
    if folder is None:
        return {}
    found: dict[str, list[Path]] = {}
    try:
        with os.scandir(folder) as entries:
            for entry in entries:
                is_folder = entry.is_dir()
                if not is_folder and not entry.name.endswith(_JSON):
                    continue
                name = entry.name if is_folder else entry.name.removesuffix(_JSON)
                if _NAME.fullmatch(name):
                    found.setdefault(name, []).append(Path(entry.path))
    except OSError as error:
        raise ProblemError(
            "price_book_faulty", f"The folder of price books cannot be read: {error.strerror}."
        ) from None
    return found


def _settled(name: str, path: Path) -> MountedBook:
    """Return the book of files that did not change while they were read."""
    for _ in range(_TRIES):
        states = _states(path)
        reader: Callable[[str, bool, tuple[FileState, ...]], MountedBook] = _book
        if not are_settled(states):
            reader = _book.__wrapped__
        read = reader(name, path.suffix == _JSON, states)
        if _states(path) == states:
            return read
    return MountedBook(name, None, (Fault("", "It changes while it is read."),))


def _states(path: Path) -> tuple[FileState, ...]:
    is_json = path.suffix == _JSON
    paths = [path] if is_json else sorted(path.glob(f"*{_CSV}"))
    return tuple(file_state(each) for each in paths)


@lru_cache(maxsize=_BOOKS_KEPT)
def _book(name: str, is_json: bool, files: tuple[FileState, ...]) -> MountedBook:
    try:
        if is_json:
            (file,) = files
            book = price_book_from_document(json_of_unique_members(file.path.read_bytes()))
        else:
            book = price_book_from_csv(_texts(files))
    except DocumentError as error:
        return MountedBook(name, None, error.faults)
    except orjson.JSONDecodeError as error:
        return MountedBook(name, None, (Fault("", f"Not JSON: {error}."),))
    return MountedBook(name, book, ())


def mounted_lookups() -> tuple[int, int]:
    """Return how often a book was found read already, and how often not, in this process."""
    counts = _book.cache_info()
    return counts.hits, counts.misses


def _texts(files: tuple[FileState, ...]) -> dict[str, str]:
    """Return the texts of CSV files by name of the table."""
    texts: dict[str, str] = {}
    faults: list[Fault] = []
    for file in files:
        try:
            texts[file.path.stem] = file.path.read_bytes().decode("utf-8")
        except UnicodeDecodeError as error:
            message = f"Not UTF-8: {error.reason} at byte {error.start}."
            faults.append(table_fault(file.path.stem, None, None, message))
    if faults:
        raise DocumentError("price_book", faults)
    return texts
