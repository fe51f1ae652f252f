"""One client's connection: what has arrived, and what has still to leave."""

import contextlib
import io
import socket
import struct
from collections.abc import Iterator
from typing import Any

from gunicorn.http.parser import RequestParser

from loomwright.web.serving.admission import Weight
from loomwright.web.serving.arrival import Chunks

_AT_ONCE = 65536


class Wire:
    """The socket of a connection, as the server's own functions write to it.

    What the client does not take at once is kept, and no thread waits for it: an answer is in
    memory anyway. Rows of a batch are not, so that its thread waits for the client before it works
    out more.

    Parameters
    ----------
    sock
        Of the client.
    stalled_s
        A client that takes nothing of a batch for so long [s] is given up.
    """

    def __init__(self, sock: socket.socket, stalled_s: float) -> None:
        sock.setblocking(False)
        self.sock = sock
        self.unsent: list[memoryview] = []
        self._waits = False
        self._stalled_s = stalled_s

    def sendall(self, data: bytes) -> None:
        """Send, and keep what is not taken; whoever waits returns once all is taken."""
        if self._waits:
            # In one call of the kernel as far as may be: a thread that comes back for each packet
            # takes the interpreter from quick calls each time.
            self.sock.sendall(data)
            return
        sent = 0
        if not self.unsent:
            with contextlib.suppress(BlockingIOError):
                sent = self.sock.send(data)
        if sent < len(data):
            self.unsent.append(memoryview(data)[sent:])

    send = sendall

    def wait(self, waits: bool) -> None:
        """Let whoever sends wait for the client, or no longer."""
        if waits != self._waits:
            self._waits = waits
            self.sock.setblocking(waits)
            limit = struct.pack("ll", int(self._stalled_s), 0)
            self.sock.setsockopt(socket.SOL_SOCKET, socket.SO_SNDTIMEO, limit)

    def flush(self) -> bool:
        """Send what is kept as far as the client takes it now; tell whether that was all."""
        while self.unsent:
            piece = self.unsent[0]
            try:
                sent = self.sock.send(piece)
            except BlockingIOError:
                return False
            except OSError:
                self.unsent.clear()
                raise
            if sent == len(piece):
                del self.unsent[0]
            else:
                self.unsent[0] = piece[sent:]
        return True

    def fileno(self) -> int:
        """Return the number of the socket."""
        return self.sock.fileno()

    # What the server's functions ask a socket for that waits. Closing is left to the one thread
    # that watches all sockets: their numbers are given to others as soon as they are closed.

    def gettimeout(self) -> float:
        """Tell that nothing waits."""
        return 0.0

    def setblocking(self, _flag: object) -> None:
        """Change nothing."""

    settimeout = setblocking

    def shutdown(self, _how: int) -> None:
        """Change nothing."""

    def recv(self, _size: int) -> bytes:
        """Return nothing: what has arrived is taken by the connection."""
        return b""

    def close(self) -> None:
        """Change nothing."""


class Connection:
    """A client's connection, in the place of the one that the threads of gunicorn are handed.

    Parameters
    ----------
    cfg
        Settings of the server.
    sock
        Of the client.
    client
        Its address.
    server
        The address that it asked.
    stalled_s
        As ``Wire`` takes it.
    """

    # What the server's threads look at before they handle a request.
    initialized = data_ready = True
    is_http2 = False

    def __init__(
        self, cfg: Any, sock: socket.socket, client: Any, server: Any, stalled_s: float
    ) -> None:
        self.sock = Wire(sock, stalled_s)
        self.client = client
        self.server = server
        # It reads nothing by itself: it is given what has arrived.
        self._parser = RequestParser(cfg, (), client)
        self.request: Any = None
        self.weight = Weight.STATE
        self.received = bytearray()
        self.looked_at = 0
        self.until = self.latest = 0.0
        self.is_whole = False
        self.keeps = False
        self._length = 0
        self._chunks: Chunks | None = None

    def init(self) -> None:
        """Do nothing: the connection is ready."""

    @property
    def address(self) -> str:
        """Of the client, without its port; empty for a unix socket."""
        return self.client[0] if self.client else ""

    @property
    def parser(self) -> "Connection":
        """What hands out the request, which is parsed before any thread sees it."""
        return self

    def __next__(self) -> Any:
        """Return the request that has arrived."""
        return self.request

    def __iter__(self) -> Iterator[Any]:
        """Return the connection."""
        return self

    def finish_body(self, **_bounds: float) -> bool:
        """Tell whether the next request begins where this one ended."""
        return self.is_whole

    def take_in(self) -> bool:
        """Take in what has arrived; tell whether the client may send more."""
        piece = self.sock.sock.recv(_AT_ONCE)
        self.received += piece
        return bool(piece)

    def parse(self) -> None:
        """Read the head that has arrived; what is behind it stays.

        Raises
        ------
        Exception
            As gunicorn's parser does, for what is no head.
        """
        unreader = self._parser.unreader
        unreader.unread(bytes(self.received))
        self.request = next(self._parser)
        self.received = bytearray(unreader.take_buffered())
        reader = self.request.body.reader
        length = getattr(reader, "length", None)
        self._length = length or 0
        self._chunks = Chunks() if length is None else None

    @property
    def is_chunked(self) -> bool:
        """Whether the length of the body is not known beforehand."""
        return self._chunks is not None

    def stated_bytes(self) -> int:
        """Return the length of the body as stated, or as it has arrived in chunks."""
        return len(self.received) if self._chunks is not None else self._length

    def body_is_there(self) -> bool:
        """Tell whether the whole body has arrived."""
        if self._chunks is not None:
            return self._chunks.are_there(self.received)
        return len(self.received) >= self._length

    def close_request(self) -> int:
        """Give the request the body that has arrived; what is behind it stays.

        Returns
        -------
        int
            Length of the body.

        Raises
        ------
        Exception
            As gunicorn's reader does, for chunks that are none.
        """
        if self._chunks is not None:
            unreader = self._parser.unreader
            unreader.unread(bytes(self.received))
            body = self.request.body.read()
            self.received = bytearray(unreader.take_buffered())
        else:
            body = bytes(self.received[: self._length])
            del self.received[: self._length]
        self.request.body = io.BytesIO(body)
        self.is_whole = True
        return len(body)

    def begin_anew(self) -> None:
        """Wait for the next request."""
        self.request = None
        self.looked_at = 0
        self.is_whole = False
