"""Identifiers of requests."""

import os
import re

from flask import Request

GREATEST_ID_LENGTH = 128
# Visible and without a meaning to logs, shells and markup.
_ID = re.compile(rf"[A-Za-z0-9._~+/=:@-]{{1,{GREATEST_ID_LENGTH}}}", re.ASCII)
_ENVIRON_ID = "loomwright.request_id"


def request_id(request: Request) -> str:
    """Return the identifier of a request: the caller's where it is a safe one, else a new one."""
    return id_of_environ(request.environ)


def id_of_environ(environ: dict[str, object]) -> str:
    """Return the identifier of the request of a WSGI environment, the same each time."""
    known = environ.get(_ENVIRON_ID)
    if not isinstance(known, str):
        stated = environ.get("HTTP_X_REQUEST_ID")
        is_safe = isinstance(stated, str) and _ID.fullmatch(stated)
        known = str(stated) if is_safe else new_id()
        environ[_ENVIRON_ID] = known
    return known


def new_id() -> str:
    """Return a new identifier: 32 hexadecimal digits."""
    return os.urandom(16).hex()
