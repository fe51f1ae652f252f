"""Whether a request that is still arriving is there: head, body of a length, or body in chunks.

Nothing here decides what a request says. It tells when the server's own parser can be given the
bytes without having to wait for more; what is not of the form that is looked for counts as there,
so that the parser refuses it.
"""

import re

_END_OF_HEAD = b"\r\n\r\n"
# A line that ends otherwise never ends a head, and the parser refuses it (RFC 9112, 2.2).
_BARE_LINE_FEED = re.compile(rb"(?<!\r)\n")
_SIZE = re.compile(rb"[0-9A-Fa-f]{1,16}[ \t]*(?:;[^\r\n]*)?", re.ASCII)
# Of a line with the size of a chunk, and of the fields behind the last chunk.
_GREATEST_LINE, _GREATEST_TRAILERS = 8190, 65536


def head_can_be_judged(received: bytearray, seen: int, line: int, whole: int) -> bool:
    """Tell whether a head is there, or enough of it to be refused.

    Parameters
    ----------
    received
        All bytes of it so far.
    seen
        How many of them an earlier call has looked at.
    line
        The longest request line.
    whole
        The longest head.

    Returns
    -------
    bool
        Whether its parser need not wait for more.
    """
    start = max(0, seen - len(_END_OF_HEAD) + 1)
    if received.find(_END_OF_HEAD, start) >= 0 or len(received) > whole:
        return True
    if _BARE_LINE_FEED.search(received, start):
        return True
    return len(received) > line + 2 and received.find(b"\r\n", 0, line + 2) < 0


class Chunks:
    """Follows a body in chunks to its end (RFC 9112, 7.1), without keeping anything of it."""

    def __init__(self) -> None:
        self._at = 0
        self._trailers = -1

    def are_there(self, received: bytearray) -> bool:
        """Tell whether the body is there, or has come to what is not its form.

        Parameters
        ----------
        received
            All bytes of the body so far, more than in the call before.

        Returns
        -------
        bool
            Whether its reader need not wait for more.
        """
        while self._trailers < 0:
            end = received.find(b"\r\n", self._at)
            if end < 0:
                return len(received) - self._at > _GREATEST_LINE
            line = bytes(received[self._at : end])
            if not _SIZE.fullmatch(line):
                return True
            size = int(line.partition(b";")[0], 16)
            if size == 0:
                # The end of that line and an empty one behind it, or fields between them.
                self._trailers = end
                break
            behind = end + 2 + size
            if len(received) < behind + 2:
                return False
            if received[behind : behind + 2] != b"\r\n":
                return True
            self._at = behind + 2
        return (
            received.find(_END_OF_HEAD, self._trailers) >= 0
            or len(received) - self._trailers > _GREATEST_TRAILERS
        )
