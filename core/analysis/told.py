"""Decide what each tray tells of the density that is asked for: a value, a bound, or nothing.

Emptied is below what can be weighed, interrupted is at most what was left, visited and not eaten
is above what was put in, and an earlier feeder quit somewhere between.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum

from core import food, forager
from core.analysis.choice import Choice, folded, measured, night_of, station_of
from core.model import Censored, Outcome, Reason, SeenVisit, Sighting, Species, Status, Where


class Tells(StrEnum):
    """What a tray tells of the density."""

    VALUE = "a value"
    BELOW = "emptied: below what can be weighed"
    AT_MOST = "interrupted: at most what was left"
    ABOVE = "visited and not eaten: above what was put in"
    BETWEEN = "earlier feeder: between what was left and what was put in"
    # nothing
    NO_DENSITY = "no density"
    OTHER_FORAGER = "the density belongs to another forager"
    OTHER_MICROHABITAT = "of another microhabitat"
    NOT_IN_MEASURE = "not known in this measure"


BOUNDS = (Tells.BELOW, Tells.AT_MOST, Tells.ABOVE, Tells.BETWEEN)
NOTHING = (
    Tells.NO_DENSITY,
    Tells.OTHER_FORAGER,
    Tells.OTHER_MICROHABITAT,
    Tells.NOT_IN_MEASURE,
)
VALUED = (Status.KEEP, Status.CAUTION)


@dataclass(frozen=True, slots=True)
class Told:
    """What one tray deployment tells of the density that is asked for."""

    outcome: Outcome
    tells: Tells
    station: str
    """Empty where it is not known."""
    night: date | None
    microhabitat: str
    """As it is compared."""
    low: Decimal | None = None
    high: Decimal | None = None
    """The density lies between them, in the measure; equal for a value, None: open."""

    @property
    def name(self) -> str:
        """Give the id of the tray deployment."""
        return self.outcome.deployment.deployment

    @property
    def value(self) -> Decimal | None:
        """Give the density where it is known."""
        return self.high if self.tells is Tells.VALUE else None

    @property
    def why(self) -> str:
        """Say why there is no value; empty when there is one."""
        if self.tells is Tells.VALUE:
            return ""
        if self.tells is Tells.NO_DENSITY:
            return str(self.outcome.reason)
        if self.tells is Tells.OTHER_FORAGER and self.outcome.forager:
            return f"{self.tells}, {self.outcome.forager}"
        return str(self.tells)


def tell(outcomes: Sequence[Outcome], choice: Choice, species: Mapping[str, Species]) -> list[Told]:
    """Say of each outcome what it tells, in the order given.

    Parameters
    ----------
    species
        The study's species by key.
    """
    return [_tell(outcome, choice, species) for outcome in outcomes]


def _tell(outcome: Outcome, choice: Choice, species: Mapping[str, Species]) -> Told:
    deployment = outcome.deployment
    tells, low, high = _bounds(outcome, choice.forager, species)
    microhabitat = folded(deployment.microhabitat)
    if tells not in NOTHING:
        inside = [
            measured(one, deployment, choice.measure, choice.item_mass) for one in (low, high)
        ]
        if choice.sides and microhabitat not in choice.sides:
            tells, inside = Tells.OTHER_MICROHABITAT, [None, None]
        elif inside == [None, None]:
            tells = Tells.NOT_IN_MEASURE
        low, high = inside
    return Told(
        outcome,
        tells,
        station_of(deployment, choice.station_by),
        night_of(deployment, choice.zone),
        microhabitat,
        low,
        high,
    )


def of_several(told: Iterable[Told]) -> str:
    """Say when densities of different foragers are taken together; empty when they are of one."""
    owners = Counter(one.outcome.forager for one in told if one.outcome.gud is not None)
    if len(owners) < 2:  # noqa: PLR2004
        return ""
    listed = ", ".join(f"{name} ({n})" for name, n in owners.most_common())
    return f"densities of {len(owners)} foragers are taken together, name one: {listed}"


def bounds_by_species(
    outcome: Outcome, species: Mapping[str, Species]
) -> Iterator[tuple[Species, Tells, Decimal | None, Decimal | None]]:
    """Give what a tray tells of each species that it tells anything of. [g] or [items]"""
    there = forager.company(sightings(outcome), species).feeders
    owners = (key for key, one in species.items() if one.name == outcome.forager)
    for key in dict.fromkeys((*owners, *there)):
        if key in species:
            tells, low, high = _bounds(outcome, species[key], species)
            if tells not in NOTHING:
                yield species[key], tells, low, high


def _bounds(
    outcome: Outcome, wanted: Species | None, species: Mapping[str, Species]
) -> tuple[Tells, Decimal | None, Decimal | None]:
    """Give what a tray tells, and between which amounts the density lies. [g] or [items]"""
    start, _ = food.amounts(outcome.deployment)
    if outcome.status in VALUED:
        if wanted is None or outcome.forager == wanted.name:
            return _own(outcome)
        if wanted.key in forager.company(sightings(outcome), species).earlier:
            left = None if outcome.censored is Censored.BELOW else outcome.gud
            return Tells.BETWEEN, left, start
        return Tells.OTHER_FORAGER, None, None
    refused = outcome.status is Status.NO_GUD and outcome.reason is Reason.VISITED_NOT_EATEN
    if refused and start is not None and _came(outcome, wanted, species):
        return Tells.ABOVE, start, None
    return Tells.NO_DENSITY, None, None


def _own(outcome: Outcome) -> tuple[Tells, Decimal | None, Decimal | None]:
    if outcome.censored is Censored.BELOW:
        return Tells.BELOW, None, outcome.gud
    if outcome.censored is Censored.AT_MOST:
        return Tells.AT_MOST, None, outcome.gud
    return Tells.VALUE, outcome.gud, outcome.gud


def _came(outcome: Outcome, wanted: Species | None, species: Mapping[str, Species]) -> bool:
    """Say whether the forager (any, when none is asked for) was on the tray."""
    feeders = forager.company(sightings(outcome), species).feeders
    return wanted.key in feeders if wanted else bool(feeders)


def counts(visit: SeenVisit) -> bool:
    """Say whether a visit's answer is held, and of which tray it speaks."""
    return visit.held and not visit.which_tray


def sightings(outcome: Outcome) -> list[Sighting]:
    """Give every sighting at the tray in its window that is held."""
    return [one for visit in outcome.seen if counts(visit) for one in visit.sightings]


def on_tray(visit: SeenVisit, wanted: Species) -> bool:
    """Say whether a species was on the tray in a visit."""
    return any(one.species == wanted.key and one.where is not Where.NEAR for one in visit.sightings)
