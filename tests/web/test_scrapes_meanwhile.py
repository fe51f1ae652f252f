"""Scrapes at every moment in which a process begins to count, one goes, or the server ends."""

import http.client
import inspect
import shutil
import socket
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from types import FrameType, ModuleType, SimpleNamespace
from typing import Any

import pytest
from prometheus_client import mmap_dict, multiprocess
from prometheus_client.multiprocess import MultiProcessCollector, mark_process_dead
from prometheus_client.values import MultiProcessValue

from loomwright.web.signals import hooks, listener
from loomwright.web.signals.listener import MetricsListener
from loomwright.web.signals.waiting import held_within
from scraped import samples_of

COUNTED, LIVE = "counted_total", "live"
BEFORE, MORE = 2.0, 3.0
Answer = tuple[int, float | None]


@contextmanager
def at_each_line(modules: list[ModuleType], act: Callable[[], object]) -> Iterator[None]:
    """Act before each line of modules that this thread comes to, as another process might."""
    files = {inspect.getsourcefile(module) for module in modules}

    def line(_: FrameType, event: str, __: Any) -> Any:
        if event == "line":
            act()
        return line

    def call(frame: FrameType, _: str, __: Any) -> Any:
        return line if frame.f_code.co_filename in files else None

    before = sys.gettrace()
    sys.settrace(call)
    try:
        yield
    finally:
        sys.settrace(before)


def asked(port: int) -> Answer:
    """Return status and sum of what is served."""
    with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=10)) as connection:
        connection.request("GET", "/metrics")
        answer = connection.getresponse()
        samples = samples_of(answer.read().decode()) if answer.status == 200 else {}
        return answer.status, samples.get((COUNTED, ()))


def value_of(place: str, kind: str, name: str, mode: str = "") -> Any:
    """Return a value of the process at a place, for which it opens its file."""
    made = MultiProcessValue(lambda: place)  # type: ignore[no-untyped-call]
    return made(kind, name.removesuffix("_total"), name, (), (), "help", multiprocess_mode=mode)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where a process has counted already."""
    made = tmp_path / "counts"
    made.mkdir()
    monkeypatch.setenv("PROMETHEUS_MULTIPROC_DIR", str(made))
    value_of("server", "counter", COUNTED).inc(BEFORE)
    return made


@pytest.fixture
def served(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[MetricsListener]:
    """What serves them, as the first process of a server has it that ends at the end."""
    made = MetricsListener("127.0.0.1:0", folder)
    made.start()
    held = SimpleNamespace(folder=folder, is_own_folder=True, lock=None, listener=made)
    monkeypatch.setattr(hooks, "_Served", held)
    yield made
    # Wakes its thread, which would see only at its next turn that it is to end.
    made._server.socket.shutdown(socket.SHUT_RDWR)
    made._server.shutdown()
    made._server.server_close()


def test_a_process_that_begins_is_scraped_at_each_step(
    folder: Path, served: MetricsListener
) -> None:
    answers: list[Answer] = []
    lengths: list[int] = []

    def scrape() -> None:
        lengths.extend(file.stat().st_size for file in folder.glob("counter_0.db"))
        answers.append(asked(served.port))

    with at_each_line([mmap_dict], scrape):
        value_of("0", "counter", COUNTED).inc(MORE)
    answers.append(asked(served.port))
    # It was asked also while the file was there and had no length.
    assert lengths[0] == 0 < lengths[-1]
    kinds = [(200, BEFORE), (200, BEFORE + MORE)]
    assert answers == sorted(answers)
    assert list(dict.fromkeys(answers)) == kinds


def test_a_file_that_stays_without_length_hides_no_other(
    folder: Path, served: MetricsListener
) -> None:
    # What a process leaves that is killed as it makes its file.
    (folder / "counter_0.db").touch()
    assert asked(served.port) == (200, BEFORE)
    value_of("0", "counter", COUNTED).inc(MORE)
    assert asked(served.port) == (200, BEFORE + MORE)


def test_a_process_may_go_at_each_step_of_a_scrape(folder: Path) -> None:
    counts = listener._Counts(folder)

    def scraped_while_it_goes_at(number: int) -> tuple[dict[str, float], bool]:
        value_of("0", "gauge", LIVE, "livesum").set(1.0)
        steps = iter(range(number))

        def go() -> None:
            if next(steps, None) is None:
                mark_process_dead("0", str(folder))  # type: ignore[no-untyped-call]

        with at_each_line([listener, multiprocess], go):
            merged = list(counts.collect())
        is_over = next(steps, None) is not None
        return {sample.name: sample.value for each in merged for sample in each.samples}, is_over

    seen, number, is_over = [], 0, False
    while not is_over:
        samples, is_over = scraped_while_it_goes_at(number)
        seen.append(samples)
        number += 1
    assert all(samples[COUNTED] == BEFORE for samples in seen)
    # Not there where it went before it was read, there where it went afterwards.
    assert [samples.get(LIVE) for samples in (seen[0], seen[-1])] == [None, 1.0]


def test_an_end_is_scraped_at_each_step(folder: Path, served: MetricsListener) -> None:
    answers: list[Answer] = []
    with at_each_line([hooks, shutil], lambda: answers.append(asked(served.port))):
        hooks.on_exit(None)
    assert not folder.exists()
    answers.append(asked(served.port))
    assert list(dict.fromkeys(answers)) == [(200, BEFORE), (503, None)]


def test_no_answer_is_cut_within_its_head(
    served: MetricsListener, monkeypatch: pytest.MonkeyPatch
) -> None:
    pieces: list[bytes] = []

    def recording(name: str) -> Callable[..., Any]:
        plainly = getattr(socket.socket, name)

        def send(wire: socket.socket, piece: bytes, *flags: int) -> Any:
            if wire.getsockname()[1] == served.port:
                pieces.append(bytes(piece))
            return plainly(wire, piece, *flags)

        return send

    for name in ("send", "sendall"):
        monkeypatch.setattr(socket.socket, name, recording(name))
    assert asked(served.port) == (200, BEFORE)
    head, end, _ = pieces[0].partition(b"\r\n\r\n")
    assert end
    assert b"Content-Length: " in head


def test_the_end_waits_for_who_is_being_answered(
    folder: Path, served: MetricsListener, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun, may_go_on = threading.Event(), threading.Event()
    merge = MultiProcessCollector.merge

    def merge_slowly(files: list[str]) -> Any:
        begun.set()
        assert may_go_on.wait(10)
        return merge(files)  # type: ignore[no-untyped-call]

    monkeypatch.setattr(MultiProcessCollector, "merge", merge_slowly)
    answers: list[Answer] = []
    scrape = threading.Thread(target=lambda: answers.append(asked(served.port)))
    scrape.start()
    assert begun.wait(10)
    end = threading.Thread(target=hooks.on_exit, args=(None,))
    end.start()
    assert not held_within(lambda: not folder.exists(), 0.2)
    may_go_on.set()
    for thread in (scrape, end):
        thread.join(10)
    assert answers == [(200, BEFORE)]
    assert not folder.exists()
