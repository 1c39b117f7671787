"""Print how long one analysis of many tray deployments takes, part by part.

25 sites, two microhabitats, 100 nights: every status, bounds of every kind, three visits a tray.
Goal: under 2 s for 5,000 tray deployments, libraries already imported.

    python tests/benchmarks/bench_analysis.py [DEPLOYMENTS]
"""

import random
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from builders import SETTINGS, SPECIES, result, seen, sighting

from core.analysis.censored import censored_model
from core.analysis.choice import Choice, proposed, remarks
from core.analysis.ledger import ledger
from core.analysis.mixed import mixed_model
from core.analysis.pairs import pair_up
from core.analysis.ranks import rank_test
from core.analysis.rates import visit_rates
from core.analysis.told import tell
from core.analysis.used import used_trays
from core.analysis.whole import analyse
from core.model import Censored, Outcome, Reason, Status

DEPLOYMENTS, SITES, GOAL_S = 5_000, 25, 2.0


def study(deployments: int) -> list[Outcome]:
    """Make outcomes as a big study would have them, always the same."""
    draw = random.Random(1)
    return [_outcome(number, draw) for number in range(deployments)]


def _outcome(number: int, draw: random.Random) -> Outcome:
    night, place = divmod(number, 2 * SITES)
    microhabitat = ("open", "bush")[place % 2]
    value = 2.5 + 0.8 * (microhabitat == "open") + draw.gauss(0, 0.8)
    left = f"{min(max(value, 0.2), 9.0):.2f}"
    chance = draw.random()
    status = Status.KEEP if chance < 0.7 else Status.CAUTION
    given = result(
        f"D{number}", left, microhabitat, site=f"S{place // 2}", night=night, status=status
    )
    visits = tuple(seen(sighting(clock=clock)) for clock in ("19:00", "21:00", "23:00"))
    given = replace(given, seen=visits, visits_all=3)
    if chance > 0.95:
        return replace(
            given,
            status=Status.DROP,
            reason=Reason.EATER_NOT_SEEN,
            gud=None,
            forager="",
            seen=(),
            visits_all=0,
        )
    if chance > 0.90:
        return replace(
            given, status=Status.NO_GUD, reason=Reason.VISITED_NOT_EATEN, gud=None, forager=""
        )
    if chance > 0.85:
        return replace(given, censored=Censored.BELOW, gud=SETTINGS.scale_step)
    if chance > 0.80:
        earlier = (seen(sighting(clock="19:00")), seen(sighting("m", clock="21:00")))
        return replace(given, forager="mouse", seen=earlier)
    return given


def parts(
    outcomes: Sequence[Outcome], choice: Choice
) -> Iterator[tuple[str, Callable[[], object]]]:
    """Give the parts of an analysis, then the whole."""
    told = tell(outcomes, choice, SPECIES)
    pairs = pair_up(told, choice)
    yield "tell", lambda: tell(outcomes, choice, SPECIES)
    yield "ledger", lambda: ledger(told, choice)
    yield "used trays", lambda: used_trays(told, choice, SPECIES)
    yield "pairs", lambda: pair_up(told, choice)
    yield "rank test", lambda: rank_test(pairs)
    yield "mixed", lambda: mixed_model(told, choice)
    yield "censored", lambda: censored_model(told, choice)
    yield "rates", lambda: visit_rates(told, choice)
    yield "remarks", lambda: remarks(outcomes, choice)
    yield "whole", lambda: analyse(outcomes, choice, SPECIES, SETTINGS)


def main() -> None:
    """Time each part the second time it is done, nights averaged and not."""
    outcomes = study(int(sys.argv[1]) if len(sys.argv) > 1 else DEPLOYMENTS)
    averaged = proposed(outcomes, SETTINGS.timezone, SPECIES["g"])
    for choice in (averaged, replace(averaged, average_nights=False)):
        print(f"{len(outcomes)} tray deployments, nights averaged: {choice.average_nights}")  # noqa: T201
        for name, work in parts(outcomes, choice):
            work()
            start = time.perf_counter()
            work()
            print(f"  {name:<12} {time.perf_counter() - start:7.3f} s")  # noqa: T201
    print(f"goal: whole under {GOAL_S} s")  # noqa: T201


if __name__ == "__main__":
    main()
