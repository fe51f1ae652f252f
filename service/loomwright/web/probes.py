"""Probes: whether the process answers, and whether it could answer what it is there for.

Liveness reads nothing: a process that answers at all is not to be restarted for a file of the
operator's, which a restart does not mend. Readiness looks at what requests rest on. Neither needs a
key or is counted, so a refusal names what is at fault without its contents, and no price book by
name where keys are needed; the log has all of it.
"""

import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

from flask import Flask, Response, current_app

from loomwright.pricing.faults import Fault, pointer_token
from loomwright.tables.audio_load import audio_tables
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.tables.signal_load import signal_factors
from loomwright.tables.supply_load import supply_tables
from loomwright.tables.tolerance_load import tolerances
from loomwright.web.answers import ENGINE_VERSION, json_response
from loomwright.web.described_http import HEALTH_PATH, LIVE_PATH, READY_PATH
from loomwright.web.jwks import FileKeys, KeySetError
from loomwright.web.key_file import KeyFileError, keys_of_file
from loomwright.web.mounted_books import mounted_book, mounted_names, told
from loomwright.web.problems import ProblemError
from loomwright.web.provided_books import provider_names
from loomwright.web.settings import Settings, current_settings

# Whoever asks without a key makes each process look at its files once in that time.
KEPT_FOR_S = 1.0
RETRY_AFTER_S = 5
Watcher = Callable[[str, bool], None]


@dataclass(frozen=True, slots=True)
class Finding:
    """What is at fault: where, what whoever asks is told, and what the log is told."""

    pointer: str
    message: str
    logged: str


def _of_tables(_: Settings) -> Iterator[Finding]:
    try:
        for load in (tables, fuse_tables, audio_tables, signal_factors, supply_tables, tolerances):
            load()
    except Exception as error:
        # Whatever it is, requests would meet it too.
        yield Finding("/tables", "The tables cannot be loaded.", repr(error))


def _of_keys_file(settings: Settings) -> Iterator[Finding]:
    if settings.keys_file is None:
        return
    try:
        keys_of_file(settings.keys_file)
    except KeyFileError as error:
        yield Finding("/keys_file", "The file of keys cannot be used.", str(error))


def _of_jwt_keys(settings: Settings) -> Iterator[Finding]:
    # An address is not asked: one that is away must not take every instance out of service.
    if not settings.jwt_keys or "://" in settings.jwt_keys:
        return
    try:
        FileKeys(Path(settings.jwt_keys)).key("")
    except KeySetError as error:
        yield Finding("/jwt_keys", "The issuer's file of keys cannot be used.", str(error))


def _of_price_books(settings: Settings) -> Iterator[Finding]:
    try:
        names = mounted_names()
        books = [mounted_book(name) for name in names]
    except ProblemError as error:
        yield Finding("/price_books", "The folder of price books cannot be read.", error.detail)
        return
    for number, book in enumerate(books, 1):
        # None where it went away in between.
        if book is None or not book.faults:
            continue
        named = str(number) if settings.needs_keys else book.name
        which = f"Mounted price book {number} of {len(books)}"
        yield Finding(
            f"/price_books/{pointer_token(named)}",
            f"{which} has {_count(book.faults)}.",
            f"{book.name}: {' '.join(told(book.name, fault) for fault in book.faults)}",
        )


def _count(faults: tuple[Fault, ...]) -> str:
    return f"{len(faults)} fault{'s' if len(faults) > 1 else ''}"


def _of_providers_file(_: Settings) -> Iterator[Finding]:
    try:
        provider_names()
    except ProblemError as error:
        logged = " ".join([error.detail, *(message for _, message in error.errors)])
        yield Finding("/providers_file", "The list of providers cannot be used.", logged)


CHECKS: MappingProxyType[str, Callable[[Settings], Iterator[Finding]]] = MappingProxyType(
    {
        "tables": _of_tables,
        "keys_file": _of_keys_file,
        "jwt_keys": _of_jwt_keys,
        "price_books": _of_price_books,
        "providers_file": _of_providers_file,
    }
)


class Readiness:
    """What the checks of one process find, looked at again after ``KEPT_FOR_S``.

    Parameters
    ----------
    watch
        Told of each check, by name, whether it found nothing.
    """

    def __init__(self, watch: Watcher | None = None) -> None:
        self._watch = watch
        self._lock = threading.Lock()
        self._looked_s = float("-inf")
        self._found: tuple[Finding, ...] = ()

    def findings(self) -> tuple[Finding, ...]:
        """Return what is at fault with the application of the current request; empty if ready."""
        with self._lock:
            if time.monotonic() - self._looked_s < KEPT_FOR_S:
                return self._found
            settings = current_settings()
            found: list[Finding] = []
            for name, check in CHECKS.items():
                of_check = list(check(settings))
                found += of_check
                if self._watch is not None:
                    self._watch(name, not of_check)
            before, self._found = self._found, tuple(found)
            self._looked_s = time.monotonic()
        # A probe comes every few seconds; what stays as it was is not told again.
        for finding in found:
            if finding not in before:
                current_app.logger.error("not ready: %s: %s", finding.pointer, finding.logged)
        if before and not found:
            current_app.logger.warning("ready again")
        return self._found


def register_probes(app: Flask, watch: Watcher | None = None) -> None:
    """Serve the probes.

    Parameters
    ----------
    app
        The application.
    watch
        Told of each check of readiness whether it found nothing.
    """
    readiness = Readiness(watch)

    @app.get(LIVE_PATH)
    def live() -> Response:
        return json_response({"status": "live"})

    @app.get(READY_PATH)
    def ready() -> Response:
        found = readiness.findings()
        if found:
            raise ProblemError(
                "not_ready",
                f"{len(found)} of what requests rest on cannot be used; errors names each.",
                [(finding.pointer, finding.message) for finding in found],
                headers={"Retry-After": str(RETRY_AFTER_S)},
            )
        return json_response({"status": "ready", "engine_version": ENGINE_VERSION})

    @app.get(HEALTH_PATH)
    def health() -> Response:
        return json_response({"status": "ready", "engine_version": ENGINE_VERSION})
