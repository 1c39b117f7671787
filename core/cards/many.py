"""Decide how many files are read at once: in order, in several processes, a few hundred held."""

import contextlib
import itertools
from collections import deque
from collections.abc import Generator, Iterable, Iterator
from concurrent.futures import BrokenExecutor, Future, ProcessPoolExecutor
from zoneinfo import ZoneInfo

from core.cards.folders import FoundFile
from core.cards.headers import ReadFile, read_file
from core.model import Header
from core.workers import one_a_core, pool

FEW_FILES = 500
"""Fewer files are read in this process: to start others takes 0.1 s. Measured with two cores, it
pays from 900 files in memory, and sooner on a slow card."""
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
    workers = workers or one_a_core()
    if len(first) < FEW_FILES or workers == 1:
        for one in files:
            yield read_file(one, file_times=file_times)
        return
    with pool(workers) as readers:
        waiting: deque[tuple[list[FoundFile], Future[_Read] | None]] = deque()
        while some := list(itertools.islice(files, CHUNK)):
            waiting.append((some, _submitted(readers, some, file_times)))
            if len(waiting) >= workers * CHUNKS_PER_WORKER:
                yield from _collected(*waiting.popleft(), file_times)
        while waiting:
            yield from _collected(*waiting.popleft(), file_times)


_Read = list[tuple[Header, str]]


def _read_chunk(some: list[FoundFile], file_times: ZoneInfo | None) -> _Read:
    read = (read_file(one, file_times=file_times) for one in some)
    return [(one.header, one.fingerprint) for one in read]


def _submitted(
    readers: ProcessPoolExecutor, some: list[FoundFile], file_times: ZoneInfo | None
) -> "Future[_Read] | None":
    """Give a chunk to a worker; None where a worker was killed, and with it the pool."""
    with contextlib.suppress(BrokenExecutor):
        return readers.submit(_read_chunk, some, file_times)
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
