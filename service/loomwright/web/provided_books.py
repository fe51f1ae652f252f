"""Price books from providers that the operator configures.

``LOOMWRIGHT_PROVIDERS_FILE`` names a TOML file, which is read again when it changes. What a
provider serves is asked for in each use; see ``openapi/plugin/provider.md``.
"""

from datetime import UTC, datetime
from functools import lru_cache

from loomwright.providers.configuration import (
    ConfigurationError,
    HttpSettings,
    ProviderSettings,
    provider_settings,
)
from loomwright.providers.in_process import ProcessProvider
from loomwright.providers.over_http import HttpProvider
from loomwright.providers.provided_book import ProvidedBook, provided_book
from loomwright.providers.provider import (
    FaultyError,
    Provider,
    UnavailableError,
    UnknownBookError,
)
from loomwright.web.file_state import FileState, are_settled, file_state
from loomwright.web.problems import ProblemError
from loomwright.web.settings import current_settings

STALE_STOCK = "stock_out_of_date"
_POINTER = "/price_book_from"


def provider_names() -> tuple[str, ...]:
    """Return the names of the configured providers, sorted.

    Returns
    -------
    tuple of str
        Empty where the operator configures none.

    Raises
    ------
    ProblemError
        ``provider_faulty``: the operator's list cannot be used.
    """
    return tuple(sorted(_configured()))


def book_of_provider(provider: str, name: str) -> ProvidedBook:
    """Return a price book of a configured provider.

    Parameters
    ----------
    provider
        Name that the operator gave the provider.
    name
        Name of the price book there.

    Returns
    -------
    ProvidedBook
        The book as it is now.

    Raises
    ------
    ProblemError
        ``unknown_provider``, ``unknown_price_book``, ``provider_unavailable`` with ``Retry-After``,
        ``provider_faulty`` with every fault.
    """
    settings = _configured().get(provider)
    if settings is None:
        names = ", ".join(provider_names()) or "none"
        message = f"No provider of this name is configured. There are: {names}."
        raise ProblemError("unknown_provider", message, [(f"{_POINTER}/provider", message)])
    try:
        return provided_book(
            provider,
            _provider(settings),
            name,
            datetime.now(UTC),
            settings.stock_stale_after_s,
        )
    except UnknownBookError as error:
        message = str(error)
        raise ProblemError(
            "unknown_price_book", message, [(f"{_POINTER}/price_book", message)]
        ) from None
    except UnavailableError as error:
        raise ProblemError(
            "provider_unavailable",
            str(error),
            [(_POINTER, str(error))],
            headers={"Retry-After": str(error.retry_after_s)},
        ) from error
    except FaultyError as error:
        faults = [(_POINTER, f"{fault.pointer}: {fault.message}") for fault in error.faults]
        raise ProblemError("provider_faulty", str(error), faults) from None


def _provider(settings: ProviderSettings) -> Provider:
    if isinstance(settings.reached, HttpSettings):
        return HttpProvider(settings.name, settings.reached)
    return ProcessProvider(settings.name, settings.reached)


def _configured() -> dict[str, ProviderSettings]:
    path = current_settings().providers_file
    if path is None:
        return {}
    try:
        state = file_state(path)
        return _read(state) if are_settled([state]) else _read.__wrapped__(state)
    except (OSError, UnicodeDecodeError):
        raise ProblemError(
            "provider_faulty", "The operator's list of providers cannot be read."
        ) from None
    except ConfigurationError as error:
        count = len(error.faults)
        raise ProblemError(
            "provider_faulty",
            f"The operator's list of providers has {count} fault(s).",
            [("", fault) for fault in error.faults],
        ) from None


@lru_cache(maxsize=4)
def _read(state: FileState) -> dict[str, ProviderSettings]:
    return provider_settings(state.path.read_text("utf-8"))
