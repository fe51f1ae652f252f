"""Providers in process: loaded once, guarded so that what they return is plain and stays so."""

import importlib
import threading
from collections.abc import Callable, Mapping
from functools import cache
from importlib.metadata import entry_points
from typing import Any

import orjson

from loomwright.pricing.faults import Fault
from loomwright.providers.configuration import ProcessSettings
from loomwright.providers.provider import Document, FaultyError, Provider, UnavailableError

GROUP = "loomwright.providers"
_loading = threading.Lock()


class ProcessProvider:
    """A provider in process, behind the same agreement as one over HTTP.

    Parameters
    ----------
    name
        Name that the operator gave it.
    settings
        Its entry point and options.
    """

    def __init__(self, name: str, settings: ProcessSettings) -> None:
        self._name = name
        self._settings = settings

    def capabilities(self) -> Document | None:
        """Return what the provider serves."""
        return self._asked("capabilities")

    def price_book(self, name: str) -> Document | None:
        """Return the price book of a name."""
        return self._asked("price_book", name)

    def labour_rates(self, name: str) -> Document | None:
        """Return the labour rates that go with a price book."""
        return self._asked("labour_rates", name)

    def tax_rules(self, name: str) -> Document | None:
        """Return the tax rules that go with a price book."""
        return self._asked("tax_rules", name)

    def stock(self, name: str) -> Document | None:
        """Return the stock of what a price book sells."""
        return self._asked("stock", name)

    def mapping(self, name: str) -> Document | None:
        """Return the shop's own numbers for what a price book sells."""
        return self._asked("mapping", name)

    def _asked(self, method: str, *arguments: str) -> Document | None:
        try:
            # A cache alone would call the factory once for each request that comes meanwhile.
            with _loading:
                provider = _loaded(
                    self._settings.entry_point, tuple(sorted(self._settings.options.items()))
                )
            document: Any = getattr(provider, method)(*arguments)
        except Exception as error:
            # Whatever a plugin raises is its own failure and not that of the service.
            raise UnavailableError(
                self._name, f"fails in {method} ({type(error).__name__})"
            ) from error
        if document is None:
            return None
        try:
            # Through JSON: what is not plain is refused, and what is changed here stays here.
            copy: Any = orjson.loads(orjson.dumps(document))
        except TypeError as error:
            raise FaultyError(
                self._name, [Fault(f"/{method}", f"Not plain values: {error}.")]
            ) from None
        if not isinstance(copy, Mapping):
            raise FaultyError(self._name, [Fault(f"/{method}", "An object is needed.")])
        return copy


@cache
def _loaded(entry_point: str, options: tuple[tuple[str, str], ...]) -> Provider:
    """Return the provider of a factory; each is made once in a process."""
    factory: Callable[[dict[str, str]], Provider]
    if ":" in entry_point:
        module, _, name = entry_point.partition(":")
        factory = getattr(importlib.import_module(module), name)
    else:
        (found,) = entry_points(group=GROUP, name=entry_point)
        factory = found.load()
    return factory(dict(options))
