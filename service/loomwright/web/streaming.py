"""Answers that are sent while they are made."""

from collections.abc import Callable, Iterator, Mapping
from logging import Logger
from typing import Any, TypeVar

import orjson
from flask import Response

from loomwright.batch.array_engine import engine_of
from loomwright.batch.engine import Batch, Pairs, batches
from loomwright.batch.forms.writing import ROW_WRITERS, ndjson_rows
from loomwright.batch.guarded import GuardedEngine
from loomwright.batch.rows import Rows
from loomwright.batch.summary import Summary
from loomwright.engineering.record import record
from loomwright.web.forms.form import JSON_NAME, Form
from loomwright.web.signals.exchange import STREAM

# The first rows come at once, and twice as many each time up to what keeps memory small and an
# engine that works by the array busy: a package for as many vehicles as a request may have.
ROWS_AT_FIRST = 16
ROWS_AT_ONCE = 20_000
# Failures of one request that are written to the log in full.
GREATEST_LOGGED = 10

_Item = TypeVar("_Item")


@record
class Stream:
    """What is priced, and what its summary says beside the counts.

    Parameters
    ----------
    batch
        Packages, vehicles and pricing.
    pairs
        Listed pairs; every package for every vehicle for none.
    told
        Members of the summary.
    """

    batch: Batch
    pairs: Pairs | None
    told: Mapping[str, Any]


class ToldSummary(Summary):
    """A summary that also says what the rows rest on.

    Parameters
    ----------
    currency
        ISO 4217 code of all amounts.
    told
        Members beside the counts, in plain JSON values.
    """

    def __init__(self, currency: str, told: Mapping[str, Any]) -> None:
        super().__init__(currency)
        self._told = told

    def document(self) -> dict[str, Any]:
        """Return the summary as plain JSON values."""
        return {**super().document(), **self._told}


class LoggedFailures:
    """Writes pairs on which the service fails to the log, with the request that they are of.

    Parameters
    ----------
    logger
        Of the application.
    request_id
        Of the request.
    """

    def __init__(self, logger: Logger, request_id: str) -> None:
        self._logger = logger
        self._request_id = request_id
        self._count = 0

    def __call__(self, package: str, vehicle: str, error: Exception) -> None:
        """Write one failure; after some, that there are more."""
        self._count += 1
        if self._count <= GREATEST_LOGGED:
            # Keys are the caller's, and must not begin a line of their own.
            self._logger.error(
                "request %s: no quote of package %r for vehicle %r",
                self._request_id,
                package,
                vehicle,
                exc_info=error,
            )
        elif self._count == GREATEST_LOGGED + 1:
            self._logger.error("request %s: further failures are not told", self._request_id)


def streamed(
    stream: Stream, form: Form, failed: LoggedFailures, environ: dict[str, Any]
) -> Response:
    """Return rows as an answer that is sent while they are worked out.

    The first rows are worked out before the status is sent, so that what fails altogether is a
    problem with a status of its own. Nothing asks the application or the request any more once the
    answer has begun, so that neither is kept for it. Where the caller hangs up the server closes
    the answer, and with it goes whatever would have asked for more rows.

    Parameters
    ----------
    stream
        What is priced.
    form
        Of the answer.
    failed
        Told of pairs on which the service fails.
    environ
        Of the request; whoever watches it finds the summary there, and in it the counts once the
        answer has ended.

    Returns
    -------
    Response
        With status 200, without a length.
    """
    batch = stream.batch
    currency = batch.pricing.book.currency
    summary = ToldSummary(currency, stream.told)
    engine = GuardedEngine(engine_of(batch), batch, failed)
    rows = batches(engine, batch, stream.pairs, ROWS_AT_ONCE, ROWS_AT_FIRST)
    pieces = _WRITERS[form.name](started(summary.passing(rows)), currency, summary)
    response = Response(started(pieces), content_type=form.content_type)
    response.headers["Vary"] = "Accept"
    environ[STREAM] = summary
    return response


def started(items: Iterator[_Item]) -> Iterator[_Item]:
    """Return an iterator over the same items, of which the first has been asked for already."""
    for first in items:
        return _resumed(first, items)
    return items


def _resumed(first: _Item, others: Iterator[_Item]) -> Iterator[_Item]:
    yield first
    yield from others


def json_rows(
    rows: Iterator[Rows], currency: str, summary: Summary | None = None
) -> Iterator[bytes]:
    """Yield rows as one JSON object.

    Parameters
    ----------
    rows
        Of one batch.
    currency
        ISO 4217 code of all amounts.
    summary
        The last member, with what it counts by then.

    Yields
    ------
    bytes
        Lines of NDJSON as the entries of a list, with what stands around them.
    """
    before = b'{"rows":['
    for lines in ndjson_rows(rows, currency):
        # Within a text of JSON no line ends.
        yield before + lines[:-1].replace(b"\n", b",")
        before = b","
    opened = b"" if before == b"," else before
    told = None if summary is None else summary.document()
    yield opened + b'],"summary":' + orjson.dumps(told) + b"}"


_WRITERS: Mapping[str, Callable[[Iterator[Rows], str, Summary | None], Iterator[bytes]]] = {
    JSON_NAME: json_rows,
    **ROW_WRITERS,
}
