"""Decide in which words it is told by which controls the food of trays was corrected."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from enum import StrEnum

from core import food
from core.exports.tables import number_text
from core.food import Food, Reading
from core.model import Outcome, TrayDeployment
from core.plural import many
from core.settings import Settings

Line = dict[str, str]
DIGITS = 4
"""Of factors and their spread: masses are weighed no better."""


class Source(StrEnum):
    """Whose moisture controls a tray is corrected by."""

    OWN = "of the same site and day"
    OTHER = "of another site, same day"
    NONE = "none of that day: not corrected"


def readings_of(
    trays: Sequence[TrayDeployment], outcomes: Iterable[Outcome], settings: Settings
) -> dict[str, Reading]:
    """Give what became of the food of trays, by deployment.

    Parameters
    ----------
    trays
        The whole tray log, with the controls.
    """
    controls = food.controls_of(trays, settings.timezone)
    found = (one.deployment for one in outcomes)
    return {one.deployment: food.read_food(one, controls, settings) for one in found}


def source_of(reading: Reading) -> Source | None:
    """Say whose controls were used; None where moisture is not corrected at all, or no mass is."""
    if reading.kind is Food.MISSING:
        return None
    if food.NO_MOISTURE_CONTROL in reading.notes:
        return Source.NONE
    if not reading.moisture_controls:
        return None
    return Source.OTHER if food.OTHER_SITE in reading.notes else Source.OWN


def remark(readings: Iterable[Reading]) -> str:
    """Say how many trays have no moisture control of their own; empty where each has one."""
    sources = Counter(filter(None, map(source_of, readings)))
    trays, none, other = sources.total(), sources[Source.NONE], sources[Source.OTHER]
    told = []
    if none:
        stay = "stays" if none == 1 else "stay"
        told.append(f"{none} had no moisture control of the day and {stay} uncorrected")
    if other:
        told.append(f"{other} used controls of another site")
    return f"Of {many(trays, 'tray')}, {'; '.join(told)}." if told else ""


def factor_lines(
    outcomes: Sequence[Outcome], readings: Mapping[str, Reading], settings: Settings
) -> list[Line]:
    """Give the factor of each correction, with its spread and controls, by day and sites."""
    wet: dict[tuple[str, ...], list[Outcome]] = {}
    sifted: Counter[tuple[str, ...]] = Counter()
    for one in outcomes:
        reading = readings[one.deployment.deployment]
        source = source_of(reading)
        if source is not None:
            factor = _factor(reading.moisture, reading.moisture_sd, reading.moisture_controls)
            wet.setdefault((_day(one.deployment, settings), source, *factor), []).append(one)
        if reading.sift_controls and reading.kind is not Food.MISSING:
            sifted[_factor(reading.recovery, reading.recovery_sd, reading.sift_controls)] += 1
    lines = [
        {"correction": "moisture", "day": day, "sites": _sites(some), "trays": str(len(some)),
         "controls": whose, "n": n, "factor": factor, "SD": spread}
        for (day, whose, factor, spread, n), some in sorted(wet.items(), key=lambda one: one[0])
    ]  # fmt: skip
    return lines + [
        {"correction": "sifting", "day": "all", "sites": "all", "trays": str(trays),
         "controls": "of the whole study", "n": n, "factor": factor, "SD": spread}
        for (factor, spread, n), trays in sifted.items()
    ]  # fmt: skip


def _factor(found: Decimal, spread: float | None, controls: int) -> tuple[str, str, str]:
    """Write a factor with its spread and the number of its controls."""
    return number_text(found, DIGITS), number_text(spread, DIGITS), str(controls)


def _day(deployment: TrayDeployment, settings: Settings) -> str:
    """Give the day of the pick-up, by which controls are matched."""
    moment = deployment.picked_up
    return "not known" if moment is None else str(moment.astimezone(settings.timezone).date())


def _sites(outcomes: Iterable[Outcome]) -> str:
    return ", ".join(dict.fromkeys(one.deployment.site or "not given" for one in outcomes))
