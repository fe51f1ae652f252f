"""The price book of a request: stated in JSON or CSV, mounted by the operator, or the demo's."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from loomwright.jobs.demo_library import demo_book
from loomwright.pricing.book_csv import price_book_from_csv
from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.faults import DocumentError, Fault
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.reading import ObjectReader
from loomwright.web.mounted_books import MountedBook, mounted_book, unknown, unusable
from loomwright.web.problems import ProblemError
from loomwright.web.provided_books import STALE_STOCK, book_of_provider
from loomwright.web.schemas.price_book import (
    BOOK_CHOICE,
    BY_CSV,
    BY_DOCUMENT,
    BY_NAME,
    FROM_PROVIDER,
)

_READERS: dict[str, Callable[[object], PriceBook]] = {
    BY_DOCUMENT: price_book_from_document,
    BY_CSV: price_book_from_csv,
}


@dataclass(frozen=True, slots=True)
class ChosenBook:
    """The price book that a request chooses.

    ``faults`` are those of a book in the request, by their pointer there. ``problem`` is why a
    mounted or provided book cannot serve, and ``mounted`` the mounted one. ``book`` is none where
    one of these is. ``cautions`` are keys that an answer on this book carries.
    """

    book: PriceBook | None
    faults: tuple[Fault, ...] = ()
    mounted: MountedBook | None = None
    problem: ProblemError | None = None
    cautions: tuple[str, ...] = ()


def chosen_book(envelope: ObjectReader) -> ChosenBook:
    """Return the price book that a request chooses; the demo's where it states none.

    Parameters
    ----------
    envelope
        Reader of the request; a fault in the choice itself is noted there.

    Returns
    -------
    ChosenBook
        The book, or what is wrong with it.
    """
    given = [name for name in BOOK_CHOICE if envelope.has(name)]
    if not given:
        return ChosenBook(demo_book())
    if len(given) > 1:
        envelope.fault(given[1], f"State one of {', '.join(BOOK_CHOICE)}, not more.")
        return ChosenBook(None)
    (name,) = given
    if name == BY_NAME:
        return _mounted(envelope)
    if name == FROM_PROVIDER:
        return _provided(envelope)
    try:
        return ChosenBook(_READERS[name](envelope.stated(name)))
    except DocumentError as error:
        faults = (replace(fault, pointer=f"/{name}{fault.pointer}") for fault in error.faults)
        return ChosenBook(None, tuple(faults))


def _mounted(envelope: ObjectReader) -> ChosenBook:
    before = len(envelope.faults)
    name = envelope.text(BY_NAME)
    if len(envelope.faults) > before:
        return ChosenBook(None)
    mounted = mounted_book(name)
    if mounted is None:
        return ChosenBook(None, problem=unknown())
    problem = unusable(mounted) if mounted.book is None else None
    return ChosenBook(mounted.book, mounted=mounted, problem=problem)


def _provided(envelope: ObjectReader) -> ChosenBook:
    stated = envelope.object(FROM_PROVIDER)
    provider, name = stated.text("provider"), stated.text("price_book")
    # Nobody is asked for a request that is refused all the same.
    if envelope.faults:
        return ChosenBook(None)
    try:
        provided = book_of_provider(provider, name)
    except ProblemError as error:
        return ChosenBook(None, problem=error)
    cautions = (STALE_STOCK,) if provided.stock_is_stale else ()
    return ChosenBook(provided.book, cautions=cautions)
