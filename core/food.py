"""Decide what the masses of a tray mean: corrected, within tolerance, emptied or gained.

Order of the corrections: as weighed, then moisture, then sifting loss. Which animal the food
speaks of is decided in forager.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from statistics import mean, stdev
from zoneinfo import ZoneInfo

from core.model import Condition, TrayDeployment, TrayRole
from core.settings import Settings

ONE = Decimal(1)
FEWEST_SIFT_CONTROLS = 3
"""So many sift controls are needed before their spread sets the tolerance."""
ITEM_STEP = ONE
"""The smallest step of counted food. [items]"""
SPOILED = {Condition.KNOCKED, Condition.FLOODED, Condition.SPILLED, Condition.ANTS}

NO_MOISTURE_CONTROL = "no moisture control of that day, moisture not corrected"
OTHER_SITE = "moisture controls of another site"
MOISTURE_OFF = "moisture not corrected, the study's settings switch it off"
SIFTING_OFF = "sifting loss not corrected, the study's settings switch it off"


class Food(StrEnum):
    """What became of the food, after corrections."""

    UNTOUCHED = "T0"
    PART_EATEN = "T1"
    EMPTIED = "T2"
    GAINED = "T3"
    MISSING = "T?"


@dataclass(frozen=True, slots=True)
class Controls:
    """The control trays of a study, those with a spoilt or missing mass left out."""

    moisture: tuple[TrayDeployment, ...]
    sift: tuple[TrayDeployment, ...]
    zone: ZoneInfo
    """In which a pick-up day is read."""


@dataclass(frozen=True, slots=True)
class Reading:
    """The food of one tray; grams, or items when it was counted."""

    kind: Food
    start: Decimal | None = None
    left: Decimal | None = None
    """As weighed or counted."""
    corrected: Decimal | None = None
    moisture: Decimal = ONE
    """k: controls after / controls before."""
    recovery: Decimal = ONE
    """r: recovered / added in sift controls."""
    tolerance: Decimal = ONE
    smallest: Decimal = ONE
    """What can just be told from nothing."""
    moisture_controls: int = 0
    sift_controls: int = 0
    moisture_sd: float | None = None
    recovery_sd: float | None = None
    """Of the ratios of the single controls (standard deviation of a sample); None below two."""
    tolerance_how: str = ""
    """Where the tolerance is from, in words."""
    notes: tuple[str, ...] = ()

    @property
    def eaten(self) -> Decimal | None:
        """Give the food gone; negative where more was left than put in."""
        if self.start is None or self.corrected is None:
            return None
        return self.start - self.corrected

    @property
    def proportion_left(self) -> Decimal | None:
        """Give the share left; above 1 where more was left than put in, never cut."""
        if not self.start or self.corrected is None:
            return None
        return self.corrected / self.start


def controls_of(deployments: Sequence[TrayDeployment], zone: ZoneInfo) -> Controls:
    """Pick the control trays that can be used."""
    usable = [one for one in deployments if not one.missing and one.condition not in SPOILED]
    return Controls(
        tuple(one for one in usable if one.role is TrayRole.MOISTURE_CONTROL and not one.counted),
        tuple(one for one in usable if one.role is TrayRole.SIFT_CONTROL),
        zone,
    )


def read_food(deployment: TrayDeployment, controls: Controls, settings: Settings) -> Reading:
    """Correct the food left and say what became of it.

    corrected = left / k / r, with k from moisture controls (weighed food only) and r from sift
    controls, of all the study; each is 1 where there are none, or where it is switched off.
    """
    start, left = amounts(deployment)
    sift = [one for one in controls.sift if one.counted == deployment.counted]
    step = ITEM_STEP if deployment.counted else settings.scale_step
    fixed = None if deployment.counted else settings.tolerance
    within, how = tolerance(sift, step, fixed), tolerance_how(sift, fixed)
    if start is None or left is None:
        return Reading(
            Food.MISSING, start, left, tolerance=within, smallest=step, tolerance_how=how
        )
    wet, sieved, notes = _used(deployment, controls, sift, settings)
    moisture, recovery = ratio(wet), ratio(sieved)
    corrected = left / moisture / recovery
    return Reading(
        classify(start, left, corrected, within, step),
        start,
        left,
        corrected,
        moisture,
        recovery,
        moisture_controls=len(wet),
        sift_controls=len(sieved),
        moisture_sd=spread(wet),
        recovery_sd=spread(sieved),
        tolerance=within,
        smallest=step,
        tolerance_how=how,
        notes=tuple(notes),
    )


def _used(
    deployment: TrayDeployment,
    controls: Controls,
    sift: Sequence[TrayDeployment],
    settings: Settings,
) -> tuple[Sequence[TrayDeployment], Sequence[TrayDeployment], list[str]]:
    """Give the moisture and sift controls that a tray is corrected by, and what is to be said."""
    wet, note = matching_moisture(deployment, controls)
    notes = [note] if note else []
    if not settings.moisture_corrected:
        notes = [MOISTURE_OFF] if controls.moisture and not deployment.counted else []
        wet = []
    if not settings.sifting_corrected:
        notes += [SIFTING_OFF] if sift else []
        sift = []
    return wet, sift, notes


def amounts(deployment: TrayDeployment) -> tuple[Decimal | None, Decimal | None]:
    """Give food at the start and left, in grams or, when it was counted, in items."""
    if not deployment.counted:
        return deployment.food_start_g, deployment.food_left_g
    items = (deployment.items_start, deployment.items_left)
    start, left = (None if count is None else Decimal(count) for count in items)
    return start, left


def classify(
    start: Decimal, left: Decimal, corrected: Decimal, tolerance: Decimal, smallest: Decimal
) -> Food:
    """Put the food into its class: T0 |start - left| <= tolerance, T3 gained, T2 emptied, T1.

    Emptied: at or below the smallest measurable, as weighed or once corrected.
    """
    eaten = start - corrected
    if abs(eaten) <= tolerance:
        return Food.UNTOUCHED
    if eaten < 0:
        return Food.GAINED
    return Food.EMPTIED if min(left, corrected) <= smallest else Food.PART_EATEN


def ratio(controls: Sequence[TrayDeployment]) -> Decimal:
    """Give mean after / mean before of control trays; 1 where there are none or nothing is left."""
    pairs = [amounts(control) for control in controls]
    before = sum((start for start, _ in pairs if start is not None), Decimal(0))
    after = sum((left for _, left in pairs if left is not None), Decimal(0))
    return after / before if before > 0 and after > 0 else ONE


def spread(controls: Sequence[TrayDeployment]) -> float | None:
    """Give how far the ratios after / before of single controls lie apart; None below two."""
    pairs = [amounts(control) for control in controls]
    ratios = [float(left / start) for start, left in pairs if start and left is not None]
    return stdev(ratios) if len(ratios) > 1 else None


def in_items(grams: Decimal | None, item_mass: Decimal | None) -> Decimal | None:
    """Give a mass as a number of items of that mean mass [g]; None where either is not known."""
    return None if grams is None or item_mass is None else grams / item_mass


def in_grams(items: Decimal | None, item_mass: Decimal | None) -> Decimal | None:
    """Give a number of items as a mass [g]; None where it or the mass of one is not known."""
    return None if items is None or item_mass is None else items * item_mass


def matching_moisture(
    deployment: TrayDeployment, controls: Controls
) -> tuple[list[TrayDeployment], str]:
    """Find the moisture controls: same site and pick-up day, else same day, else none and said."""
    if deployment.counted or not controls.moisture:
        return [], ""
    day = _day(deployment, controls.zone)
    same_day = [one for one in controls.moisture if day and _day(one, controls.zone) == day]
    site = deployment.site.strip().casefold()
    same_site = [one for one in same_day if one.site.strip().casefold() == site]
    if same_site:
        return same_site, ""
    return (same_day, OTHER_SITE) if same_day else ([], NO_MOISTURE_CONTROL)


def _day(deployment: TrayDeployment, zone: ZoneInfo) -> date | None:
    moment = deployment.picked_up
    return None if moment is None else moment.astimezone(zone).date()


def tolerance(sift: Sequence[TrayDeployment], step: Decimal, fixed: Decimal | None) -> Decimal:
    """Give how far start and left may differ when nobody fed. [g] or [items]

    The study's own if set; else mean loss + 2 SD (of the sample) of at least three sift
    controls; else two steps of the scale.
    """
    if fixed is not None:
        return fixed
    losses = _losses(sift)
    if len(losses) < FEWEST_SIFT_CONTROLS:
        return 2 * step
    return max(mean(losses) + 2 * stdev(losses), Decimal(0))


def tolerance_how(sift: Sequence[TrayDeployment], fixed: Decimal | None) -> str:
    """Say where the tolerance is from, in the order in which `tolerance` looks."""
    if fixed is not None:
        return "set in the study's settings"
    many = len(_losses(sift))
    if many < FEWEST_SIFT_CONTROLS:
        return f"two steps of the scale, {many} of the {FEWEST_SIFT_CONTROLS} sift controls needed"
    return f"mean loss + 2 SD of {many} sift controls"


def _losses(sift: Sequence[TrayDeployment]) -> list[Decimal]:
    pairs = [amounts(control) for control in sift]
    return [start - left for start, left in pairs if start is not None and left is not None]
