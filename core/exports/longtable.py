"""Decide the tidy table of outcomes: one number a row, with its unit and how it is bounded."""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from types import MappingProxyType
from zoneinfo import ZoneInfo

from core import food
from core.analysis import told
from core.analysis.told import Tells
from core.exports.tables import Row, number_text, outcome_row, time_text
from core.model import Censored, Outcome, Species
from core.units import grams_per_litre

LONG_COLUMNS = (
    "deployment", "tray", "site", "pair", "microhabitat", "set_out", "picked_up", "status",
    "reason", "forager", "variable", "value", "unit", "bound", "species",
)  # fmt: skip
VARIABLES = {
    "food_start": "Food put in.",
    "food_left": "Food left, as weighed or counted.",
    "food_left_corrected": "Food left, after the corrections for moisture and sifting loss.",
    "eaten": "Put in minus left, corrected; negative when more was left than put in.",
    "gud": "Giving-up density; only of trays that are kept, with or without a caution.",
    "gud_per_l": "The same for each litre of substrate.",
    "gud_items": "The same of counted food alone, as in the table of outcomes.",
    "gud_as_items": "Of weighed food as a number of items, by the mean mass in the settings.",
    "gud_grams": "Of counted food as a mass, by that mean mass.",
    "gud_low": "What the density of the species of the row is at least; without one: not known.",
    "gud_high": "What it is at most; the same as gud_low where the density is known.",
    "proportion_left": "Left, corrected, over put in; never cut at 1.",
    "hours_out": "From set-out to pick-up.",
    "watched_share": "Part of the window in which a camera was known to work.",
    "visits": "Confirmed visits of the forager on the tray.",
    "visits_all": "Visits of all animals on the tray.",
    "unanswered": "Visits that still wait for people.",
    "minutes_on_tray": "The forager's, from first to last photo of each run.",
    "first_visit": "From set-out to the first animal on the tray.",
}
"""What each `variable` is."""
BOUNDS = {
    Censored.NO: "exact",
    Censored.BELOW: "below",
    Censored.AT_MOST: "at_most",
}
AT_LEAST = "at_least"
BOUND_WORDS = (*BOUNDS.values(), AT_LEAST)
"""What a number may be."""
NO_SPECIES: Mapping[str, Species] = MappingProxyType({})


def long_rows(
    outcome: Outcome,
    zone: ZoneInfo,
    item_mass: Decimal | None = None,
    species: Mapping[str, Species] = NO_SPECIES,
) -> Iterator[Row]:
    """Give a row for each number that a tray has; a number that is not known has no row.

    Parameters
    ----------
    item_mass
        Mean mass of one item [g], to tell grams as items and items as grams; None: neither.
    species
        The study's by key: of each that a tray tells anything of there is a gud_low, a gud_high,
        or both, so that the model with bounds can be fitted from the table alone.
    """
    tray = outcome.deployment
    whole = outcome_row(outcome, zone)
    same = {name: whole[name] for name in LONG_COLUMNS if name in whole}
    bound = BOUNDS[outcome.censored] if outcome.gud is not None else "exact"
    for name, text, unit in _numbers(outcome, item_mass):
        if text:
            of_gud = name.startswith("gud")
            yield same | {
                "set_out": time_text(tray.set_out, zone),
                "picked_up": time_text(tray.picked_up, zone),
                "variable": name,
                "value": text,
                "unit": unit,
                "bound": bound if of_gud else "exact",
            }
    for row in _bound_rows(outcome, species):
        yield same | row


def _bound_rows(outcome: Outcome, species: Mapping[str, Species]) -> Iterator[Row]:
    """Give between what the density of each species lies, where the tray tells anything of it."""
    unit = "items" if outcome.deployment.counted else "g"
    for one, tells, low, high in told.bounds_by_species(outcome, species):
        upper = "exact" if tells is Tells.VALUE else BOUNDS[Censored.AT_MOST]
        upper = BOUNDS[Censored.BELOW] if tells is Tells.BELOW else upper
        lower = "exact" if tells is Tells.VALUE else AT_LEAST
        for name, number, bound in (("gud_low", low, lower), ("gud_high", high, upper)):
            if number is not None:
                yield {
                    "variable": name,
                    "value": number_text(number, 4),
                    "unit": unit,
                    "bound": bound,
                    "species": one.name,
                }


def _numbers(outcome: Outcome, item_mass: Decimal | None) -> list[tuple[str, str, str]]:
    """Give each variable's name, number and unit; an empty number is not known."""
    tray = outcome.deployment
    unit = "items" if tray.counted else "g"
    start, left = food.amounts(tray)
    gud = None if tray.counted else outcome.gud
    litre = None if gud is None else grams_per_litre(gud, tray.substrate_l)
    items = outcome.gud if tray.counted else None
    as_items = food.in_items(gud, item_mass)
    grams = food.in_grams(outcome.gud, item_mass) if tray.counted else None
    return [
        ("food_start", number_text(start, 4), unit),
        ("food_left", number_text(left, 4), unit),
        ("food_left_corrected", number_text(outcome.corrected, 4), unit),
        ("eaten", number_text(outcome.eaten, 4), unit),
        ("gud", number_text(outcome.gud, 4), unit),
        ("gud_per_l", number_text(litre, 4), "g/L"),
        ("gud_items", number_text(items, 4), "items"),
        ("gud_as_items", number_text(as_items, 2), "items"),
        ("gud_grams", number_text(grams, 4), "g"),
        ("proportion_left", number_text(outcome.proportion_left, 4), "1"),
        ("hours_out", number_text(outcome.hours_out, 4), "h"),
        ("watched_share", number_text(outcome.watched_share, 4), "1"),
        ("visits", str(outcome.visits), "visits"),
        ("visits_all", str(outcome.visits_all), "visits"),
        ("unanswered", str(outcome.unanswered), "visits"),
        ("minutes_on_tray", number_text(outcome.minutes_on_tray, 2), "min"),
        ("first_visit", number_text(outcome.first_visit_min, 2), "min"),
    ]
