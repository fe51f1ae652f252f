"""The words of documents in each language, from gettext catalogues.

English words are their own keys (``msgid``). The catalogues are plain ``.po`` files, read once for
each process.
"""

from collections.abc import Mapping
from functools import cache
from importlib import resources
from io import BytesIO
from types import MappingProxyType

from babel.messages.pofile import read_po

ENGLISH = "en"
# What is translated; English needs no catalogue.
TRANSLATED = ("de", "es")


@cache
def catalogue(language: str) -> Mapping[str, str]:
    """Return the texts of a language by their English.

    Parameters
    ----------
    language
        One of ``TRANSLATED``, or ``ENGLISH``, which has no entries.

    Returns
    -------
    Mapping
        Every text of every document.
    """
    if language == ENGLISH:
        return MappingProxyType({})
    path = resources.files("loomwright.documents") / "locales" / f"{language}.po"
    read = read_po(BytesIO(path.read_bytes()), locale=language, abort_invalid=True)
    return MappingProxyType(
        {str(message.id): str(message.string) for message in read if message.id}
    )
