"""Bytes of a batch as they come in, packed or not."""

import gzip
import io
import zlib
from typing import Protocol

from loomwright.batch.forms.form_error import MALFORMED_GZIP, TOO_LARGE, FormError

_BUFFER_SIZE = 1 << 18


class Readable(Protocol):
    """A source of bytes, such as an open file or the body of a request."""

    def read(self, size: int = -1, /) -> bytes:
        """Return up to so many bytes, none at the end."""


class _Source(io.RawIOBase):
    """Makes a file of a source, which stays open when the file is closed."""

    def __init__(self, source: Readable, most_bytes: int | None) -> None:
        self._source = source
        self._most_bytes = most_bytes
        self._count = 0

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: "memoryview") -> int:  # type: ignore[override]
        part = self._read(len(buffer))
        self._count += len(part)
        if self._most_bytes is not None and self._count > self._most_bytes:
            message = f"At most {self._most_bytes} bytes are read; send the batch in parts."
            raise FormError(TOO_LARGE, message)
        buffer[: len(part)] = part
        return len(part)

    def _read(self, size: int) -> bytes:
        return self._source.read(size)


class _Unpacked(_Source):
    """The content of a packed source."""

    def __init__(self, source: Readable, most_bytes: int | None) -> None:
        packed = io.BufferedReader(_Source(source, None), _BUFFER_SIZE)
        super().__init__(gzip.GzipFile(fileobj=packed), most_bytes)

    def _read(self, size: int) -> bytes:
        try:
            return super()._read(size)
        except (gzip.BadGzipFile, EOFError, zlib.error) as error:
            message = f"Not gzip, or a stream that ends too early: {error}."
            raise FormError(MALFORMED_GZIP, message) from error


def opened(
    source: Readable, *, gzipped: bool = False, most_bytes: int | None = None
) -> io.BufferedReader:
    """Return a source as a buffered file.

    Parameters
    ----------
    source
        Stays open when the file is closed.
    gzipped
        Whether its bytes are packed (RFC 1952).
    most_bytes
        Limit of what is read, unpacked; none for no limit.

    Returns
    -------
    io.BufferedReader
        Reading from it raises ``FormError`` where the source is not gzip or above the limit.
    """
    kind = _Unpacked if gzipped else _Source
    return io.BufferedReader(kind(source, most_bytes), _BUFFER_SIZE)
