"""Who may ask for what: keys of the operator's file and tokens of an issuer, by scope."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from types import MappingProxyType

from flask import Flask, Request, Response, current_app
from flask.globals import request_ctx

from loomwright.web.described_http import OPENAPI_PATH, PROBE_PATHS, QUERY_KEY
from loomwright.web.jwks import KeySetError
from loomwright.web.key_file import (
    CALCULATE,
    COST,
    PRICE,
    SPREADSHEET,
    KeyFileError,
    key_of_text,
    keys_of_file,
)
from loomwright.web.openapi import Operation
from loomwright.web.pages.serving import page_paths
from loomwright.web.problems import ProblemError
from loomwright.web.settings import Settings, current_settings
from loomwright.web.signals.exchange import note_problem
from loomwright.web.tokens import TokenError, TokenVerifier, is_token

# What needs no key, beside pages: whether the service is up, and what it offers.
OPEN_PATHS = PROBE_PATHS | {OPENAPI_PATH, "/v1/problems"}
_SCOPE_OF_TAG = MappingProxyType({"engineering": CALCULATE, "pricing": PRICE})
_CALLER = "loomwright.caller"
_TOKEN = "token"
_RETRY_AFTER_S = 30


@dataclass(frozen=True, slots=True)
class Caller:
    """Who asks: identifier of the key or subject of the token, scopes, and how it came."""

    identifier: str
    scopes: frozenset[str]
    by_query: bool = False


def register_access(app: Flask, settings: Settings, operations: Iterable[Operation]) -> None:
    """Make every operation of an application need a key or token with its scope.

    Nothing is registered where the service is open.

    Parameters
    ----------
    app
        The application.
    settings
        Whether keys are needed.
    operations
        All operations.
    """
    if not settings.needs_keys:
        return
    offered = list(operations)
    scopes = {each.url: _SCOPE_OF_TAG[each.tag] for each in offered if each.url not in OPEN_PATHS}
    calculators = frozenset(each.url for each in offered if each.with_query)
    pages = page_paths(app)

    @app.before_request
    def admit() -> Response | None:
        request = request_ctx.request
        rule = request.url_rule
        # An unknown path or method is told as such. OPTIONS tells methods, and nothing else.
        if rule is None or request.method == "OPTIONS":
            return None
        path = rule.rule
        if path in OPEN_PATHS or path in pages:
            return None
        try:
            # A path that no operation names asks for the widest scope.
            scope = scopes.get(path, PRICE)
            _require(request, scope, path in calculators and request.method in ("GET", "HEAD"))
        except ProblemError as error:
            if request.method != "HEAD":
                raise
            return headless_answer(error.code)
        return None


def headless_answer(code: str) -> Response:
    """Return the answer to HEAD where GET would be refused for want of a key or of quota.

    A spreadsheet asks HEAD before GET and gives the cell up when it fails. Nothing is computed and
    nothing is told.

    Parameters
    ----------
    code
        Problem code of the refusal, for those who watch.

    Returns
    -------
    Response
        Without content.
    """
    note_problem(code)
    return Response(status=200, headers={"Cache-Control": "no-store"})


def _require(request: Request, scope: str, is_sheet: bool) -> None:
    caller = caller_of(request, is_sheet=is_sheet)
    if scope in caller.scopes or (is_sheet and SPREADSHEET in caller.scopes):
        return
    raise ProblemError("key_not_permitted", f"This operation needs the scope {scope}.")


def require_cost_key(request: Request, pointer: str = "/pricing/show_cost") -> None:
    """Refuse a request without a key or token that may see cost and margin.

    This holds for an open service, too.

    Parameters
    ----------
    request
        The request.
    pointer
        The member of the request that asks for cost.

    Raises
    ------
    ProblemError
        ``key_required``, ``key_not_accepted``, ``key_expired`` or ``key_not_permitted``.
    """
    advice = "leave it out, or send a key that may see cost as Authorization: Bearer"
    try:
        caller = caller_of(request, is_sheet=False)
    except ProblemError as error:
        raise ProblemError(
            error.code, error.detail, [(pointer, advice)], headers=error.headers
        ) from None
    if COST not in caller.scopes:
        raise ProblemError(
            "key_not_permitted", "This key may not see cost and margin.", [(pointer, advice)]
        )


def caller_of(request: Request, *, is_sheet: bool) -> Caller:
    """Return who asks.

    Parameters
    ----------
    request
        With a key or token as ``Authorization: Bearer``, or with a key in the query.
    is_sheet
        Whether a key may stand in the query.

    Returns
    -------
    Caller
        Found once for each request.

    Raises
    ------
    ProblemError
        Nothing is sent, or what is sent is not accepted.
    """
    known: Caller | None = request.environ.get(_CALLER)
    if known is None:
        known = request.environ[_CALLER] = _found_caller(request, is_sheet)
    return known


def known_caller(request: Request) -> Caller | None:
    """Return who asks where that has been found already, else none."""
    caller: Caller | None = request.environ.get(_CALLER)
    return caller


def caller_name(environ: dict[str, object]) -> str:
    """Return who asked, for a log: the identifier of a key, or ``token``; empty where unknown.

    What stands in a token is somebody's name, and is not told.

    Parameters
    ----------
    environ
        Of a request that was answered.

    Returns
    -------
    str
        Of letters, digits, dots, hyphens and underscores.
    """
    caller = environ.get(_CALLER)
    if not isinstance(caller, Caller):
        return ""
    return _TOKEN if caller.identifier.startswith(f"{_TOKEN}:") else caller.identifier


def _found_caller(request: Request, is_sheet: bool) -> Caller:
    scheme, _, stated = request.environ.get("HTTP_AUTHORIZATION", "").partition(" ")
    credential = stated.strip() if scheme.lower() == "bearer" else ""
    in_query = request.args.getlist(QUERY_KEY)
    if in_query:
        if credential or not is_sheet or len(in_query) > 1:
            raise ProblemError(
                "key_misplaced",
                "A key stands in the address only for GET of an engineering operation, once, and "
                "with none in the header.",
            )
        return _caller_of_key(in_query[0], by_query=True)
    if not credential:
        raise ProblemError("key_required", "No key is sent with the request.")
    settings = current_settings()
    if settings.jwt_issuer and is_token(credential):
        return _caller_of_token(credential, settings)
    return _caller_of_key(credential, by_query=False)


def _caller_of_key(text: str, *, by_query: bool) -> Caller:
    path = current_settings().keys_file
    try:
        key = None if path is None else key_of_text(text, keys_of_file(path))
    except KeyFileError as error:
        # The file's faults are the operator's to read, not the caller's.
        current_app.logger.error("the file of keys cannot be used: %s", error)
        raise _unavailable() from None
    if key is None:
        raise ProblemError("key_not_accepted", "The key is none of those that are known.")
    if not key.is_in_force(datetime.now(UTC)):
        raise ProblemError("key_expired", "The key is not valid yet, or not any more.")
    if by_query and SPREADSHEET not in key.scopes:
        raise ProblemError("key_not_permitted", "This key may not stand in an address.")
    return Caller(key.id, key.scopes, by_query)


@lru_cache(maxsize=4)
def _verifier(settings: Settings) -> TokenVerifier:
    return TokenVerifier(settings)


def _caller_of_token(token: str, settings: Settings) -> Caller:
    try:
        subject, scopes = _verifier(settings).subject_and_scopes(token)
    except KeySetError as error:
        current_app.logger.error("the keys of the issuer cannot be had: %s", error)
        raise _unavailable() from None
    except TokenError as error:
        code = "key_expired" if error.is_out_of_time else "key_not_accepted"
        raise ProblemError(code, str(error)) from None
    return Caller(f"{_TOKEN}:{subject}", scopes)


def _unavailable() -> ProblemError:
    return ProblemError(
        "access_unavailable",
        "Keys cannot be checked at present.",
        headers={"Retry-After": str(_RETRY_AFTER_S)},
    )
