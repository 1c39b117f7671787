"""Decide how worker processes are started, and that they end with the process that did."""

import contextlib
import multiprocessing
import os
import signal
import sys
import threading
import types
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import resource_tracker
from multiprocessing.context import SpawnContext, SpawnProcess

MAX_WORKERS = 8
"""More do not pay: the disk decides."""
_LAST_IN_LINE = 19  # how far a worker in the background stands back; 19 is the farthest


def one_a_core() -> int:
    """Give how many workers this computer has use for."""
    return min(os.cpu_count() or 1, MAX_WORKERS)


@contextlib.contextmanager
def pool(count: int, *, background: bool = False) -> Iterator[ProcessPoolExecutor]:
    """Give a pool of so many processes; at the end, what waits is dropped and they are ended.

    They never hear Ctrl-C, and end when this process does, however it ends. Those in the
    `background` let everything else on the computer go first.
    """
    made = ProcessPoolExecutor(
        count, mp_context=_Context(), initializer=_start_worker, initargs=(background,)
    )
    try:
        yield made
    finally:
        made.shutdown(wait=True, cancel_futures=True)


def background(work: Callable[..., None], *given: object) -> SpawnProcess:
    """Start a process that does one piece of work and lets everything else go first.

    It never hears Ctrl-C, and ends when this process does; it may be ended at any time.
    """
    process = _Worker(target=_work_behind, args=(work, *given), daemon=True)
    process.start()
    return process


def _work_behind(work: Callable[..., None], *given: object) -> None:
    _start_worker(background=True)
    work(*given)


def _start_worker(background: bool) -> None:
    """Leave Ctrl-C to the parent, and end when the parent is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    if background:
        _stand_back()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _stand_back() -> None:
    if sys.platform == "win32":
        import ctypes  # noqa: PLC0415  (no other system has use for it)

        below_normal, this_process = 0x4000, ctypes.c_void_p(-1)  # Microsoft's SetPriorityClass
        ctypes.windll.kernel32.SetPriorityClass(this_process, below_normal)
    else:
        os.nice(_LAST_IN_LINE)


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
    resource_tracker.ensure_running()  # else the first start makes it, and unblocks the signal
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


class _Context(SpawnContext):
    Process = _Worker
