"""A whole batch in one stream, such as the body of a request.

=========  ==================================================================================
form       what it is
=========  ==================================================================================
json       An object of ``packages``, ``vehicles``, perhaps ``pairs``, and settings: whatever
           else it has.
ndjson     Objects, each with one member: ``package``, ``vehicle``, ``pair``, or in the first
           line ``batch``, whose members are the settings.
csv        Rows in dotted columns (``dotted``) beside a column ``record``, which says in one of
           these words what a row is. A row of settings is the first one.
arrow      An Arrow IPC stream of the same columns, typed or text; or without the column
           ``record``, of columns of nested types that are named by these words, one of which is
           filled in each row.
=========  ==================================================================================

Packages, vehicles and pairs may stand in any order. Without any pair it is every package with
every vehicle.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import IO, Any

from loomwright.batch.forms.cell_forms import plain_value
from loomwright.batch.forms.collector import collector_paused
from loomwright.batch.forms.dotted import Columns, UnknownColumnError
from loomwright.batch.forms.form_error import (
    TOO_MANY_PACKAGES,
    TOO_MANY_PAIRS,
    TOO_MANY_VEHICLES,
    UNKNOWN_COLUMN,
    UNKNOWN_FORM,
    WRONG_SHAPE,
    FormError,
)
from loomwright.batch.forms.items import Item
from loomwright.batch.forms.json_values import json_value, ndjson_values
from loomwright.batch.forms.pair_list import PAIR_RECORD, PairList
from loomwright.batch.forms.reading import MOST_NAMED, item_of_row
from loomwright.batch.forms.row_tables import RowTable, arrow_table, csv_table
from loomwright.batch.forms.streams import Readable, opened
from loomwright.batch.pair import package_record, vehicle_record
from loomwright.engineering.record import record
from loomwright.pricing.book_members import PRICE_BOOK
from loomwright.pricing.book_tables import PRICE_BOOK_TABLES
from loomwright.pricing.members import Record, Text
from loomwright.pricing.pricing_options import BATCH_PRICING_RECORD

RECORD = "record"
SETTINGS, PACKAGE, VEHICLE, PAIR = "batch", "package", "vehicle", "pair"
# Members of the settings as far as a table needs to know them.
SETTINGS_RECORD = Record(
    "BatchSettings",
    {
        "pricing": BATCH_PRICING_RECORD,
        "price_book": Record(PRICE_BOOK.name, PRICE_BOOK.members, required=False),
        "price_book_csv": Record(PRICE_BOOK_TABLES.name, PRICE_BOOK_TABLES.members, required=False),
        "price_book_name": Text(required=False),
        "price_book_from": Record(
            "ProvidedPriceBook", {"provider": Text(), "price_book": Text()}, required=False
        ),
    },
)
PAIRS = "pairs"
# Lists of a batch in one object, and what their items are.
_LISTS: Mapping[str, str] = {"packages": PACKAGE, "vehicles": VEHICLE, PAIRS: PAIR}
_KINDS = (SETTINGS, PACKAGE, VEHICLE, PAIR)


@record
class Limits:
    """Greatest numbers of items of a batch; none for no limit."""

    packages: int | None = None
    vehicles: int | None = None
    pairs: int | None = None


@record
class BatchDocument:
    """A batch as it is stated.

    Parameters
    ----------
    settings
        Pricing options and choice of the price book, as plain JSON values that nobody has checked.
    packages, vehicles
        Items with their places.
    pairs
        Listed pairs; none for every package with every vehicle.
    """

    settings: dict[str, Any]
    packages: list[Item]
    vehicles: list[Item]
    pairs: PairList | None


class _Collected:
    """A batch while it is read, one record after the other."""

    def __init__(self, limits: Limits) -> None:
        self._limits = limits
        self._settings: dict[str, Any] = {}
        self._packages: list[Item] = []
        self._vehicles: list[Item] = []
        self._pairs: PairList | None = None
        self._count = 0

    def add(self, kind: str, item: Item) -> None:
        """Add a record of one of the kinds."""
        limits = self._limits
        if kind == SETTINGS:
            self._add_settings(item)
        elif kind == PACKAGE:
            self._packages.append(item)
            _check(TOO_MANY_PACKAGES, len(self._packages), limits.packages, item.place)
        elif kind == VEHICLE:
            self._vehicles.append(item)
            _check(TOO_MANY_VEHICLES, len(self._vehicles), limits.vehicles, item.place)
        else:
            pairs = self.list_pairs()
            pairs.add(item)
            _check(TOO_MANY_PAIRS, len(pairs), limits.pairs, item.place)
        self._count += 1

    def list_pairs(self) -> PairList:
        """Return the list of pairs, from now on one even if it stays empty."""
        if self._pairs is None:
            self._pairs = PairList()
        return self._pairs

    def document(self) -> BatchDocument:
        """Return what was added."""
        return BatchDocument(self._settings, self._packages, self._vehicles, self._pairs)

    def _add_settings(self, item: Item) -> None:
        if self._count:
            message = "Settings stand once, before all packages, vehicles and pairs."
            raise FormError(WRONG_SHAPE, message, item.place)
        if item.messages:
            raise FormError(WRONG_SHAPE, " ".join(item.messages), item.place)
        if not isinstance(item.document, dict):
            raise FormError(WRONG_SHAPE, "Settings are an object.", item.place)
        self._settings = item.document


def _check(code: str, count: int, limit: int | None, place: str) -> None:
    if limit is not None and count > limit:
        what = code.removeprefix("too_many_")
        raise FormError(code, f"At most {limit} {what} are read; send the batch in parts.", place)


def batch_document(
    source: Readable,
    form: str,
    limits: Limits,
    *,
    gzipped: bool = False,
    most_bytes: int | None = None,
    settings: Record = SETTINGS_RECORD,
) -> BatchDocument:
    """Return the batch that a stream holds.

    Parameters
    ----------
    source
        Open for reading.
    form
        One of ``BATCH_FORMS``.
    limits
        Above which reading stops.
    gzipped
        Whether the stream is packed.
    most_bytes
        Limit of what is read, unpacked; none for no limit.
    settings
        Members of the settings that a table may have as columns.

    Returns
    -------
    BatchDocument
        As it is stated; items at fault among the others.

    Raises
    ------
    FormError
        The stream is not of the form, above a limit, or there is no such form.
    """
    if form not in _READERS:
        raise FormError(UNKNOWN_FORM, f"One of these is needed: {', '.join(_READERS)}.", form)
    collected = _Collected(limits)
    with collector_paused(), opened(source, gzipped=gzipped, most_bytes=most_bytes) as stream:
        _READERS[form](stream, collected, settings)
    return collected.document()


def _read_json(stream: IO[bytes], collected: _Collected, _: Record) -> None:
    value = json_value(stream.read())
    if not isinstance(value, dict):
        raise FormError(WRONG_SHAPE, "An object of packages and vehicles is needed.")
    pairs_are_listed = PAIRS in value
    lists = {name: value.pop(name, [] if name == PAIRS else None) for name in _LISTS}
    for name, items in lists.items():
        if not isinstance(items, list):
            raise FormError(WRONG_SHAPE, "An array of objects is needed.", f"/{name}")
    collected.add(SETTINGS, Item("/", value))
    if pairs_are_listed:
        collected.list_pairs()
    for name, kind in _LISTS.items():
        for number, document in enumerate(lists[name], start=1):
            collected.add(kind, Item(f"item {number}", document))


def _read_ndjson(stream: IO[bytes], collected: _Collected, _: Record) -> None:
    for number, value in ndjson_values(stream):
        _add_object(f"line {number}", value, collected)


def _add_object(place: str, value: object, collected: _Collected) -> None:
    """Add an object whose one member says what it is."""
    if not isinstance(value, dict) or len(value) != 1 or next(iter(value)) not in _KINDS:
        message = f"An object with exactly one of these members is needed: {', '.join(_KINDS)}."
        raise FormError(WRONG_SHAPE, message, place)
    ((kind, document),) = value.items()
    collected.add(kind, Item(place, document))


def _read_csv(stream: IO[bytes], collected: _Collected, settings: Record) -> None:
    _read_table(csv_table(stream), collected, settings)


def _read_arrow(stream: IO[bytes], collected: _Collected, settings: Record) -> None:
    table = arrow_table(stream)
    if RECORD in table.names or not set(table.names) <= set(_KINDS):
        _read_table(table, collected, settings)
        return
    rules = _rules(settings)
    for row in table.rows:
        filled = zip(table.names, row.cells, strict=True)
        value = {name: plain_value(rules[name], cell) for name, cell in filled if cell is not None}
        _add_object(row.place, value, collected)


def _rules(settings: Record) -> Mapping[str, Record]:
    return {
        SETTINGS: settings,
        PACKAGE: package_record(),
        VEHICLE: vehicle_record(),
        PAIR: PAIR_RECORD,
    }


def _read_table(table: RowTable, collected: _Collected, settings: Record) -> None:
    names = table.names
    kinds = ", ".join(_KINDS)
    if RECORD not in names:
        message = f"The column {RECORD} is needed, which says what a row is: {kinds}."
        raise FormError(UNKNOWN_COLUMN, message, "header")
    place_of_kind = names.index(RECORD)
    columns, foreign = _columns_by_kind(names, _rules(settings))
    for row in table.rows:
        kind = row.cells[place_of_kind] if place_of_kind < len(row.cells) else None
        if kind not in columns:
            message = f"One of these is needed: {kinds}."
            raise FormError(WRONG_SHAPE, message, f"{row.place}, column {RECORD}")
        item = item_of_row(row, names, columns[kind])
        if row.message is None:
            strange = [names[each] for each in foreign[kind] if row.cells[each] not in (None, "")]
            told = tuple(f"column {name}: No {kind} has it; leave it empty." for name in strange)
            item = item._replace(messages=item.messages + told)
        collected.add(kind, item)


def _columns_by_kind(
    names: Sequence[str], rules: Mapping[str, Record]
) -> tuple[dict[str, Columns], dict[str, list[int]]]:
    """Return the columns of each kind of record, and the indices of those that it has not."""
    columns = {kind: Columns(rule) for kind, rule in rules.items()}
    foreign: dict[str, list[int]] = {kind: [] for kind in rules}
    unknown: list[str] = []
    for index, name in enumerate(names):
        if name == RECORD:
            continue
        messages = []
        for kind in rules:
            try:
                columns[kind].add(index, name)
            except UnknownColumnError as error:
                foreign[kind].append(index)
                messages.append(error)
        if len(messages) == len(rules):
            unknown.append(str(max(messages, key=lambda error: error.depth)))
    if unknown:
        raise FormError(UNKNOWN_COLUMN, " ".join(unknown[:MOST_NAMED]), "header")
    return columns, foreign


_READERS: Mapping[str, Callable[[IO[bytes], _Collected, Record], None]] = {
    "json": _read_json,
    "ndjson": _read_ndjson,
    "csv": _read_csv,
    "arrow": _read_arrow,
}
BATCH_FORMS = tuple(_READERS)
