"""The description of price books: the file equals what the members give, and leaves out none."""

import re
from pathlib import Path

from loomwright.documents.price_book_page import price_book_page
from loomwright.pricing.book_members import BOOK
from loomwright.pricing.book_tables import TABLES
from loomwright.pricing.kinds import KINDS
from loomwright.web.problem_codes import CODES
from loomwright.web.schemas.price_book import BOOK_CHOICE
from loomwright.web.settings_table import SETTINGS

ROOT = Path(__file__).parents[2]
FILE = ROOT / "openapi" / "price-book.md"
PAGE = price_book_page()
RENEWAL = "renew it: python -m loomwright.documents.price_book_page > openapi/price-book.md"


def rows_of(heading: str) -> list[str]:
    """First cells of the table under a heading, header and rule left out."""
    section = PAGE.split(f"\n{heading}\n")[1].split("\n#")[0]
    return re.findall(r"^\| `(\w+)` \|", section, re.MULTILINE)


def test_file_equals_what_the_members_give() -> None:
    assert FILE.read_text("utf-8") == PAGE, RENEWAL


def test_every_member_column_and_kind_is_described() -> None:
    assert rows_of("### PriceBook") == list(BOOK)
    for table in TABLES.values():
        expected = list(table.header if table.pairs is None else table.pairs)
        assert rows_of(f"### Table {table.name}") == expected
    assert rows_of("## Kinds of parts") == list(KINDS)


def test_names_in_the_prose_are_those_of_the_service() -> None:
    assert all(f"`{name}`" in PAGE for name in BOOK_CHOICE)
    named = set(re.findall(r"LOOMWRIGHT_\w+", PAGE))
    assert named == {"LOOMWRIGHT_PRICE_BOOKS", "LOOMWRIGHT_KEYS_FILE"}
    assert named <= {setting.name for setting in SETTINGS}
    assert "`price_book_faulty`" in PAGE
    assert f"status {CODES['price_book_faulty'].status}" in PAGE


def test_readme_leads_to_it() -> None:
    assert "openapi/price-book.md" in (ROOT / "README.md").read_text("utf-8")
