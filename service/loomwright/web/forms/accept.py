"""The best media type for an ``Accept`` header."""

from functools import lru_cache

from werkzeug.datastructures import MIMEAccept
from werkzeug.http import parse_accept_header

# A longer header is read anew each time, so that nobody fills the memory with remembered ones.
_LONGEST_REMEMBERED = 200


def best_media_type(header: str, offered: tuple[str, ...]) -> str | None:
    """Return the media type that a caller likes best.

    The most specific range that fits a type gives its quality (RFC 9110, 12.5.1). Among types of
    equal quality one that is named wins over one that a wildcard covers, and then the first
    offered.

    Parameters
    ----------
    header
        Value of ``Accept``; empty stands for no wish.
    offered
        Media types without parameters, the preferred first.

    Returns
    -------
    str or None
        One of those offered, or none where all are refused.
    """
    if not header:
        return offered[0]
    best = _remembered if len(header) <= _LONGEST_REMEMBERED else _best
    return best(header, offered)


def _best(header: str, offered: tuple[str, ...]) -> str | None:
    accepted = parse_accept_header(header, MIMEAccept)
    # No form comes in several that differ by a parameter, so "application/json; charset=utf-8"
    # asks for no other thing than "application/json".
    bare = MIMEAccept([(item.partition(";")[0].strip(), quality) for item, quality in accepted])
    return bare.best_match(offered)


_remembered = lru_cache(maxsize=256)(_best)
