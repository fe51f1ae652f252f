"""Providers over HTTP: documents asked for, and asked for again only if they changed."""

import re
import threading
from collections import OrderedDict
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any

import orjson

from loomwright.pricing.faults import Fault
from loomwright.providers.configuration import HttpSettings
from loomwright.providers.connection import (
    Received,
    RefusedError,
    Resolve,
    received,
    resolved_addresses,
)
from loomwright.providers.provider import KINDS, Document, FaultyError, UnavailableError
from loomwright.unique_members import json_of_unique_members

_JSON = "application/json"
_STRONG_TAG = re.compile(r'"[\x21\x23-\x7e\x80-\xff]*"')
# Of bodies as they were sent, and what each takes beside; what is read from them takes several
# times as much.
_KEPT_BYTES, _BESIDE_BYTES = 64 * 1024 * 1024, 4096
_LONGEST_RETRY_S = 3600
_DEFAULT_RETRY_S = 30
_TOO_BUSY = (
    HTTPStatus.REQUEST_TIMEOUT,
    HTTPStatus.TOO_MANY_REQUESTS,
    HTTPStatus.SERVICE_UNAVAILABLE,
)


@dataclass(frozen=True)
class _Kept:
    tag: str
    document: Document
    size: int


# Documents with a strong tag, by provider, address, token and path; the least used go first.
_kept: OrderedDict[tuple[str, HttpSettings, str, str], _Kept] = OrderedDict()
_lock = threading.Lock()


class HttpProvider:
    """A provider over HTTP.

    Parameters
    ----------
    name
        Name that the operator gave it.
    settings
        How it is reached.
    resolve
        Look-up of a host's addresses.
    """

    def __init__(
        self, name: str, settings: HttpSettings, resolve: Resolve = resolved_addresses
    ) -> None:
        self._name = name
        self._settings = settings
        self._resolve = resolve

    def capabilities(self) -> Document | None:
        """Return what the provider serves."""
        return self._asked("/capabilities")

    def price_book(self, name: str) -> Document | None:
        """Return the price book of a name."""
        return self._of_book(name, "price_book")

    def labour_rates(self, name: str) -> Document | None:
        """Return the labour rates that go with a price book."""
        return self._of_book(name, "labour_rates")

    def tax_rules(self, name: str) -> Document | None:
        """Return the tax rules that go with a price book."""
        return self._of_book(name, "tax_rules")

    def stock(self, name: str) -> Document | None:
        """Return the stock of what a price book sells."""
        return self._of_book(name, "stock")

    def mapping(self, name: str) -> Document | None:
        """Return the shop's own numbers for what a price book sells."""
        return self._of_book(name, "mapping")

    def _of_book(self, name: str, kind: str) -> Document | None:
        return self._asked(f"/price-books/{name}{KINDS[kind]}")

    def _asked(self, path: str) -> Document | None:
        token = self._token()
        key = (self._name, self._settings, token, path)
        with _lock:
            kept = _kept.get(key)
            if kept is not None:
                _kept.move_to_end(key)
        headers = {"Accept": f"{_JSON}, application/problem+json"}
        if token:
            headers["Authorization"] = f"Bearer {token}"
        if kept is not None:
            headers["If-None-Match"] = kept.tag
        try:
            answer = received(self._settings, path, headers, self._resolve)
        except RefusedError as error:
            raise FaultyError(self._name, [Fault(path, f"Refused: {error}.")]) from None
        except (OSError, ValueError) as error:
            # A host name or a token that no request can carry is a ValueError. The words of the
            # system name addresses of the operator's network.
            why = "does not answer in time" if isinstance(error, TimeoutError) else "is not reached"
            raise UnavailableError(self._name, why) from error
        if answer.status == HTTPStatus.NOT_FOUND:
            return None
        if answer.status == HTTPStatus.NOT_MODIFIED and kept is not None:
            return kept.document
        if answer.status != HTTPStatus.OK:
            raise UnavailableError(self._name, f"answers {answer.status}", _retry_after_s(answer))
        document = self._document(path, answer)
        self._keep(key, answer, document)
        return document

    def _token(self) -> str:
        file = self._settings.token_file
        if file is None:
            return ""
        try:
            return file.read_text("ascii").strip()
        except (OSError, UnicodeDecodeError) as error:
            raise UnavailableError(self._name, "has a token that cannot be read") from error

    def _document(self, path: str, answer: Received) -> Document:
        media_type = answer.headers.get("content-type", "").partition(";")[0].strip().lower()
        if media_type != _JSON:
            said = media_type or "no media type"
            raise FaultyError(self._name, [Fault(path, f"{_JSON} is needed, not {said}.")])
        try:
            document: Any = json_of_unique_members(answer.body)
        except orjson.JSONDecodeError as error:
            raise FaultyError(self._name, [Fault(path, f"Not JSON: {error}.")]) from None
        if not isinstance(document, dict):
            raise FaultyError(self._name, [Fault(path, "An object is needed.")])
        return document

    def _keep(
        self, key: tuple[str, HttpSettings, str, str], answer: Received, document: Document
    ) -> None:
        tag = answer.headers.get("etag", "")
        with _lock:
            _kept.pop(key, None)
            if _STRONG_TAG.fullmatch(tag):
                _kept[key] = _Kept(tag, document, len(answer.body) + _BESIDE_BYTES)
            while sum(each.size for each in _kept.values()) > _KEPT_BYTES:
                _kept.popitem(last=False)


def _retry_after_s(answer: Received) -> int:
    stated = answer.headers.get("retry-after", "")
    if answer.status in _TOO_BUSY and stated.isascii() and stated.isdigit() and len(stated) < 9:
        return max(1, min(int(stated), _LONGEST_RETRY_S))
    return _DEFAULT_RETRY_S
