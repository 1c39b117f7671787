"""Decide how many files are read at once: in order, in several processes, a few hundred held."""

import contextlib
import itertools
import multiprocessing
import os
import signal
import sys
import threading
import types
from collections import deque
from collections.abc import Generator, Iterable, Iterator
from concurrent.futures import BrokenExecutor, Future, ProcessPoolExecutor
from multiprocessing.context import SpawnContext, SpawnProcess
from zoneinfo import ZoneInfo

from core.cards.folders import FoundFile
from core.cards.headers import ReadFile, read_file
from core.model import Header

FEW_FILES = 500
"""Fewer files are read in this process: to start others takes 0.1 s. Measured with two cores, it
pays from 900 files in memory, and sooner on a slow card."""
MAX_WORKERS = 8
CHUNK, CHUNKS_PER_WORKER = 50, 3
"""Files that go to a worker at once, and how many such chunks wait for each worker."""


def read_files(
    found: Iterable[FoundFile], *, workers: int | None = None, file_times: ZoneInfo | None = None
) -> Generator[ReadFile, None, None]:
    """Read many files, in the order given; only a few hundred are held at a time.

    Many files are read in `workers` processes (None: one for each core, at most eight), few in
    this one. Closing the generator, or Ctrl-C, ends the processes.
    """
    files = iter(found)
    first = list(itertools.islice(files, FEW_FILES))
    files = itertools.chain(first, files)
    workers = workers or min(os.cpu_count() or 1, MAX_WORKERS)
    if len(first) < FEW_FILES or workers == 1:
        for one in files:
            yield read_file(one, file_times=file_times)
        return
    with _workers(workers) as pool:
        waiting: deque[tuple[list[FoundFile], Future[_Read] | None]] = deque()
        while some := list(itertools.islice(files, CHUNK)):
            waiting.append((some, _submitted(pool, some, file_times)))
            if len(waiting) >= workers * CHUNKS_PER_WORKER:
                yield from _collected(*waiting.popleft(), file_times)
        while waiting:
            yield from _collected(*waiting.popleft(), file_times)


_Read = list[tuple[Header, str]]


def _read_chunk(some: list[FoundFile], file_times: ZoneInfo | None) -> _Read:
    read = (read_file(one, file_times=file_times) for one in some)
    return [(one.header, one.fingerprint) for one in read]


def _submitted(
    pool: ProcessPoolExecutor, some: list[FoundFile], file_times: ZoneInfo | None
) -> "Future[_Read] | None":
    """Give a chunk to a worker; None where a worker was killed, and with it the pool."""
    with contextlib.suppress(BrokenExecutor):
        return pool.submit(_read_chunk, some, file_times)
    return None


def _collected(
    some: list[FoundFile], future: "Future[_Read] | None", file_times: ZoneInfo | None
) -> Iterator[ReadFile]:
    """Give a chunk's files; those of a worker that was killed are read here."""
    try:
        read = future.result() if future else _read_chunk(some, file_times)
    except BrokenExecutor:
        read = _read_chunk(some, file_times)
    for found, (header, fingerprint) in zip(some, read, strict=True):
        yield ReadFile(found, header, fingerprint)


@contextlib.contextmanager
def _workers(count: int) -> Iterator[ProcessPoolExecutor]:
    pool = ProcessPoolExecutor(count, mp_context=_Context(), initializer=_start_worker)
    try:
        yield pool
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _start_worker() -> None:
    """Leave Ctrl-C to the parent, and end when the parent is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


_hiding = threading.Lock()


class _Worker(SpawnProcess):
    """A new process that does not run the parent's main script again (a whole Streamlit app)."""

    def start(self) -> None:
        with _hiding, _deaf_to_ctrl_c():
            main, none = sys.modules["__main__"], types.ModuleType("__main__")
            sys.modules["__main__"] = none
            try:
                super().start()
            finally:
                if sys.modules["__main__"] is none:
                    sys.modules["__main__"] = main


@contextlib.contextmanager
def _deaf_to_ctrl_c() -> Iterator[None]:
    """Have a process that is started here never hear Ctrl-C, not even while it starts."""
    if sys.platform == "win32":
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


class _Context(SpawnContext):
    Process = _Worker
