"""Decide which trays make a pair, which pairs are lost and why, and what their differences are.

A pair is one tray of each microhabitat, of one site (and pair, where the log names one), set out
on the same night and out at the same time. The difference is the first minus the second.
"""

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_EVEN, Decimal

from core.analysis.choice import STEP, Choice, folded
from core.analysis.intervals import Undefined
from core.analysis.told import Told
from core.windows import window_of

Key = tuple[str, str, date]
SEVERAL = "several trays of one microhabitat were out together: name pairs in the tray log"


@dataclass(frozen=True, slots=True)
class Pair:
    """Two trays with a density each."""

    station: str
    night: date
    first: Told
    second: Told
    difference: Decimal
    """First minus second, in the measure, rounded."""


@dataclass(frozen=True, slots=True)
class LostPair:
    """Trays that should have made a pair and did not."""

    station: str
    night: date | None
    deployments: tuple[str, ...]
    why: tuple[str, ...]
    """A sentence for each side at fault."""


@dataclass(frozen=True, slots=True)
class Difference:
    """What goes into the ranking as one."""

    station: str
    pairs: int
    """How many nights it is the mean of."""
    value: Decimal


@dataclass(frozen=True, slots=True)
class Pairs:
    """All pairs of the two microhabitats."""

    made: tuple[Pair, ...]
    lost: tuple[LostPair, ...]
    differences: tuple[Difference, ...]
    """One for each station, or for each pair when nights are not averaged."""
    choice: Choice

    @property
    def n(self) -> int:
        """Count the differences."""
        return len(self.differences)

    @property
    def of_two_owners(self) -> int:
        """Count the pairs whose two trays were left by different foragers."""
        return sum(one.first.outcome.forager != one.second.outcome.forager for one in self.made)

    @property
    def mixed(self) -> str:
        """Say when pairs compare the densities of different foragers; empty when none do."""
        many = self.of_two_owners
        if not many:
            return ""
        whose = "the densities" if many == 1 else "densities"
        return (
            f"{many} of {len(self.made)} pairs compare{'s' * (many == 1)} {whose} of different "
            "foragers, so what differs may be the animals and not the microhabitats. Name a "
            "forager to compare its own."
        )

    @property
    def warning(self) -> str:
        """Say what stands in the way of p: foragers mixed, nights counted; empty: nothing."""
        stations = len({one.station for one in self.differences})
        nights = (
            f"{self.n} differences are of {stations} station{'s' * (stations > 1)}: nights of a "
            "station are not independent, so p comes out too small. Average the nights, or see "
            "the mixed model."
        )
        return " ".join(filter(None, (self.mixed, nights if stations < self.n else "")))

    def lost_by_reason(self) -> dict[str, int]:
        """Count why pairs were lost; a pair with both sides at fault counts under each."""
        return dict(Counter(why for one in self.lost for why in one.why).most_common())


def pair_up(told: Sequence[Told], choice: Choice) -> Pairs | Undefined:
    """Pair the trays of both microhabitats; undefined when there are not two to compare."""
    if choice.sides is None:
        return Undefined("there are not two microhabitats to compare, name two", len(told))
    groups: dict[Key, tuple[list[Told], list[Told]]] = defaultdict(lambda: ([], []))
    lost: list[LostPair] = []
    for one in told:
        if one.microhabitat not in choice.sides:
            continue
        key = _key(one)
        if isinstance(key, str):
            lost.append(LostPair(one.station, one.night, (one.name,), (key,)))
        else:
            groups[key][one.microhabitat == choice.sides[1]].append(one)
    made: list[Pair] = []
    for (_, _, night), (firsts, seconds) in groups.items():
        matched, left = _match(firsts, seconds)
        for one, other in matched:
            if one.value is None or other.value is None:
                why = tuple(dict.fromkeys(side.why for side in (one, other) if side.why))
                lost.append(LostPair(one.station, night, (one.name, other.name), why))
            else:
                difference = rounded(one.value - other.value)
                made.append(Pair(one.station, night, one, other, difference))
        lost += _alone(left, firsts, seconds, choice)
    return Pairs(tuple(made), tuple(lost), _differences(made, choice), choice)


def _key(one: Told) -> Key | str:
    """Give what the trays of a pair share, or say what is missing for it."""
    deployment = one.outcome.deployment
    site, pair = folded(deployment.site), folded(deployment.pair)
    if not site and not pair:
        return "neither its site nor its pair is given"
    if one.night is None:
        return "the set-out time is missing"
    return site, pair, one.night


def _match(
    firsts: Sequence[Told], seconds: Sequence[Told]
) -> tuple[list[tuple[Told, Told]], list[Told]]:
    """Match trays that were out at the same time; those without exactly one partner are left."""
    partners = {one.name: [other for other in seconds if _together(one, other)] for one in firsts}
    wanted = Counter(other.name for found in partners.values() for other in found)
    matched = [
        (one, partners[one.name][0])
        for one in firsts
        if len(partners[one.name]) == 1 and wanted[partners[one.name][0].name] == 1
    ]
    done = {one.name for pair in matched for one in pair}
    return matched, [one for one in (*firsts, *seconds) if one.name not in done]


def _together(one: Told, other: Told) -> bool:
    """Say whether two trays were out together for more than half of the shorter time.

    A tray with no pick-up time may have been.
    """
    mine, theirs = (window_of(side.outcome.deployment) for side in (one, other))
    if mine is None or theirs is None:
        return True
    shared = min(mine.end, theirs.end) - max(mine.start, theirs.start)
    return shared * 2 > min(mine.end - mine.start, theirs.end - theirs.start)


def _alone(
    left: Sequence[Told], firsts: Sequence[Told], seconds: Sequence[Told], choice: Choice
) -> list[LostPair]:
    """Say what is in the way of the trays without exactly one partner."""
    lost, several = [], []
    for one in left:
        is_first = one in firsts
        others = seconds if is_first else firsts
        wanted = choice.second if is_first else choice.first
        if any(_together(one, other) for other in others):
            several.append(one)
            continue
        when = "at another time" if others else "on another night, or not at all"
        why = f"the {wanted} tray of this site and pair was out {when}"
        lost.append(LostPair(one.station, one.night, (one.name,), (why,)))
    if several:
        names = tuple(one.name for one in several)
        lost.append(LostPair(several[0].station, several[0].night, names, (SEVERAL,)))
    return lost


def rounded(value: Decimal) -> Decimal:
    """Round a difference as decimals are, so that equal ones tie."""
    return value.quantize(STEP, ROUND_HALF_EVEN)


def _differences(made: Sequence[Pair], choice: Choice) -> tuple[Difference, ...]:
    if not choice.average_nights:
        return tuple(Difference(pair.station, 1, pair.difference) for pair in made)
    by_station: dict[str, list[Decimal]] = defaultdict(list)
    for pair in made:
        by_station[pair.station].append(pair.difference)
    return tuple(
        Difference(station, len(values), rounded(sum(values, Decimal(0)) / len(values)))
        for station, values in by_station.items()
    )
