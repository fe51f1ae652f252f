"""Who may see cost and margin: keys that the operator lists by their digests."""

import hashlib
import hmac
import os
from pathlib import Path

from flask import Request

from loomwright.web.problems import ProblemError

SETTING = "LOOMWRIGHT_COST_KEYS_FILE"
_SCHEME = "Bearer "


def require_cost_key(request: Request, pointer: str = "/pricing/show_cost") -> None:
    """Refuse a request without a key that may see cost and margin.

    The key comes as ``Authorization: Bearer``. The file that ``LOOMWRIGHT_COST_KEYS_FILE`` names
    holds the SHA-256 of each such key in hexadecimal, one on a line; no key is ever stored. The
    file is read each time, so that a key is withdrawn at once; without it no key serves.

    Parameters
    ----------
    request
        The request.
    pointer
        The member of the request that asks for cost.

    Raises
    ------
    ProblemError
        ``key_required`` without a key; ``key_not_permitted`` with one that is not listed.
    """
    header = request.headers.get("Authorization", "")
    if not header.startswith(_SCHEME):
        raise ProblemError(
            "key_required",
            "Cost and margin are shown to keys that may see them only.",
            [(pointer, "send the key as Authorization: Bearer, or leave it out")],
        )
    digest = hashlib.sha256(header.removeprefix(_SCHEME).strip().encode()).hexdigest()
    # Every listed digest is compared, and in constant time, so that time tells nothing.
    matches = [hmac.compare_digest(digest, listed) for listed in _listed_digests()]
    if not any(matches):
        raise ProblemError(
            "key_not_permitted",
            "This key may not see cost and margin.",
            [(pointer, "leave it out, or use a key that may see cost")],
        )


def _listed_digests() -> list[str]:
    name = os.environ.get(SETTING)
    if not name:
        return []
    return [line.strip().lower() for line in Path(name).read_text("ascii").splitlines()]
