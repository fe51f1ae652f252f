"""Inputs of a run, read from files and named by what they hold."""

import hashlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TypeVar

import orjson

from loomwright.batch.engine import Batch, Pairs
from loomwright.batch.forms.form_error import FormError
from loomwright.batch.forms.items import Item, packages_of_items, vehicles_of_items
from loomwright.batch.forms.pair_list import PAIR_RECORD, PairList
from loomwright.batch.forms.pairing import paired
from loomwright.batch.forms.reading import form_of_path, record_items
from loomwright.batch.forms.streams import opened
from loomwright.batch.pair import Package, Vehicle, package_record, vehicle_record
from loomwright.batch.quote import Pricing
from loomwright.batch.runs.book_files import book_at, pricing_at
from loomwright.batch.runs.run import Inputs
from loomwright.batch.runs.run_error import RunError
from loomwright.pricing.members import Record

_PARQUET = "parquet"
_Read = TypeVar("_Read")


def inputs_at(
    packages: Path,
    vehicles: Path,
    pairs: Path | None,
    price_book: Path | None,
    pricing: Path | None,
) -> Inputs:
    """Return what the files of a run state.

    Parameters
    ----------
    packages
        Package deals: a file by its suffix, or a folder of Parquet files.
    vehicles
        Vehicle variants, alike.
    pairs
        Listed pairs, alike; every package with every vehicle for none.
    price_book
        A JSON file or a folder of CSV tables; the demo book for none.
    pricing
        A JSON file; no options for none.

    Returns
    -------
    Inputs
        The batch and the digests of what it was read from.

    Raises
    ------
    RunError
        A file is none of its kind, or nothing is priced.
    OSError
        A file cannot be read.
    """
    book = book_at(price_book)
    options = pricing_at(pricing, book.currency)
    stated_packages, packages_digest = _read(packages, "packages", _packages)
    stated_vehicles, vehicles_digest = _read(vehicles, "vehicles", _vehicles)
    batch = Batch(stated_packages, stated_vehicles, Pricing(book, options))
    digests = {
        "packages": packages_digest,
        "vehicles": vehicles_digest,
        "price-book": book.digest,
        "pricing": hashlib.sha256(orjson.dumps(options, option=orjson.OPT_SORT_KEYS)).hexdigest(),
    }
    listed: Pairs | None = None
    if pairs is not None:
        items, digests["pairs"] = _read(pairs, "pairs", _pairs)
        # What a pair names that is not there joins the packages and vehicles, at fault.
        listed = paired(stated_packages, stated_vehicles, items)
    inputs = Inputs(batch, listed, digests)
    if not inputs.count:
        raise RunError("There is no pair to price.")
    return inputs


def _read(path: Path, name: str, read: Callable[[Path], _Read]) -> tuple[_Read, str]:
    """Return what a file or folder states, and the digest of its content."""
    before = _states(path)
    digest = _digest(path)
    try:
        stated = read(path)
    except FormError as error:
        raise RunError(f"--{name} {path}: {error}") from None
    if _states(path) != before:
        raise RunError(f"--{name} {path}: it changed while it was read; try again.")
    return stated, digest


def _packages(path: Path) -> list[Package]:
    return list(packages_of_items(_items(path, package_record())))


def _vehicles(path: Path) -> list[Vehicle]:
    return list(vehicles_of_items(_items(path, vehicle_record())))


def _pairs(path: Path) -> PairList:
    listed = PairList()
    for item in _items(path, PAIR_RECORD):
        listed.add(item)
    return listed


def _items(path: Path, record: Record) -> Iterator[Item]:
    """Yield the items of a file, or of all Parquet files of a folder as if they were one."""
    for file in _files(path):
        form, gzipped = form_of_path(file)
        with file.open("rb") as source:
            # Parquet is read from its end, and is packed by itself.
            stream = source if form == _PARQUET else opened(source, gzipped=gzipped)
            for item in record_items(stream, form, record):
                within = f"{file.name}, " if path.is_dir() else ""
                yield item._replace(place=within + item.place)


def _files(path: Path) -> list[Path]:
    if not path.is_dir():
        return [path]
    files = sorted(path.rglob(f"*.{_PARQUET}"))
    if not files:
        raise RunError(f"{path}: the folder holds no Parquet file.")
    return files


def _states(path: Path) -> list[tuple[Path, int, int]]:
    states = ((file, file.stat()) for file in _files(path))
    return [(file, state.st_mtime_ns, state.st_size) for file, state in states]


def _digest(path: Path) -> str:
    digest = hashlib.sha256()
    for file in _files(path):
        with file.open("rb") as stream:
            digest.update(hashlib.file_digest(stream, "sha256").digest())
    return digest.hexdigest()
