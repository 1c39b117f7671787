"""Print how fast a big study is grouped and joined, beside a bare sort and search in numpy.

1,000,000 photos of 100 placements become visits, and the visits meet 50,000 tray windows. The
bare reading below does the same on the same arrays with nothing around it: its answers have to be
equal, its seconds are the yardstick. Compare the ratio of one run, not the seconds of two
machines. Goal: at most 5 times the bare seconds, under 1 GB.

    python tests/benchmarks/bench_join.py [PHOTOS [WINDOWS]]
"""

import resource
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from core.units import Times
from core.visits import number_visits
from core.windows import windows_of_visits

PHOTOS, WINDOWS, PLACEMENTS, GAP_S = 1_000_000, 50_000, 100, 120
NIGHT_S, REST_S = 12 * 3600, 12 * 3600
GOAL_RATIO, GOAL_MB = 5, 1000

Whole = NDArray[np.int64]
Pairs = tuple[Whole, Whole]


@dataclass(frozen=True)
class Made:
    """A study as arrays; each placement watches the tray of the same number."""

    placements: Whole
    times: Times
    trays: Whole
    set_out: Times
    picked_up: Times


def make(photos: int, windows: int) -> Made:
    """Make photos in bursts, shuffled, and windows of one night each, half of them touching."""
    chance = np.random.default_rng(20260314)
    zero = np.datetime64("2020-01-01T18:00:00", "s")
    nights = -(-windows // PLACEMENTS)
    bursts = chance.integers(0, nights * (NIGHT_S + REST_S), photos // 20 + 1)
    which = chance.integers(0, PLACEMENTS, len(bursts))
    at = chance.integers(0, len(bursts), photos)
    trays = np.arange(windows) % PLACEMENTS
    set_out = zero + np.arange(windows) // PLACEMENTS * (NIGHT_S + REST_S)
    length = np.where(trays % 2, NIGHT_S, NIGHT_S + REST_S)
    order = chance.permutation(windows)
    return Made(
        which[at],
        zero + bursts[at] + chance.integers(0, 300, photos),
        trays[order],
        set_out[order],
        (set_out + length)[order],
    )


def ours(made: Made) -> Pairs:
    """Group and join as a study does."""
    numbers = number_visits(made.placements, made.times, timedelta(seconds=GAP_S))
    trays, first, last = ends(numbers, made)
    return windows_of_visits(trays, first, last, made.trays, made.set_out, made.picked_up)


def ends(numbers: Whole, made: Made) -> tuple[Whole, Times, Times]:
    """Give each visit's tray and its first and last true time."""
    many, seconds = int(numbers.max()) + 1, made.times.view(np.int64)
    trays = np.empty(many, dtype=np.int64)
    first = np.full(many, np.iinfo(np.int64).max)
    last = np.full(many, np.iinfo(np.int64).min)
    trays[numbers] = made.placements
    np.minimum.at(first, numbers, seconds)
    np.maximum.at(last, numbers, seconds)
    return trays, first.view("datetime64[s]"), last.view("datetime64[s]")


def bare(made: Made) -> Pairs:
    """Do the same with one sort, one search each way, and nothing else."""
    wide = np.int64(1) << 40
    key = made.placements * wide + made.times.view(np.int64)
    key.sort()
    edge = np.flatnonzero(np.diff(key) > GAP_S) + 1
    start, end = key[np.r_[0, edge]], key[np.r_[edge, len(key)] - 1]
    opened = made.trays * wide + made.set_out.view(np.int64)
    order = np.argsort(opened)
    closed = (made.trays * wide + made.picked_up.view(np.int64))[order]
    first = np.searchsorted(closed, start, side="right")
    many = np.searchsorted(opened[order], end, side="right") - first
    visits = np.repeat(np.arange(len(start)), many)
    within = np.arange(len(visits)) - np.repeat(np.cumsum(many) - many, many)
    return visits, order[np.repeat(first, many) + within]


def best_of(times: int, join: Callable[[Made], Pairs], made: Made) -> tuple[float, Pairs]:
    """Give the seconds of the best of some runs, and what it found."""
    took, found = [], None
    for _ in range(times):
        began = time.perf_counter()
        found = join(made)
        took.append(time.perf_counter() - began)
    assert found is not None
    return min(took), found


def peak_mb() -> float:
    """Give the most memory this process ever held. [MB]"""
    held = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return held / (1e6 if sys.platform == "darwin" else 1e3)


def main() -> int:
    """Print the table; 1 when the goal is missed."""
    photos, windows = (*map(int, sys.argv[1:3]), *(PHOTOS, WINDOWS)[len(sys.argv[1:3]) :])
    made = make(photos, windows)
    made_mb = peak_mb()
    seconds, found = best_of(5, ours, made)
    most_mb = peak_mb()
    limit, expected = best_of(5, bare, made)
    assert all(map(np.array_equal, found, expected))
    ratio = seconds / limit
    met = ratio <= GOAL_RATIO and most_mb <= GOAL_MB
    say(f"{photos:,} photos, {windows:,} windows: {len(found[0]):,} pairs of visit and window")
    say(f"number_visits and windows_of_visits {seconds:8.3f} s")
    say(f"bare sort and search                {limit:8.3f} s")
    say(f"ratio                               {ratio:8.2f}   goal: at most {GOAL_RATIO}")
    say(f"peak memory                         {most_mb:8.0f} MB goal: under {GOAL_MB}")
    say(f"  of it before the first join       {made_mb:8.0f} MB")
    say("goal met" if met else "goal missed")
    return 0 if met else 1


def say(line: str) -> None:
    """Print one line at once."""
    print(line, flush=True)  # noqa: T201


if __name__ == "__main__":
    sys.exit(main())
