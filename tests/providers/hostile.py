"""Servers on the loopback interface that answer as no provider should."""

import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

Answer = Callable[[socket.socket], None]


@contextmanager
def answering(answer: Answer) -> Iterator[tuple[str, list[bytes]]]:
    """Yield an address and the requests it got; each connection gets the answer, then the end."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        listener.settimeout(0.1)
        ended = threading.Event()
        requests: list[bytes] = []

        def serve() -> None:
            while not ended.is_set():
                try:
                    connection, _ = listener.accept()
                except TimeoutError:
                    continue
                with connection:
                    connection.settimeout(5)
                    try:
                        requests.append(connection.recv(65536))
                        answer(connection)
                    except OSError:
                        # The caller went away, as it should from most of these.
                        continue

        thread = threading.Thread(target=serve)
        thread.start()
        try:
            yield f"http://127.0.0.1:{listener.getsockname()[1]}", requests
        finally:
            ended.set()
            thread.join()


def plainly(body: bytes, status: str = "200 OK", *headers: str) -> Answer:
    """An answer of stated length."""
    lines = [f"HTTP/1.1 {status}", f"Content-Length: {len(body)}", *headers, "", ""]

    def answer(connection: socket.socket) -> None:
        connection.sendall("\r\n".join(lines).encode() + body)

    return answer


def json_answer(body: bytes, *headers: str) -> Answer:
    """A document."""
    return plainly(body, "200 OK", "Content-Type: application/json", *headers)


def dripping(head: bytes) -> Answer:
    """An answer that never ends, a byte at a time, so that no single wait is long."""

    def answer(connection: socket.socket) -> None:
        connection.sendall(head)
        for _ in range(400):
            connection.sendall(b" ")
            time.sleep(0.02)

    return answer


def endless(connection: socket.socket) -> None:
    """A document of unstated and of no length that ends."""
    connection.sendall(b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\n\r\n[")
    for _ in range(4000):
        connection.sendall(b"1," * 50_000)


def silent(connection: socket.socket) -> None:
    """No answer at all."""
    connection.settimeout(3)
    connection.recv(1)
