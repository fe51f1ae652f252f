"""Write the description of price books: ``python -m loomwright.documents.price_book_page``.

Everything about a member comes from the records that the readers follow.
"""

import sys
from collections.abc import Iterable, Iterator, Mapping, Sequence

from loomwright.pricing.book_members import ATTRIBUTES, PRICE_BOOK
from loomwright.pricing.book_tables import BOOK_TABLE, TABLES, Column, Table
from loomwright.pricing.kinds import KINDS, UNIT_WORDS, AttributeRule, Comparison
from loomwright.pricing.members import (
    GREATEST_DECIMAL,
    TEXT_LIMIT,
    Choice,
    Choices,
    DateText,
    DecimalText,
    Member,
    Number,
    Record,
    Records,
    Text,
    Texts,
    Truth,
    Whole,
    is_required,
)

_INTRODUCTION = f"""\
# Price book

<!-- Made by python -m loomwright.documents.price_book_page; change the members, not this file. -->

What a shop sells and at which price, as one JSON document or as CSV tables; both say the same and
have the same digest. A request states it under `price_book` (JSON), `price_book_csv` (an object
of CSV texts by name of the table), `price_book_name` (a book that the operator mounted) or
`price_book_from` (a book of a provider, see `plugin/provider.md`), one of the four at most; without
any the invented demo book serves. `check-price-book` lists what is wrong with a book, what it lacks
for given jobs and what looks odd in it.

- A **text** has 1 to {TEXT_LIMIT} printable characters, the first of them no space.
- A **decimal** is exact, with a point and up to six decimals, and a text in JSON: `"12.50"`.
- A **number** and a **whole number** are JSON numbers.
- A **date** is written `2031-04-30`.
- Money is in the currency of the book, with as many decimals as a price needs; it is rounded at
  the line of a bill.
"""
_JSON_HEADING = """\
## JSON

A member that is not needed may be left out; its default is then in force. `null` is no value.
"""
_KINDS_HEADING = """\
## Kinds of parts

The attributes of a part depend on its kind, and all of its kind are needed. A part serves a need
where each attribute stands to the need as said here; of several that serve, the tightest fit is
taken, then the cheapest.
"""
_CSV_HEADING = """\
## CSV

One table is one text or file in UTF-8 (a byte order mark does no harm) under RFC 4180: columns
separated by commas, a cell that holds a comma or a quote in quotes, the first row the names of
the columns. Columns may stand in any order; one that is not needed may be left out, and so may
any table but `book`. An empty cell says that the member is absent. Rows without any content are
passed over.

- Cells hold the same text as JSON does; numbers are written as JSON writes them (`7.5`, `25`),
  truth as `true` or `false` in small or capital letters.
- A list of keys is its keys with a space between them; a key that holds a space is put in quotes:
  `vat "city tax"`.
- A list within a part or a kit is a table of its own, whose first column is the key of the part
  or kit; the order of its rows is the order of the list.
- A fault names table, row and column. The header is row 1.

The digest is that of the JSON document that the tables stand for. In its canonical form members
are sorted, nothing stands between tokens, a whole number has no decimals (`25` for `25.0`), and a
member that is an empty list or object is left out; decimals stay as they are written, so that
`1.50` and `1.5` differ.
"""
_MOUNTED = """\
## Mounted by the operator

`LOOMWRIGHT_PRICE_BOOKS` names a folder. In it `<name>.json` is a price book, and so is a folder
`<name>` with tables such as `parts.csv`; a name has 1 to 64 letters, digits, `-` and `_`, and
begins with a letter or digit. Requests name it in `price_book_name`; `GET /v1/price-books` lists
the names without any price. The files are looked at in each request, so that a change serves at
once.

A book with a fault is refused with status 503 and `price_book_faulty`, which names every fault;
the last good version does not serve in its place, since a shop is held to what it quotes. Write a
new version beside the old one and rename it, so that no request meets half of it.

`check-price-book` holds the prices of a mounted book against its costs only for a key with the
scope `cost` (`show_cost`, `LOOMWRIGHT_KEYS_FILE`).
"""


def price_book_page() -> str:
    """Return the description of price books as Markdown.

    Returns
    -------
    str
        Text that ends in a line end.
    """
    sections = [
        _INTRODUCTION,
        _JSON_HEADING,
        *(_record_section(record) for record in _records(PRICE_BOOK)),
        _KINDS_HEADING + "\n" + _kinds_table(),
        f"Units are codes of UN/CEFACT Recommendation 20: {_units(UNIT_WORDS)}.\n",
        _CSV_HEADING,
        *(_table_section(table) for table in TABLES.values()),
        _MOUNTED,
    ]
    return "\n".join(sections)


def _records(record: Record | Records) -> Iterator[Record | Records]:
    """Yield a record and every one below it that states its members, each once."""
    yield record
    for member in record.members.values():
        if isinstance(member, Record | Records) and member.members:
            yield from _records(member)


def _record_section(record: Record | Records) -> str:
    rows = [
        (f"`{name}`", _form(member), _need(member), member.about)
        for name, member in record.members.items()
    ]
    return f"### {record.name}\n\n{_grid(('member', 'form', 'needed', 'meaning'), rows)}"


def _table_section(table: Table) -> str:
    columns = list(table.columns)
    rows = [(f"`{column.name}`", *_cell(column)) for column in columns]
    if table.pairs is not None:
        rows = [
            (f"`{name}`", _form(member), _need(member), member.about)
            for name, member in table.pairs.items()
        ]
        title, form = (column.name for column in columns)
        words = f"One row, with `{title}` and `{form}`, for each that is stated."
        grid = _grid((title, form, "needed", "meaning"), rows)
        return f"### Table {table.name}\n\n{table.about} {words}\n\n{grid}"
    if table.owner:
        about = f"Key of a row of the table `{table.within}`."
        rows.insert(0, (f"`{table.owner}`", "text", "yes", about))
    needed = " It is needed." if table.name == BOOK_TABLE else ""
    grid = _grid(("column", "form", "needed", "meaning"), rows)
    return f"### Table {table.name}\n\n{table.about}{needed}\n\n{grid}"


def _cell(column: Column) -> tuple[str, str, str]:
    """Return form, need and meaning of a column; an attribute is needed by the kinds with it."""
    member = column.member
    if column.by_kind is None:
        return _form(member), _need(member), member.about
    forms = dict.fromkeys(_form(rule) for rule in column.by_kind.values())
    return " or ".join(forms), f"for {_codes(column.by_kind)}", "Attribute of these kinds."


def _need(member: Member) -> str:
    if is_required(member):
        return "yes"
    default = getattr(member, "default", None)
    if default is None:
        return "no"
    if isinstance(default, bool):
        return f"no: `{str(default).lower()}`"
    return f"no: `{default}`"


def _form(member: Member) -> str:  # noqa: PLR0911  one for each form
    match member:
        case Text():
            return "text"
        case Choice():
            # What replaces the list in a message is a list too long to be read.
            many = f"one of {len(member.choices)} codes"
            return many if member.words else f"one of {_codes(member.choices)}"
        case Texts() | Choices():
            return f"list of {member.least} to {member.most} texts"
        case DateText():
            return "date"
        case DecimalText():
            greatest = "up" if member.upper == GREATEST_DECIMAL else f"to {member.upper:f}"
            return f"decimal from {member.lower:f} {greatest}"
        case Whole():
            return f"whole number from {member.lower} to {member.upper}"
        case Number():
            return f"number from {member.lower:.0f} to {member.upper:.0f}"
        case Truth():
            return "`true` or `false`"
        case Record():
            return f"{member.name}, below" if member.members else "object by kind, below"
        case Records():
            return f"list of {member.least} to {member.most} {member.name}"
    raise TypeError(f"no words for {type(member).__name__}")


def _kinds_table() -> str:
    rows = []
    for kind in KINDS.values():
        attributes = [
            f"`{rule.name}`: {_form(ATTRIBUTES[kind.name][rule.name])}, {_comparison(rule)}"
            for rule in kind.rules
        ]
        rows.append((f"`{kind.name}`", kind.words, _codes(kind.units), "; ".join(attributes)))
    return _grid(("kind", "words", "units", "attributes"), rows)


def _comparison(rule: AttributeRule) -> str:
    if rule.comparison is Comparison.DESCRIBED:
        return "described only"
    if rule.comparison is Comparison.EQUAL:
        return "equal"
    return f"{rule.comparison.value} `{rule.needed}` of the need"


def _codes(texts: Iterable[str]) -> str:
    return ", ".join(f"`{text}`" for text in texts)


def _units(words: Mapping[str, str]) -> str:
    return ", ".join(f"`{code}` {word}" for code, word in words.items())


def _grid(header: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    lines = [header, ["---"] * len(header), *rows]
    return "".join(f"| {' | '.join(line)} |\n" for line in lines)


if __name__ == "__main__":
    sys.stdout.write(price_book_page())
