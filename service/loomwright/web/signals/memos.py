"""What is kept between requests of price books, and how often it was there when looked up."""

from collections.abc import Callable
from types import MappingProxyType

from loomwright.batch import met_before
from loomwright.providers.provided_book import book_lookups
from loomwright.web.mounted_books import mounted_lookups

#: Cumulative hits and misses of this process by memo. Files that changed less than 2 s ago are read
#: each time and are no lookup.
MEMOS: MappingProxyType[str, Callable[[], tuple[int, int]]] = MappingProxyType(
    {
        "mounted_book": mounted_lookups,
        "provided_book": book_lookups,
        "batch_met_before": met_before.lookups,
    }
)
