"""Print how long the sensitivity of a study to its settings takes, and what it is made of.

An invented study in memory: 25 sites with a tray in the open and one under a bush, 10 nights, 100
photos a tray and night (500 tray deployments, 50,000 photos), two taggers, pauses around every
gap of the grid; a fifth of the visits has one tagger alone, a tenth of the clocks was corrected,
and each of the others was checked.
Goal: 200 settings under 10 s on two cores.

    python tests/benchmarks/bench_sensitivity.py [NIGHTS]
"""

import cProfile
import pstats
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from builders import SPECIES
from grounds import NIGHTS, study

from core.analysis.choice import proposed
from core.chain import Chain
from core.kept import looking_for_no_garbage
from core.sensitivity import grid_of, sensitivity

GOAL_S, SETTINGS_ASKED = 10.0, 200


def main() -> None:
    """Work the whole grid out once, from nothing known."""
    given = study(int(sys.argv[1]) if len(sys.argv) > 1 else NIGHTS, checked=True)
    photos = sum(len(one.base.ordered) for one in given.placements)
    grid = grid_of(given.settings, corrected=given.corrected)
    choice = proposed(Chain(given).outcomes(given.settings), given.settings.timezone, SPECIES["g"])
    if "--profile" in sys.argv:
        profile = cProfile.Profile()
        profile.enable()
    start, busy = time.perf_counter(), time.process_time()
    with looking_for_no_garbage():
        found = sensitivity(given, grid, choice)
    took, busy = time.perf_counter() - start, time.process_time() - busy
    if "--profile" in sys.argv:
        profile.disable()
        pstats.Stats(profile).sort_stats("cumulative").print_stats(45)
    print(f"{len(given.deployments)} tray deployments, {photos} photos")  # noqa: T201
    print(f"{len(found.found)} settings in {took:.2f} s, {busy:.2f} s of one core")  # noqa: T201
    print(f"{found.same} say the same: {found.own.says}")  # noqa: T201
    print(f"goal: {SETTINGS_ASKED} settings under {GOAL_S:g} s")  # noqa: T201


if __name__ == "__main__":
    main()
