"""The price book that a provider's documents make up."""

import re
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any

import orjson

from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.book_members import STANDARD_CATEGORY
from loomwright.pricing.faults import DocumentError, Fault, pointer_token
from loomwright.pricing.members import (
    DecimalText,
    InstantText,
    Member,
    Records,
    Text,
)
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.reading import ObjectReader
from loomwright.providers.provider import (
    KINDS,
    Document,
    FaultyError,
    Provider,
    UnavailableError,
    UnknownBookError,
)

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,63}", re.ASCII)
_VERSION = re.compile(r"1\.(0|[1-9][0-9]*)", re.ASCII)
# Members of a price book that labour rates and tax rules may replace.
LABOUR_MEMBERS = ("labour", "labour_minimum", "difficulty")
TAX_MEMBERS = ("taxes", "tax_categories", "prices_include_tax", "rounding")
# A clock of the provider may be ahead by this.
_AHEAD = timedelta(minutes=5)
_MOST = 22_000
_BOOKS_KEPT = 16
_COUNTED: dict[str, Member] = {
    "part": Text(required=False),
    "kit": Text(required=False),
    "quantity": DecimalText(),
}
STOCK: dict[str, Member] = {
    "as_of": InstantText(),
    "stock": Records("Counted", _COUNTED, 0, _MOST),
}
_NUMBERED: dict[str, Member] = {
    "part": Text(required=False),
    "kit": Text(required=False),
    "shop_part_number": Text(),
}
_TAXED: dict[str, Member] = {"tax_category": Text(), "shop_tax_code": Text()}
MAPPING: dict[str, Member] = {
    "parts": Records("Numbered", _NUMBERED, 0, _MOST),
    "tax_categories": Records("Taxed", _TAXED, 0, 50, "tax_category"),
}


@dataclass(frozen=True)
class ProvidedBook:
    """A price book of a provider; ``stock_is_stale`` where its stock was left out of account."""

    book: PriceBook
    stock_is_stale: bool


def provided_book(
    provider_name: str,
    provider: Provider,
    name: str,
    now: datetime,
    stock_stale_after_s: float | None,
) -> ProvidedBook:
    """Return the price book that a provider's documents make up.

    Labour rates and tax rules replace members of the book, stock replaces all stock that it
    states, and a mapping adds the shop's own numbers. A kind of document that the provider does not
    list in ``serves`` leaves the book as it is.

    Parameters
    ----------
    provider_name
        Name that the operator gave the provider.
    provider
        The provider.
    name
        Name of the price book there.
    now
        The time, with its offset.
    stock_stale_after_s
        Age beyond which stock is left out of account [s]; none for no limit.

    Returns
    -------
    ProvidedBook
        Checked; its digest is that of all documents together.

    Raises
    ------
    UnavailableError
        A document cannot be had now.
    FaultyError
        A document has faults; all of them are named.
    UnknownBookError
        The provider does not list the book.
    """
    capabilities = _capabilities(provider_name, provider)
    serves = [kind for kind in KINDS if kind in capabilities["serves"]]
    listed = [each for each in capabilities["price_books"] if isinstance(each, str)]
    if not _NAME.fullmatch(name) or name not in listed or "price_book" not in serves:
        raise UnknownBookError(provider_name, listed)
    with ThreadPoolExecutor(len(serves)) as pool:
        asked = {kind: pool.submit(getattr(provider, kind), name) for kind in serves}
        documents = {kind: future.result() for kind, future in asked.items()}
    for kind, document in documents.items():
        if document is None:
            raise UnavailableError(provider_name, f"lists {kind} and does not serve it")
    merged = _Merged(capabilities["specification"])
    is_stale = merged.add_all(documents, now, stock_stale_after_s)
    try:
        book = None if merged.faults else _read(orjson.dumps(merged.book))
    except DocumentError as error:
        merged.faults += [merged.placed(fault) for fault in error.faults]
        book = None
    if book is None:
        raise FaultyError(provider_name, merged.faults)
    return ProvidedBook(book, is_stale)


@lru_cache(maxsize=_BOOKS_KEPT)
def _read(stated: bytes) -> PriceBook:
    """Return the checked book of a document; the bytes are the key, so that only the same is kept.

    Reading takes some 0.1 ms for each part, and most requests meet the book of the one before.
    """
    return price_book_from_document(orjson.loads(stated))


def book_lookups() -> tuple[int, int]:
    """Return how often a book was found read already, and how often not, in this process."""
    counts = _read.cache_info()
    return counts.hits, counts.misses


def _capabilities(provider_name: str, provider: Provider) -> Document:
    document = provider.capabilities()
    if document is None:
        raise UnavailableError(provider_name, "states no capabilities")
    faults = []
    version = document.get("specification")
    if not isinstance(version, str) or not _VERSION.fullmatch(version):
        faults.append(
            Fault("/capabilities/specification", "The version 1.0, or 1 and more, is needed.")
        )
    for member in ("serves", "price_books"):
        if not isinstance(document.get(member), list):
            faults.append(Fault(f"/capabilities/{member}", "A list is needed."))
    if faults:
        raise FaultyError(provider_name, faults)
    return document


class _Merged:
    """A price book while the other documents are put into it."""

    def __init__(self, version: str) -> None:
        self.book: dict[str, Any] = {}
        self.faults: list[Fault] = []
        self._version = version
        # Where a member of the book came from, if not from the price book itself.
        self._origin: dict[str, str] = {}

    def add_all(
        self, documents: Mapping[str, Any], now: datetime, stale_after_s: float | None
    ) -> bool:
        """Put all documents together; return whether stock was too old to count."""
        for kind, document in documents.items():
            if document.get("specification") != self._version:
                self._fault(kind, "/specification", "The version of the capabilities is needed.")
        stated = documents["price_book"].get("price_book")
        if not isinstance(stated, Mapping):
            self._fault("price_book", "/price_book", "An object is needed.")
            return False
        self.book = dict(stated)
        if "labour_rates" in documents:
            self._replace("labour_rates", "labour", documents["labour_rates"], LABOUR_MEMBERS)
            if documents["labour_rates"].get("currency") != self.book.get("currency"):
                self._fault("labour_rates", "/currency", "The currency of the book is needed.")
        if "tax_rules" in documents:
            self._replace("tax_rules", "tax_rules", documents["tax_rules"], TAX_MEMBERS)
        if "mapping" in documents:
            self._map(documents["mapping"])
        return "stock" in documents and self._count(documents["stock"], now, stale_after_s)

    def placed(self, fault: Fault) -> Fault:
        """Return a fault of the book by the document that it stands in."""
        member = fault.pointer.split("/")[1] if fault.pointer else ""
        kind = self._origin.get(member, "/price_book/price_book")
        return Fault(f"{kind}{fault.pointer}", fault.message)

    def _fault(self, kind: str, pointer: str, message: str) -> None:
        self.faults.append(Fault(f"/{kind}{pointer}", message))

    def _replace(
        self, kind: str, member: str, document: Document, allowed: tuple[str, ...]
    ) -> None:
        stated = document.get(member)
        if not isinstance(stated, Mapping):
            self._fault(kind, f"/{member}", "An object is needed.")
            return
        for name, value in stated.items():
            if name not in allowed:
                message = f"Unknown member; there are {', '.join(allowed)}."
                self._fault(kind, f"/{member}/{pointer_token(name)}", message)
                continue
            self.book[name] = value
            self._origin[name] = f"/{kind}/{member}"

    def _sold(self) -> dict[tuple[str, str], dict[str, Any]]:
        """Make copies of the parts and kits that may be changed; return them by kind and key."""
        found: dict[tuple[str, str], dict[str, Any]] = {}
        for kind, member in (("part", "parts"), ("kit", "kits")):
            stated = self.book.get(member)
            if not isinstance(stated, list):
                continue
            copies = [dict(each) if isinstance(each, Mapping) else each for each in stated]
            self.book[member] = copies
            found |= {
                (kind, each["key"]): each
                for each in copies
                if isinstance(each, dict) and isinstance(each.get("key"), str)
            }
        return found

    def _read(self, kind: str, document: Document, members: Mapping[str, Member]) -> ObjectReader:
        return ObjectReader(_known(document, members), f"/{kind}", self.faults, members)

    def _count(self, document: Document, now: datetime, stale_after_s: float | None) -> bool:
        reader = self._read("stock", document, STOCK)
        as_of = reader.instant("as_of")
        entries = reader.objects("stock")
        if as_of is None:
            return False
        if as_of > now + _AHEAD:
            reader.fault("as_of", "It is later than now.")
        sold = self._sold()
        for each in sold.values():
            each.pop("stock", None)
        is_stale = stale_after_s is not None and now - as_of > timedelta(seconds=stale_after_s)
        for entry, each in self._entries(entries, sold):
            entry.decimal("quantity")
            if not is_stale:
                each["stock"] = entry.stated("quantity")
        return is_stale

    def _map(self, document: Document) -> None:
        reader = self._read("mapping", document, MAPPING)
        for entry, each in self._entries(reader.objects("parts"), self._sold()):
            each["shop_part_number"] = entry.text("shop_part_number")
        codes = {
            entry.text("tax_category"): (entry, entry.text("shop_tax_code"))
            for entry in reader.objects("tax_categories")
        }
        categories = self._categories()
        keys = {each["key"]: each for each in categories if isinstance(each.get("key"), str)}
        for key, (entry, code) in codes.items():
            if key in keys:
                keys[key]["shop_tax_code"] = code
            else:
                entry.fault("tax_category", "The price book has no such tax category.")
        if codes and categories:
            self.book["tax_categories"] = categories

    def _categories(self) -> list[dict[str, Any]]:
        """Return copies of the tax categories; empty where what is stated is no list of objects.

        A book without any has one by default, to which all taxes apply.
        """
        stated, taxes = (self.book.get(name, []) for name in ("tax_categories", "taxes"))
        listed = [each for each in (stated, taxes) if isinstance(each, list)]
        if len(listed) < 2 or not all(isinstance(each, Mapping) for each in [*stated, *taxes]):
            return []
        if stated:
            return [dict(each) for each in stated]
        return [{"key": STANDARD_CATEGORY, "taxes": [tax.get("key") for tax in taxes]}]

    @staticmethod
    def _entries(
        entries: list[ObjectReader], sold: Mapping[tuple[str, str], dict[str, Any]]
    ) -> list[tuple[ObjectReader, dict[str, Any]]]:
        """Return each entry with what it is about; one about nothing or again is a fault."""
        found: dict[tuple[str, str], tuple[ObjectReader, dict[str, Any]]] = {}
        for entry in entries:
            named = [kind for kind in ("part", "kit") if entry.has(kind)]
            if len(named) != 1:
                entry.fault("part", "State either part or kit.")
                continue
            key = (named[0], entry.text(named[0]))
            if key not in sold:
                entry.fault(named[0], f"The price book has no such {named[0]}.")
            elif key in found:
                entry.fault(named[0], "It stands earlier in the list.")
            else:
                found[key] = (entry, sold[key])
        return list(found.values())


def _known(stated: Mapping[str, Any], members: Mapping[str, Member]) -> dict[str, Any]:
    """Return the members that there is a rule for; a later version of a provider has more."""
    known = {}
    for name, member in members.items():
        if name not in stated:
            continue
        value = stated[name]
        if isinstance(member, Records) and isinstance(value, list):
            value = [
                _known(each, member.members) if isinstance(each, Mapping) else each
                for each in value
            ]
        known[name] = value
    return known
