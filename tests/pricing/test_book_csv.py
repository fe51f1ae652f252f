"""Price books as CSV: the document that they stand for, the way back, and the place of each fault.

The form is RFC 4180; which tables and columns there are is our own.
"""

import contextlib
import csv
import io
import itertools
from typing import Any

import pytest
from drawn_books import books
from hypothesis import given
from hypothesis import strategies as st

from loomwright.jobs.demo_library import demo_price_book
from loomwright.pricing.book_csv import csv_of_document, document_of_csv, price_book_from_csv
from loomwright.pricing.book_document import price_book_digest, price_book_from_document
from loomwright.pricing.book_members import ATTRIBUTES, BOOK
from loomwright.pricing.book_tables import TABLES
from loomwright.pricing.cells import value_of_cell
from loomwright.pricing.csv_rows import TableFault
from loomwright.pricing.faults import DocumentError
from loomwright.pricing.members import Number, Record, Records, Texts

Tables = dict[str, str]


def tables() -> Tables:
    """A small book as a workshop may type it: columns in its own order, those in need only."""
    return {
        "book": "name,currency,quote_days,prices_include_tax\r\nQuay shop,EUR,30,TRUE\r\n",
        "taxes": "key,name,percent\r\nvat,VAT,21\r\ncity tax,City,2\r\n",
        "tax_categories": 'key,taxes\r\nstandard,vat "city tax"\r\nexempt,\r\n',
        "rules": "rule,value\r\ntie_spacing_m,0.25\r\n",
        "parts": (
            "kind,key,description,unit,unit_price,attribute_fuse_type,attribute_rating_a,"
            "attribute_series,attribute_size\r\n"
            'fuse,F-30,"Fuse 30 A, blue",EA,0.40,blade,30,,\r\n'
            "fuse,F-7.5,Fuse 7.5 A,EA,0.40,blade,7.5,,\r\n"
            'ferrule,L-6,6 mm2 "long" sleeve,EA,0.15,,,metric,6 mm2\r\n'
        ),
        "price_breaks": "part,from_quantity,unit_price\r\nF-30,10,0.35\r\nF-30,50,0.30\r\n",
        "packs": "part,quantity,price,cost\r\nL-6,100,9.00,\r\nF-30,20,6.00,3.10\r\n",
        "kits": "key,description,unit_price,tax_category\r\nK-1,Fuse set,0.70,exempt\r\n",
        "kit_contents": "kit,part,quantity\r\nK-1,F-30,1\r\nK-1,F-7.5,1\r\n",
        "labour": (
            "key,description,charged_per,standard_hours,hourly_rate\r\n"
            "fit_lights,Fit light,piece,0.3,68.00\r\n"
        ),
    }


def test_tables_stand_for_the_document_written_out_by_hand() -> None:
    assert document_of_csv(tables()) == {
        "name": "Quay shop",
        "currency": "EUR",
        "quote_days": 30,
        "prices_include_tax": True,
        "taxes": [
            {"key": "vat", "name": "VAT", "percent": "21"},
            {"key": "city tax", "name": "City", "percent": "2"},
        ],
        "tax_categories": [
            {"key": "standard", "taxes": ["vat", "city tax"]},
            {"key": "exempt", "taxes": []},
        ],
        "rules": {"tie_spacing_m": "0.25"},
        "parts": [
            {
                "key": "F-30",
                "kind": "fuse",
                "description": "Fuse 30 A, blue",
                "attributes": {"fuse_type": "blade", "rating_a": 30},
                "unit": "EA",
                "unit_price": "0.40",
                "price_breaks": [
                    {"from_quantity": "10", "unit_price": "0.35"},
                    {"from_quantity": "50", "unit_price": "0.30"},
                ],
                "packs": [{"quantity": "20", "price": "6.00", "cost": "3.10"}],
            },
            {
                "key": "F-7.5",
                "kind": "fuse",
                "description": "Fuse 7.5 A",
                "attributes": {"fuse_type": "blade", "rating_a": 7.5},
                "unit": "EA",
                "unit_price": "0.40",
            },
            {
                "key": "L-6",
                "kind": "ferrule",
                "description": '6 mm2 "long" sleeve',
                "attributes": {"series": "metric", "size": "6 mm2"},
                "unit": "EA",
                "unit_price": "0.15",
                "packs": [{"quantity": "100", "price": "9.00"}],
            },
        ],
        "kits": [
            {
                "key": "K-1",
                "description": "Fuse set",
                "unit_price": "0.70",
                "tax_category": "exempt",
                "contents": [{"part": "F-30", "quantity": "1"}, {"part": "F-7.5", "quantity": "1"}],
            }
        ],
        "labour": [
            {
                "key": "fit_lights",
                "description": "Fit light",
                "charged_per": "piece",
                "standard_hours": "0.3",
                "hourly_rate": "68.00",
            }
        ],
    }


def test_a_book_from_csv_is_the_book_from_its_document() -> None:
    assert price_book_from_csv(tables()) == price_book_from_document(document_of_csv(tables()))


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("front", ["", "\ufeff"])
def test_line_ends_and_byte_order_mark_change_nothing(end: str, front: str) -> None:
    other = {name: front + text.replace("\r\n", end) for name, text in tables().items()}
    assert document_of_csv(other) == document_of_csv(tables())


def test_rows_without_content_are_let_pass_and_counted() -> None:
    other = tables()
    head, first, second, *_ = other["taxes"].split("\r\n")
    other["taxes"] = "\r\n".join([head, "", first, ",,", second + ",surplus"])
    assert told(other) == [("taxes", 5, None)]


def test_every_member_of_a_book_has_one_place_in_the_tables() -> None:
    """Lists and objects are told from the members alone, so that a new one is never forgotten."""
    places = [(table.name, column) for table in TABLES.values() for column in table.header]
    assert len(places) == len(set(places))
    for name, member in BOOK.items():
        if not isinstance(member, Record | Records):
            assert ("book", name) in places
        elif name == "rules":
            assert TABLES[name].pairs == member.members
        elif isinstance(member, Record):
            assert all(("book", f"{name}_{inner}") in places for inner in member.members)
        else:
            inner_tables = {table.name_of_list for table in TABLES.values() if table.within == name}
            for inner, rule in member.members.items():
                if isinstance(rule, Records):
                    assert inner in inner_tables
                elif not isinstance(rule, Record):
                    assert (name, inner) in places
    attributes = {name for members in ATTRIBUTES.values() for name in members}
    assert all(("parts", f"attribute_{name}") in places for name in attributes)


def test_the_demo_book_goes_to_csv_and_back() -> None:
    document = demo_price_book()
    written = csv_of_document(document)
    assert document_of_csv(written) == document
    assert price_book_from_csv(written) == price_book_from_document(document)


@given(books())
def test_any_book_goes_to_csv_and_back_with_one_digest(document: dict[str, Any]) -> None:
    book = price_book_from_csv(csv_of_document(document))
    assert book.digest == price_book_digest(document)
    assert book == price_book_from_document(document)


@given(books(), st.data())
def test_the_order_of_columns_means_nothing(document: dict[str, Any], data: st.DataObject) -> None:
    written = csv_of_document(document)
    name = data.draw(st.sampled_from(sorted(written)))
    rows = list(csv.reader(io.StringIO(written[name], newline="")))
    order = data.draw(st.permutations(range(len(rows[0]))))
    text = io.StringIO()
    csv.writer(text).writerows([[row[place] for place in order] for row in rows])
    written[name] = text.getvalue()
    assert price_book_from_csv(written).digest == price_book_digest(document)


def test_a_document_with_faults_is_not_written() -> None:
    with pytest.raises(DocumentError):
        csv_of_document({"name": "no currency"})


def test_digest_says_the_same_of_a_number_and_of_what_says_nothing() -> None:
    """25.0 is the number 25 (RFC 8259, clause 6); an empty list says no more than none."""
    plain = {"parts": [{"attributes": {"rating_a": 25}}]}
    other = {"parts": [{"attributes": {"rating_a": 25.0}, "packs": []}], "rounding": {}}
    assert price_book_digest(plain) == price_book_digest(other)
    for differing in (
        {"parts": [{"attributes": {"rating_a": 25.5}}]},
        {"parts": [{"attributes": {"rating_a": "25"}}]},
        {"parts": [{"attributes": {"rating_a": 25}}, {}]},
        {"parts": [{"attributes": {"rating_a": 25}}], "prices_include_tax": False},
    ):
        assert price_book_digest(differing) != price_book_digest(plain)


def told(texts: Tables) -> list[tuple[str, int | None, str | None]]:
    """Table, row and column of each fault; each message begins with the place."""
    with pytest.raises(DocumentError) as caught:
        price_book_from_csv(texts)
    found = []
    for fault in caught.value.faults:
        assert isinstance(fault, TableFault)
        place = [] if fault.row is None else [f"row {fault.row}"]
        place += [] if fault.column is None else [f"column {fault.column}"]
        assert not place or fault.message.startswith(f"{', '.join(place)}: ")
        found.append((fault.table, fault.row, fault.column))
    return found


# Table, what to replace, by what, and the faults that follow.
FAULTS: dict[str, tuple[str, str, str, list[tuple[str, int | None, str | None]]]] = {
    "price-comma": ("labour", "68.00", '"68,00"', [("labour", 2, "hourly_rate")]),
    "price-empty": ("parts", "EA,0.15", "EA,", [("parts", 4, "unit_price")]),
    "kind": ("parts", "ferrule,L", "rope,L", [("parts", 4, "kind")]),
    "number": ("parts", "blade,7.5", "blade,07.5", [("parts", 3, "attribute_rating_a")]),
    "number-nan": ("parts", "blade,7.5", "blade,NaN", [("parts", 3, "attribute_rating_a")]),
    "number-long": (
        "parts",
        "blade,7.5",
        f"blade,{'9' * 5000}",
        [("parts", 3, "attribute_rating_a")],
    ),
    "attribute-missing": ("parts", "metric,6 mm2", "metric,", [("parts", 4, "attribute_size")]),
    "attribute-of-other": ("parts", "0.15,,,", "0.15,x,,", [("parts", 4, "attribute_fuse_type")]),
    "unit-of-other-kind": ("parts", "EA,0.15", "MTR,0.15", [("parts", 4, "unit")]),
    "key-twice": (
        "parts",
        "F-7.5,",
        "F-30,",
        [("kit_contents", 3, "part"), ("parts", 3, "key")],
    ),
    "currency": ("book", "EUR", "EURO", [("book", 2, "currency")]),
    "truth": ("book", "TRUE", "yes", [("book", 2, "prices_include_tax")]),
    "whole": ("book", ",30,", ",30.5,", [("book", 2, "quote_days")]),
    "two-books-first-wrong": ("book", "Quay shop,EUR,30,TRUE\r\n",
        "Quay shop,EURO,30,TRUE\r\nOther,EUR,,\r\n",
        [("book", None, None), ("book", 2, "currency")],
    ),
    "two-books": ("book", "Quay", "Other,EUR,,\r\nQuay", [("book", None, None)]),
    "no-book": ("book", "Quay shop,EUR,30,TRUE", "", [("book", None, None)]),
    "tax": ("tax_categories", "city tax", "town tax", [("tax_categories", 2, "taxes")]),
    "tax-quote": ("tax_categories", '"city tax"', "'''", [("tax_categories", 2, "taxes")]),
    "category": ("kits", "exempt", "free", [("kits", 2, "tax_category")]),
    "rule-unknown": ("rules", "tie_spacing_m", "tie_spacing", [("rules", 2, "rule")]),
    "rule-value": ("rules", "0.25", "0", [("rules", 2, "value")]),
    "rule-empty": ("rules", "0.25", "", [("rules", 2, "value")]),
    "rules-empty": ("rules", "tie_spacing_m,0.25", "tie_spacing_m,\r\n,0.25",
        [("rules", 2, "value"), ("rules", 3, "rule")],
    ),
    "rule-twice-and-empty": (
        "rules",
        "0.25",
        "0.25\r\ntie_spacing_m,0.3\r\ntie_spacing_m,",
        [("rules", 3, "rule"), ("rules", 4, "value")],
    ),
    "rule-column-missing": ("rules", "rule,value\r\ntie_spacing_m,0.25", "rule\r\ntie_spacing_m",
        [("rules", 1, "value")],
    ),
    "rule-twice": ("rules", "0.25", "0.25\r\ntie_spacing_m,0.3", [("rules", 3, "rule")]),
    "breaks-fall": ("price_breaks", "F-30,50", "F-30,5", [("price_breaks", 3, "from_quantity")]),
    "break-twice": (
        "price_breaks",
        "F-30,50",
        "F-30,10",
        [("price_breaks", 3, "from_quantity"), ("price_breaks", 3, "from_quantity")],
    ),
    "break-of-no-part": ("price_breaks", "F-30,50", "F-31,50", [("price_breaks", 3, "part")]),
    "break-without-part": ("price_breaks", "F-30,50", ",50", [("price_breaks", 3, "part")]),
    "breaks-of-no-part": ("price_breaks", "F-30,10,0.35\r\nF-30", ",10,0.35\r\n,20,0.3\r\nF-31", [
        ("price_breaks", 2, "part"),
        ("price_breaks", 3, "part"),
        ("price_breaks", 4, "part"),
    ]),
    "column-twice-first-wrong": (
        "labour", "hourly_rate\r\nfit_lights,Fit light,piece,0.3,68.00",
        "hourly_rate,hourly_rate\r\nfit_lights,Fit light,piece,0.3,x,68.00",
        [("labour", 1, "hourly_rate"), ("labour", 2, "hourly_rate")],
    ),
    "text-list-behind-quote": (
        "tax_categories", '"city tax"', '"""city""x"', [("tax_categories", 2, "taxes")]
    ),
    "pack-of-no-part": ("packs", "L-6", "L-7", [("packs", 2, "part")]),
    "kit-of-no-part": ("kit_contents", "F-7.5", "F-8", [("kit_contents", 3, "part")]),
    "content-of-no-kit": ("kit_contents", "K-1,F-7.5", "K-2,F-7.5", [("kit_contents", 3, "kit")]),
    "kit-of-nothing": ("kits", "K-1,Fuse", "K-2,,1,\r\nK-1,Fuse", [
        ("kits", 2, "description"),
        ("kits", 2, None),
    ]),
    "column-unknown": ("taxes", "key,name,percent\r\n", "key,name,percent,colour\r\n", [
        ("taxes", 1, "colour"),
        ("taxes", 2, None),
        ("taxes", 3, None),
    ]),
    "column-twice": ("labour", "hourly_rate", "description", [
        ("labour", 1, "description"),
        ("labour", 1, "hourly_rate"),
    ]),
    "column-missing": ("packs", "price,", "colour,", [
        ("packs", 1, "colour"),
        ("packs", 1, "price"),
    ]),
    "key-column-missing": ("parts", "kind,key", "kind,ky", [
        ("parts", 1, "ky"),
        ("parts", 1, "key"),
    ]),
    "row-short": ("parts", "0.15,,,metric,6 mm2", "0.15", [("parts", 4, None)]),
    "row-long": ("kits", "0.70", "0,70", [("kits", 2, None)]),
    "open-quote": ("parts", "fuse,F-7.5", '"fuse,F-7.5', [("parts", 3, None)]),
    "quote-in-header": ("kits", "key", '"key"x', [("kits", 1, None)]),
    "text-behind-quote": ("parts", "fuse,F-7.5", '"fuse"x,F-7.5', [("parts", 3, None)]),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_is_named_by_table_row_and_column(name: str) -> None:
    table, old, new, expected = FAULTS[name]
    texts = tables()
    assert texts[table].count(old) >= 1
    texts[table] = texts[table].replace(old, new, 1)
    assert sorted(told(texts), key=str) == sorted(expected, key=str)


def test_too_many_rows_of_a_table_are_named_by_the_table() -> None:
    rows = "".join(f"t{place},Tax,1\r\n" for place in range(20))
    assert ("taxes", None, None) in told(
        {**tables(), "taxes": "key,name,percent\r\n" + rows + "u,U,1"}
    )


def test_no_more_is_said_where_a_table_is_no_text_or_loses_its_rows() -> None:
    # What stands in the lost rows is not missed elsewhere.
    assert told({**tables(), "kits": 5}) == [("kits", None, None)]  # type: ignore[dict-item]
    short = {**tables(), "parts": "kind,key,description,unit,unit_price\n" + "fuse\n" * 2000}
    assert {table for table, _, _ in told(short)} == {"parts"}
    assert len(told(short)) == 1001


def test_messages_count_the_cells_and_say_what_is_missing() -> None:
    short = {**tables(), "packs": "part,quantity,price\r\nL-6\r\nL-6,1\r\n"}
    with pytest.raises(DocumentError) as caught:
        price_book_from_csv(short)
    assert [fault.message for fault in caught.value.faults] == [
        "row 2: The row has 1 cell, the header has 3 cells.",
        "row 3: The row has 2 cells, the header has 3 cells.",
    ]
    with pytest.raises(DocumentError, match="column part: Missing; it is required"):
        price_book_from_csv({**tables(), "packs": "part,quantity,price\r\n,1,2\r\n"})


def test_five_hundred_columns_are_looked_at_one_by_one() -> None:
    needed = ["key", "name", "percent"]
    for count, faults in ((497, 497), (498, 1)):
        header = ",".join([*needed, *(f"c{place}" for place in range(count))])
        row = "," * (count + 2)
        assert len(told({**tables(), "taxes": f"{header}\r\n{row}\r\n"})) >= faults
        known = {column for _, row, column in told({**tables(), "taxes": header}) if row == 1}
        assert (None in known) == (faults == 1)


def test_five_thousand_faults_are_listed_without_a_count_of_more() -> None:
    unmatched = {**tables(), "packs": "part,quantity,price\n" + "x,1,2\n" * 5000}
    assert len(told(unmatched)) == 5000


@pytest.mark.parametrize(("digits", "is_number"), [(38, True), (39, False)])
def test_a_number_has_at_most_forty_characters(digits: int, is_number: bool) -> None:
    cell = f"0.{'1' * digits}"
    assert value_of_cell(Number(0.0, 1.0), cell) == (float(cell) if is_number else cell)


@pytest.mark.parametrize("cell", ['"a"x b', '"a', 'a "b'])
def test_texts_with_a_broken_quote_stay_one_text(cell: str) -> None:
    # A list of texts is none of them, and the reader of the document refuses it.
    assert value_of_cell(Texts(0, 3), cell) == cell


def test_the_first_of_two_other_separators_is_named() -> None:
    texts = {**tables(), "labour": "key;description\tx\r\n"}
    with pytest.raises(DocumentError, match="commas, not by semicolons"):
        price_book_from_csv(texts)


def test_separators_other_than_commas_are_named_once() -> None:
    texts = tables()
    texts["labour"] = texts["labour"].replace(",", ";")
    assert told(texts) == [("labour", 1, None)]
    with pytest.raises(DocumentError, match="separated by commas, not by semicolons"):
        price_book_from_csv(texts)


@pytest.mark.parametrize("text", ["", "\ufeff", "\r\n\r\n"])
def test_an_empty_text_lacks_its_columns(text: str) -> None:
    columns = [("taxes", 1, column) for column in ("key", "name", "percent")]
    assert told({**tables(), "taxes": text}) == columns


def test_unknown_and_missing_tables_are_named() -> None:
    texts = tables()
    texts["part"] = texts.pop("kits")
    del texts["book"]
    assert told(texts) == [("part", None, None), ("book", None, None), ("kit_contents", 2, "kit"),
                           ("kit_contents", 3, "kit")]  # fmt: skip


def test_all_faults_of_all_tables_are_listed_at_once() -> None:
    texts = tables()
    for name in ("price-comma", "currency", "tax", "row-short", "rule-value", "pack-of-no-part"):
        table, old, new, _ = FAULTS[name]
        texts[table] = texts[table].replace(old, new, 1)
    expected = list(itertools.chain.from_iterable(
        FAULTS[name][3]
        for name in ("row-short", "pack-of-no-part", "currency", "tax", "price-comma", "rule-value")
    ))  # fmt: skip
    assert sorted(told(texts), key=str) == sorted(expected, key=str)


def test_a_hostile_table_brings_no_flood_of_faults() -> None:
    wide = {**tables(), "kits": "," * 1_000_000}
    assert told(wide) == [("kits", 1, None)]
    misshapen = {**tables(), "packs": "part,quantity,price\n" + "x\n" * 500_000}
    assert len(told(misshapen)) == 1001
    assert told(misshapen)[-1] == ("packs", 1002, None)
    unmatched = {**tables(), "packs": "part,quantity,price\n" + "x,1,2\n" * 20_000}
    with pytest.raises(DocumentError) as caught:
        price_book_from_csv(unmatched)
    assert len(caught.value.faults) == 5001
    assert caught.value.faults[-1].message == "15000 more faults are not listed."


@given(st.sampled_from(sorted(tables())), st.text(st.characters(exclude_categories=["Cs"])))
def test_any_text_is_read_or_refused(name: str, text: str) -> None:
    with contextlib.suppress(DocumentError):
        price_book_from_csv({**tables(), name: text})


@given(st.sampled_from(sorted(tables())), st.data())
def test_any_cell_is_read_or_refused_at_a_place_there_is(name: str, data: st.DataObject) -> None:
    texts = tables()
    rows = list(csv.reader(io.StringIO(texts[name], newline="")))
    row = data.draw(st.integers(0, len(rows) - 1))
    column = data.draw(st.integers(0, len(rows[0]) - 1))
    rows[row][column] = data.draw(st.sampled_from(["", "x", "1", "0.5", "-1", "true", "[]", "key"]))
    text = io.StringIO()
    csv.writer(text).writerows(rows)
    texts[name] = text.getvalue()
    with contextlib.suppress(DocumentError):
        price_book_from_csv(texts)
        return
    assert {table for table, _, _ in told(texts)} <= set(TABLES)
