"""Decide what trays say by their mass alone, whoever ate: beside the confirmed densities, never in.

Where no camera watched, or nobody could say who fed last, the food is still known. Then a tray
tells how much somebody left, which is no giving-up density of a species.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from core.food import Food, Reading
from core.model import Censored, Condition, Outcome, Reason, Status
from core.outcomes import density_of

SPOILT = frozenset({
    Reason.KNOCKED, Reason.FLOODED, Reason.SPILLED, Reason.ANTS, Reason.WET_UNCORRECTED,
    Reason.MASS_MISSING, Reason.WINDOWS_OVERLAP, Reason.PERSONS_ONLY,
})  # fmt: skip
"""Why the food itself tells nothing."""


def by_mass(outcomes: Sequence[Outcome], readings: Mapping[str, Reading]) -> list[Outcome]:
    """Give each tray as its food alone has it: no forager, no visits.

    Parameters
    ----------
    readings
        What became of the food of each, by deployment.

    A tray whose food tells nothing (spoilt, a mass missing, more left than put in) stays as it is.
    A time that is missing takes nothing from the food: such a tray only finds no pair, or no night.
    """
    return [_one(outcome, readings[outcome.deployment.deployment]) for outcome in outcomes]


def _unused(outcome: Outcome) -> Reason:
    """Say why nobody fed: who was there and did not, where it was decided; else the mass alone.

    How long the tray was watched is no reason here, whatever it is one of there.
    """
    decided = outcome.status is Status.NO_GUD and outcome.reason is not Reason.UNUSED_SEEN
    return outcome.reason if decided else Reason.UNUSED_BY_MASS


def _one(outcome: Outcome, reading: Reading) -> Outcome:
    hidden = outcome.reason is Reason.TIME_MISSING  # ... which is said before what spoilt it
    spoilt = hidden and outcome.deployment.condition is not Condition.OK
    if spoilt or outcome.reason in SPOILT or reading.kind in {Food.MISSING, Food.GAINED}:
        return replace(outcome, gud=None, forager="", seen=(), visits=0, visits_all=0)
    used = reading.kind is not Food.UNTOUCHED
    emptied = reading.kind is Food.EMPTIED
    return replace(
        outcome,
        status=Status.CAUTION if used else Status.NO_GUD,
        reason=Reason.EATEN_UNWATCHED if used else _unused(outcome),
        gud=density_of(reading) if used else None,
        censored=Censored.BELOW if emptied else Censored.NO,
        forager="",
        seen=(),
        visits=0,
        visits_all=0,
    )
