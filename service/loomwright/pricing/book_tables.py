"""The tables that a price book has as CSV, derived from the members of its document.

A list of the book is a table with a row for each of its objects. A list within such an object is a
table of its own, whose first column names the object by its key. What the book states once stands
in the one row of the table ``book``; an object within another is flattened into columns whose names
begin with its own.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from loomwright.pricing.book_members import ATTRIBUTES, BOOK
from loomwright.pricing.members import CsvText, Member, Record, Records, Text, is_required

BOOK_TABLE = "book"
KEY = "key"
KIND = "kind"
# Their members are free to grow, so each is a row and not a column.
_AS_ROWS = {"rules": ("rule", "value")}
_PREFIXES = {"attributes": "attribute_"}
# Where the member's own name would say too little.
_TABLE_NAMES = {("kits", "contents"): "kit_contents"}
_SINGULARS = {"parts": "part", "kits": "kit"}


@dataclass(frozen=True, slots=True)
class Column:
    """One column: ``path`` leads from the object of a row to the member that a cell states.

    ``by_kind`` gives the rule by kind of part where that decides it; ``member`` is then one of
    them.
    """

    name: str
    path: tuple[str, ...]
    member: Member
    by_kind: Mapping[str, Member] | None = None

    @property
    def is_required(self) -> bool:
        """Whether a table without the column is at fault."""
        return len(self.path) < 2 and is_required(self.member)

    def rule(self, kind: str) -> Member:
        """Return the rule of a cell in a row of a kind, or of any kind where it does not matter."""
        return self.member if self.by_kind is None else self.by_kind.get(kind, self.member)


@dataclass(frozen=True, slots=True)
class Table:
    """One table.

    ``name_of_list`` is the member that the rows make up, empty for the book itself. ``owner`` is
    the column that names the row of the table ``within``, for a list within another.
    ``columns`` has all columns but the owner. In a table of ``pairs`` each row is a member: its
    columns are the name and the value.
    """

    name: str
    name_of_list: str
    columns: tuple[Column, ...]
    about: str = ""
    within: str = ""
    owner: str = ""
    pairs: Mapping[str, Member] | None = None

    @property
    def header(self) -> tuple[str, ...]:
        """Names of all columns, in order."""
        own = tuple(column.name for column in self.columns)
        return (self.owner, *own) if self.owner else own

    @property
    def required(self) -> tuple[str, ...]:
        """Names of the columns that no table can do without."""
        own = tuple(column.name for column in self.columns if column.is_required)
        return (self.owner, *own) if self.owner else own

    @property
    def keys(self) -> tuple[str, ...]:
        """Columns that other rows or tables refer by; without one nothing can be matched."""
        return tuple(name for name in self.header if name in (KEY, self.owner))


def _columns(members: Mapping[str, Member]) -> Iterator[Column]:
    for name, member in members.items():
        if isinstance(member, Records) or name in _AS_ROWS:
            continue
        if not isinstance(member, Record):
            yield Column(name, (name,), member)
        elif name == "attributes":
            yield from _attribute_columns(name)
        else:
            for inner, rule in member.members.items():
                yield Column(f"{_prefix(name)}{inner}", (name, inner), rule)


def _prefix(name: str) -> str:
    return _PREFIXES.get(name, f"{name}_")


def _attribute_columns(name: str) -> Iterator[Column]:
    """Yield one column for each attribute of any kind, in the order of the kinds."""
    by_attribute: dict[str, dict[str, Member]] = {}
    for kind, rules in ATTRIBUTES.items():
        for attribute, rule in rules.items():
            by_attribute.setdefault(attribute, {})[kind] = rule
    for attribute, by_kind in by_attribute.items():
        first = next(iter(by_kind.values()))
        path = (name, attribute)
        yield Column(f"{_prefix(name)}{attribute}", path, first, MappingProxyType(by_kind))


def _tables() -> Iterator[Table]:
    yield Table(BOOK_TABLE, "", tuple(_columns(BOOK)), "What the book states once: one row.")
    for name, member in BOOK.items():
        if isinstance(member, Record) and name in _AS_ROWS:
            columns = tuple(Column(title, (), Text()) for title in _AS_ROWS[name])
            yield Table(name, name, columns, member.about, pairs=member.members)
        if not isinstance(member, Records):
            continue
        yield Table(name, name, tuple(_columns(member.members)), member.about)
        for inner, rule in member.members.items():
            if isinstance(rule, Records):
                yield Table(
                    _TABLE_NAMES.get((name, inner), inner),
                    inner,
                    tuple(_columns(rule.members)),
                    rule.about,
                    within=name,
                    owner=_SINGULARS[name],
                )


TABLES: Mapping[str, Table] = MappingProxyType({table.name: table for table in _tables()})
# Name of the inner table by the list that it belongs to and its member there.
INNER_TABLES: Mapping[tuple[str, str], str] = MappingProxyType(
    {(table.within, table.name_of_list): table.name for table in TABLES.values() if table.within}
)
PRICE_BOOK_TABLES = Record(
    "PriceBookTables",
    {
        table.name: CsvText(about=table.about, required=table.name == BOOK_TABLE)
        for table in TABLES.values()
    },
)
