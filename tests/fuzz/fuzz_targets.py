"""What is fuzzed: functions of bytes that come back unless something undocumented happens.

Each takes any bytes at all. A refusal that is documented is no finding; whatever else goes wrong
raises. Nothing here knows the fuzzer, so that the kept corpus is played back without it.
"""

import contextlib
import json
import math
from collections.abc import Callable, Mapping
from functools import cache
from types import MappingProxyType
from typing import Any

import orjson
from flask.testing import FlaskClient
from marshmallow import ValidationError

from loomwright import units
from loomwright.pricing.book_csv import price_book_from_csv
from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.faults import DocumentError
from loomwright.pricing.price_book import PriceBook
from loomwright.web.app import create_app
from loomwright.web.problem_codes import CODES
from loomwright.web.quantities import (
    Flag,
    Key,
    PlainNumber,
    Quantity,
    QuantityList,
    RequestField,
    Text,
    WholeNumber,
)

# The first byte of an input says which of them it is for.
OPERATIONS = (
    "size-conductor",
    "size-fuse",
    "estimate-real-output",
    "match-load-impedance",
    "plan-signal-path",
    "assess-supply",
    "solve-network",
    "check-measurements",
    "check-price-book",
    "build-bill-of-materials",
    "build-work-order",
    "draw-time-current",
    "draw-drop-against-length",
    "draw-output-against-claim",
    "draw-voltage-path",
    "draw-installation",
)
BATCH_TYPES = (
    "application/json",
    "application/x-ndjson",
    "text/csv",
    "application/vnd.apache.arrow.stream",
)
BOOK_FORMS = ("document", "csv")
# Greater ones are refused by their length alone.
GREATEST_INPUT_BYTES = 64 * 1024
GREATEST_MAGNITUDE = 1e6


class FindingError(AssertionError):
    """Something that no document says happened."""


@cache
def _client() -> FlaskClient:
    return create_app().test_client()


def _kinds() -> list[units.QuantityKind]:
    return [kind for kind in vars(units).values() if isinstance(kind, units.QuantityKind)]


@cache
def _fields() -> tuple[RequestField[Any], ...]:
    quantities = [
        field
        for kind in _kinds()
        for field in (
            Quantity(kind, -GREATEST_MAGNITUDE, GREATEST_MAGNITUDE),
            QuantityList(kind, 0.0, GREATEST_MAGNITUDE, 3),
        )
    ]
    return (
        *quantities,
        PlainNumber(-GREATEST_MAGNITUDE, GREATEST_MAGNITUDE),
        WholeNumber(0, 1000),
        Key(("awg", "mm2")),
        Flag(),
        Text(40),
    )


def _is_sound(field: RequestField[Any], value: Any) -> bool:
    if isinstance(field, QuantityList):
        return 1 <= len(value) <= field.greatest_count and all(map(math.isfinite, value))
    if isinstance(field, (Quantity, PlainNumber, WholeNumber)):
        return math.isfinite(value)
    return isinstance(value, (str, bool))


def quantities(data: bytes) -> None:
    """Load bytes as the text of a quantity and, where they are JSON, as the value itself."""
    text = data.decode("utf-8", "replace")
    stated: list[Any] = [text]
    with contextlib.suppress(orjson.JSONDecodeError):
        stated.append(orjson.loads(data))
    for value in stated:
        if value is None:
            continue
        for field in _fields():
            try:
                loaded = field.loaded(value)
            except ValidationError:
                continue
            if not _is_sound(field, loaded):
                raise FindingError(f"{field} takes {value!r} for {loaded!r}")
    for kind in _kinds():
        found = kind.si_of_text(text)
        if found is not None and math.isnan(found):
            raise FindingError(f"{kind.key} takes {text!r} for no number")


def _check_problem(status: int, document: Mapping[str, Any]) -> None:
    code = document.get("code")
    if code not in CODES or status >= 500:
        raise FindingError(f"{status}: {json.dumps(document)[:2000]}")


def _check_answer(path: str, body: bytes, media_type: str) -> None:
    response = _client().post(path, data=body, content_type=media_type)
    if response.status_code != 200:
        _check_problem(response.status_code, response.get_json())
        return
    if b'"internal_error"' in response.data:
        raise FindingError(response.text[:2000])


def bodies(data: bytes) -> None:
    """Send bytes as the body of an operation, which the first of them chooses."""
    if not data or len(data) > GREATEST_INPUT_BYTES:
        return
    operation = OPERATIONS[data[0] % len(OPERATIONS)]
    _check_answer(f"/v1/{operation}", data[1:], "application/json")


def batches(data: bytes) -> None:
    """Send bytes as the body of price-packages in a form, which the first of them chooses."""
    if not data or len(data) > GREATEST_INPUT_BYTES:
        return
    media_type = BATCH_TYPES[data[0] % len(BATCH_TYPES)]
    _check_answer("/v1/price-packages?as=json", data[1:], media_type)


_READERS: Mapping[str, Callable[[object], PriceBook]] = MappingProxyType(
    {"document": price_book_from_document, "csv": price_book_from_csv}
)


def price_books(data: bytes) -> None:
    """Read bytes as the JSON of a price book, or of its tables."""
    if not data or len(data) > GREATEST_INPUT_BYTES:
        return
    form = BOOK_FORMS[data[0] % len(BOOK_FORMS)]
    try:
        document = orjson.loads(data[1:])
    except orjson.JSONDecodeError:
        return
    try:
        book = _READERS[form](document)
    except DocumentError as error:
        if not error.faults or not all(fault.message for fault in error.faults):
            raise FindingError("refused without a reason") from error
        return
    if not book.digest or not book.name:
        raise FindingError("a book without a digest or a name")


TARGETS: Mapping[str, Callable[[bytes], None]] = MappingProxyType(
    {each.__name__: each for each in (quantities, bodies, batches, price_books)}
)
