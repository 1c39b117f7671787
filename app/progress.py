"""Decide how commands show that long work goes on."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click


@contextmanager
def shown(label: str) -> Iterator[Callable[[int, int], None]]:
    """Show a progress bar on a terminal, and none in a pipe; it is told done, and of how many."""
    if not sys.stderr.isatty():
        yield lambda _done, _total: None
        return
    with click.progressbar(length=1, label=label, file=sys.stderr) as bar:

        def told(done: int, total: int) -> None:
            bar.length = max(total, 1)
            bar.update(done - bar.pos)

        yield told
