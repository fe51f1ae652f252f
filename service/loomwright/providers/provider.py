"""What a provider of price books is, and how it fails."""

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any, Protocol

from loomwright.pricing.faults import Fault

# Kind of document -> what follows the address of its price book.
KINDS = MappingProxyType(
    {
        "price_book": "",
        "labour_rates": "/labour-rates",
        "tax_rules": "/tax-rules",
        "stock": "/stock",
        "mapping": "/mapping",
    }
)
Document = Mapping[str, Any]


class Provider(Protocol):
    """Serves price books and what belongs to them.

    Each method returns a document as ``openapi/plugin/provider.md`` says, or none for what the
    provider does not serve. Methods may be called from several threads at once.
    """

    def capabilities(self) -> Document | None:
        """Return what the provider serves."""

    def price_book(self, name: str) -> Document | None:
        """Return the price book of a name."""

    def labour_rates(self, name: str) -> Document | None:
        """Return the labour rates that go with a price book."""

    def tax_rules(self, name: str) -> Document | None:
        """Return the tax rules that go with a price book."""

    def stock(self, name: str) -> Document | None:
        """Return the stock of what a price book sells."""

    def mapping(self, name: str) -> Document | None:
        """Return the shop's own numbers for what a price book sells."""


class UnavailableError(RuntimeError):
    """A provider that cannot be asked now.

    Parameters
    ----------
    provider
        Name that the operator gave it.
    message
        Why, in words that tell nothing of the operator's network.
    retry_after_s
        When it may be asked again [s].
    """

    def __init__(self, provider: str, message: str, retry_after_s: int = 30) -> None:
        super().__init__(f"The provider {provider} {message}.")
        self.retry_after_s = retry_after_s


class FaultyError(RuntimeError):
    """A provider whose documents cannot be used.

    Parameters
    ----------
    provider
        Name that the operator gave it.
    faults
        Each thing wrong, by kind of document and JSON pointer within it.
    """

    def __init__(self, provider: str, faults: Sequence[Fault]) -> None:
        super().__init__(f"The provider {provider} sends documents with {len(faults)} fault(s).")
        self.faults = tuple(faults)


class UnknownBookError(LookupError):
    """A price book that a provider does not list.

    Parameters
    ----------
    provider
        Name that the operator gave it.
    listed
        Names that it lists.
    """

    def __init__(self, provider: str, listed: Sequence[str]) -> None:
        names = ", ".join(listed) or "none"
        super().__init__(f"The provider {provider} has no such price book. It has: {names}.")
