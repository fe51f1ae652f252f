"""Messages of an Arrow IPC stream, looked at before Arrow reads them.

A compressed buffer states how long it gets, and Arrow has no limit for that: some kilobytes may
become gigabytes before anyone is asked. So compressed buffers are refused here; a stream that is
packed as a whole is read under a limit (``streams``).

References
----------
Apache Arrow columnar format 1.5, encapsulated message format; its ``Message.fbs``, from which the
numbers of fields and headers are (memory).
"""

import io
import struct
from collections.abc import Iterator
from typing import IO

from loomwright.batch.forms.form_error import MALFORMED_ARROW, FormError

_CONTINUATION = b"\xff\xff\xff\xff"
_END = b"\0\0\0\0"
_PIECE = 1 << 18
# A schema of ten thousand columns takes some two megabytes.
_LONGEST_METADATA = 1 << 24
_HEADER_TYPE, _HEADER, _BODY_LENGTH = 1, 2, 3
_DICTIONARY_BATCH, _RECORD_BATCH = 2, 3
_DATA_OF_DICTIONARY = 1
_COMPRESSION = 3
_COMPRESSED = (
    "Buffers of the stream are compressed; write it without compression, and pack it as a whole "
    "with gzip instead."
)


class _Frames(io.RawIOBase):
    """The bytes of a stream, message by message."""

    def __init__(self, stream: IO[bytes]) -> None:
        self._pieces = _pieces(stream)
        self._rest = b""

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: "memoryview") -> int:  # type: ignore[override]
        rest = self._rest or next(self._pieces, b"")
        part, self._rest = rest[: len(buffer)], rest[len(buffer) :]
        buffer[: len(part)] = part
        return len(part)


def uncompressed(stream: IO[bytes]) -> IO[bytes]:
    """Return an Arrow IPC stream that ends in ``FormError`` where a message is compressed.

    Parameters
    ----------
    stream
        Open for reading.

    Returns
    -------
    file
        The same bytes.
    """
    return io.BufferedReader(_Frames(stream), _PIECE)


def _pieces(stream: IO[bytes]) -> Iterator[bytes]:
    while True:
        mark, size = stream.read(4), stream.read(4)
        yield mark + size
        if not mark or (mark == _CONTINUATION and size == _END):
            return
        if mark != _CONTINUATION or len(size) < 4:
            message = "Not an Arrow IPC stream, or one that ends too early."
            raise FormError(MALFORMED_ARROW, message)
        length = int.from_bytes(size, "little")
        if length > _LONGEST_METADATA:
            message = f"Metadata of a message is longer than {_LONGEST_METADATA} bytes."
            raise FormError(MALFORMED_ARROW, message)
        metadata = stream.read(length)
        try:
            compressed, body = _facts(metadata)
        except (struct.error, IndexError) as error:
            raise FormError(MALFORMED_ARROW, "Metadata of a message is broken.") from error
        if compressed:
            raise FormError(MALFORMED_ARROW, _COMPRESSED)
        yield metadata
        while body > 0:
            piece = stream.read(min(body, _PIECE))
            if not piece:
                return
            body -= len(piece)
            yield piece


def _facts(metadata: bytes) -> tuple[bool, int]:
    """Return whether a message is compressed, and the length of its body."""
    message = _followed(metadata, 0)
    kind = _field(metadata, message, _HEADER_TYPE)
    header = _field(metadata, message, _HEADER)
    length = _field(metadata, message, _BODY_LENGTH)
    body = struct.unpack_from("<q", metadata, length)[0] if length else 0
    header_type = metadata[kind] if kind else 0
    if header_type not in (_RECORD_BATCH, _DICTIONARY_BATCH) or not header:
        return False, body
    batch = _followed(metadata, header)
    if header_type == _DICTIONARY_BATCH:
        data = _field(metadata, batch, _DATA_OF_DICTIONARY)
        if not data:
            return False, body
        batch = _followed(metadata, data)
    return bool(_field(metadata, batch, _COMPRESSION)), body


def _followed(content: bytes, place: int) -> int:
    """Return the place that an offset leads to."""
    return place + int(struct.unpack_from("<I", content, place)[0])


def _field(content: bytes, table: int, number: int) -> int:
    """Return the place of a field of a table of FlatBuffers, 0 where it is absent."""
    fields = table - int(struct.unpack_from("<i", content, table)[0])
    if fields < 0:
        raise IndexError
    size = struct.unpack_from("<H", content, fields)[0]
    entry = 4 + 2 * number
    if entry >= size:
        return 0
    offset = int(struct.unpack_from("<H", content, fields + entry)[0])
    return table + offset if offset else 0
