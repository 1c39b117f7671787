"""Decide how the use of trays is told: the share that was used, and the density where it was.

The two answer different questions and may move in opposite directions, so they come together.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from core import forager
from core.analysis.choice import Choice
from core.analysis.intervals import Share, Undefined, share
from core.analysis.told import BOUNDS, VALUED, Tells, Told, sightings
from core.model import UNKNOWN, Outcome, Reason, Species, Status

UNSEEN = (Reason.EATER_NOT_SEEN, Reason.EATEN_UNWATCHED, Reason.EMPTIED_NOT_SEEN)
"""Food was gone and no eater seen."""
GONE = (
    *UNSEEN,
    Reason.GAP_AFTER_LAST,
    Reason.ONLY_UNIDENTIFIED,
    Reason.LAST_UNIDENTIFIED,
    Reason.LAST_FEEDER_UNKNOWN,
    Reason.EMPTIED_FEEDER_UNKNOWN,
    Reason.EMPTIED_GAP,
)
"""Dropped though food was gone, only not to whom."""
ELSEWHERE = "food was gone and another animal may have had it"


class Use(StrEnum):
    """Whether a tray was used."""

    USED = "used"
    UNUSED = "not used"
    UNKNOWN = "not known"


@dataclass(frozen=True, slots=True)
class Summary:
    """Densities of used trays, in the measure; those that are only bounded are left out."""

    n: int
    mean: float
    sd: float | None
    """Of the sample; None for one tray."""
    lowest: float
    quartile: float
    median: float
    upper_quartile: float
    highest: float


@dataclass(frozen=True, slots=True)
class UsedTrays:
    """Use of the trays of a microhabitat, and the density in those that were used."""

    microhabitat: str
    """Empty: all."""
    n: int
    used: int
    unused: int
    unknown: tuple[tuple[str, int], ...]
    """Trays of which it is not known, by reason; left out of the share."""
    unseen: int
    """Used by the mass alone, nobody seen; 0 where a forager is asked for."""
    share: Share | Undefined
    """Used of those that are known. Each tray counts as independent of the others."""
    gud: Summary | Undefined
    bounded: tuple[tuple[Tells, int], ...]
    """Trays whose density is only bounded; averaged in nowhere."""
    choice: Choice


def used_trays(
    told: Sequence[Told], choice: Choice, species: Mapping[str, Species]
) -> tuple[UsedTrays, ...]:
    """Tell the use of all trays together, then of each microhabitat of the choice."""
    uses = [use_of(one.outcome, choice.forager, species) for one in told]
    groups = ["", *(choice.sides or ())]
    return tuple(
        _used(name, [pair for pair in zip(told, uses, strict=True) if _of(pair[0], name)], choice)
        for name in groups
    )


def _of(one: Told, microhabitat: str) -> bool:
    return not microhabitat or one.microhabitat == microhabitat


def _used(name: str, rows: Sequence[tuple[Told, Use]], choice: Choice) -> UsedTrays:
    tally = Counter(use for _, use in rows)
    unknown = Counter(_why_unknown(one.outcome) for one, use in rows if use is Use.UNKNOWN)
    bounded = Counter(one.tells for one, _ in rows if one.tells in BOUNDS)
    unseen = sum(one.outcome.reason in UNSEEN for one, use in rows if use is Use.USED)
    return UsedTrays(
        microhabitat=name,
        n=len(rows),
        used=tally[Use.USED],
        unused=tally[Use.UNUSED],
        unknown=tuple(unknown.most_common()),
        unseen=unseen,
        share=share(tally[Use.USED], tally[Use.USED] + tally[Use.UNUSED]),
        gud=summary([one for one, _ in rows]),
        bounded=tuple((tells, bounded[tells]) for tells in BOUNDS if bounded[tells]),
        choice=choice,
    )


def use_of(outcome: Outcome, wanted: Species | None, species: Mapping[str, Species]) -> Use:
    """Say whether a tray was used: food gone beyond the tolerance, by the forager asked for.

    With no forager asked for, food that is gone was used, seen or not. A forager used a tray from
    which food is gone if it was a possible feeder there; it did not if the whole window was
    watched and all feeders are named. Else it is not known.
    """
    if outcome.status is Status.NO_GUD:
        return Use.UNUSED
    if outcome.status not in VALUED and outcome.reason not in GONE:
        return Use.UNKNOWN
    if wanted is None:
        return Use.USED
    feeders = forager.company(sightings(outcome), species).feeders
    if wanted.key in feeders:
        return Use.USED
    named = bool(feeders) and UNKNOWN not in feeders
    watched = outcome.watched_share == 1 and not outcome.unanswered
    return Use.UNUSED if named and watched else Use.UNKNOWN


def _why_unknown(outcome: Outcome) -> str:
    gone = outcome.status in VALUED or outcome.reason in GONE
    return ELSEWHERE if gone else str(outcome.reason)


def summary(told: Sequence[Told]) -> Summary | Undefined:
    """Sum up the densities that are known; undefined when there is none."""
    values = np.array([float(one.value) for one in told if one.value is not None])
    if not len(values):
        bounded = Counter(one.tells for one in told if one.tells in BOUNDS)
        listed = "; ".join(f"{count} {tells}" for tells, count in bounded.items())
        return Undefined(f"no tray has a known density ({listed or 'none is bounded either'})")
    lowest, quartile, median, upper, highest = np.quantile(values, [0, 0.25, 0.5, 0.75, 1]).tolist()
    return Summary(
        n=len(values),
        mean=float(values.mean()),
        sd=float(values.std(ddof=1)) if len(values) > 1 else None,
        lowest=lowest,
        quartile=quartile,
        median=median,
        upper_quartile=upper,
        highest=highest,
    )
