"""How many requests each caller may make: the library ``limits`` counts, this asks it.

Off unless ``LOOMWRIGHT_RATE_LIMIT`` is set: on the loopback the only callers are the machine's own,
and a nightly batch or a recalculated sheet rightly asks a thousand times in a second. Counters are
kept in each process by default, so that with several the real limit is as many times higher;
``LOOMWRIGHT_RATE_LIMIT_STORAGE`` names a Redis that all count in.

A storage that fails stops nobody: requests are served uncounted, without ``RateLimit`` headers, the
log says so, and the storage is left alone for five seconds.
"""

import math
import time
from dataclasses import dataclass

from flask import Flask, Request, Response, current_app
from flask.globals import request_ctx
from limits import RateLimitItem, parse_many
from limits.errors import StorageError
from limits.storage import storage_from_string
from limits.strategies import FixedWindowRateLimiter

from loomwright.web.access import headless_answer, known_caller
from loomwright.web.described_http import PROBE_PATHS
from loomwright.web.pages.serving import page_paths
from loomwright.web.problems import ProblemError
from loomwright.web.settings import Settings

LEFT_ALONE_S = 5.0
_REDIS_WAIT_S = 0.25
# A window that others count in may have begun a moment ago by another clock.
_CLOCK_SPREAD_S = 1
_REFUSED = "too_many_requests"
_HEADERS = "loomwright.quota"


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a caller stands under one limit: requests left, seconds until it begins anew."""

    limit: RateLimitItem
    is_within: bool
    remaining: int
    reset_s: int


class Quota:
    """Counts the requests of callers.

    Parameters
    ----------
    settings
        With the limits and the storage.
    """

    def __init__(self, settings: Settings) -> None:
        address = settings.rate_limit_storage
        options: dict[str, float] = {}
        if not address.startswith("memory:"):
            # The options of the Redis client: an unreachable storage must not hold a request up.
            options = {"socket_timeout": _REDIS_WAIT_S, "socket_connect_timeout": _REDIS_WAIT_S}
        storage = storage_from_string(address, wrap_exceptions=True, **options)
        self._limiter = FixedWindowRateLimiter(storage)
        self._limits = parse_many(settings.rate_limit)
        self._failed_s = float("-inf")

    def standing(self, who: str) -> Standing | None:
        """Count a request of a caller.

        Parameters
        ----------
        who
            The caller.

        Returns
        -------
        Standing or None
            Under the limit with the least left; none where the storage fails.
        """
        if time.monotonic() - self._failed_s < LEFT_ALONE_S:
            return None
        try:
            found = [self._under(limit, who) for limit in self._limits]
        except StorageError as error:
            self._failed_s = time.monotonic()
            current_app.logger.error("requests are served uncounted: %r", error.storage_error)
            return None
        return min(found, key=lambda each: (each.is_within, each.remaining, -each.reset_s))

    def _under(self, limit: RateLimitItem, who: str) -> Standing:
        is_within = self._limiter.hit(limit, who)
        reset, remaining = self._limiter.get_window_stats(limit, who)
        window_s = limit.get_expiry()
        if reset - time.time() > window_s + _CLOCK_SPREAD_S:
            # The clock was set back: the window would not end before it is there again.
            self._limiter.clear(limit, who)
            is_within = self._limiter.hit(limit, who)
            reset, remaining = self._limiter.get_window_stats(limit, who)
        # Rounded up: who waits that long finds a new window.
        wait_s = min(max(1, math.ceil(reset - time.time())), window_s)
        return Standing(limit, is_within, max(0, remaining), wait_s)


def register_quota(app: Flask, settings: Settings) -> None:
    """Make an application refuse a caller's requests above the limit.

    Nothing is registered where there is no limit. Access comes first, so that a request with a key
    counts for the key and others for the address they come from.

    Parameters
    ----------
    app
        The application.
    settings
        With the limits.
    """
    if not settings.rate_limit:
        return
    quota = Quota(settings)
    pages = page_paths(app)

    @app.before_request
    def count() -> Response | None:
        request = request_ctx.request
        rule = request.url_rule
        path = "" if rule is None else rule.rule
        # A page comes with its files, all kept ready: as many requests that cost next to nothing.
        if request.method == "OPTIONS" or path in PROBE_PATHS or path in pages:
            return None
        # HEAD has a count of its own: it costs GET nothing, and cannot be asked without end.
        is_head = request.method == "HEAD"
        standing = quota.standing(f"{_who(request)}{' HEAD' if is_head else ''}")
        if standing is None:
            return None
        if is_head:
            return None if standing.is_within else headless_answer(_REFUSED)
        headers = request.environ[_HEADERS] = _quota_headers(standing)
        if standing.is_within:
            return None
        raise ProblemError(
            _REFUSED,
            f"More than {standing.limit} from this caller; wait {standing.reset_s} s.",
            headers={**headers, "Retry-After": str(standing.reset_s)},
        )

    @app.after_request
    def tell(response: Response) -> Response:
        response.headers.update(request_ctx.request.environ.get(_HEADERS, {}))
        return response


def _who(request: Request) -> str:
    caller = known_caller(request)
    if caller is not None:
        return f"key {caller.identifier}"
    return f"address {request.environ.get('REMOTE_ADDR', '')}"


def _quota_headers(standing: Standing) -> dict[str, str]:
    """Return the fields of draft-ietf-httpapi-ratelimit-headers-10."""
    limit = standing.limit
    name = f'"{limit.amount}-per-{limit.get_expiry()}s"'
    return {
        "RateLimit": f"{name};r={standing.remaining};t={standing.reset_s}",
        "RateLimit-Policy": f"{name};q={limit.amount};w={limit.get_expiry()}",
    }
