"""Decide the tidy table of outcomes: one number a row, with its unit and how it is bounded."""

from collections.abc import Iterator
from decimal import Decimal
from zoneinfo import ZoneInfo

from core import food
from core.exports.tables import Row, number_text, outcome_row, time_text
from core.model import Censored, Outcome
from core.units import grams_per_litre

LONG_COLUMNS = (
    "deployment", "tray", "site", "pair", "microhabitat", "set_out", "picked_up", "status",
    "reason", "forager", "variable", "value", "unit", "bound",
)  # fmt: skip
VARIABLES = {
    "food_start": "Food put in.",
    "food_left": "Food left, as weighed or counted.",
    "food_left_corrected": "Food left, after the corrections for moisture and sifting loss.",
    "eaten": "Put in minus left, corrected; negative when more was left than put in.",
    "gud": "Giving-up density; only of trays that are kept, with or without a caution.",
    "gud_per_l": "The same for each litre of substrate.",
    "gud_items": "The same as a number of items of the mean mass that the settings give.",
    "gud_grams": "The same as a mass, for counted food, by that mean mass.",
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


def long_rows(outcome: Outcome, zone: ZoneInfo, item_mass: Decimal | None = None) -> Iterator[Row]:
    """Give a row for each number that a tray has; a number that is not known has no row.

    Parameters
    ----------
    item_mass
        Mean mass of one item [g], to tell grams as items and items as grams; None: neither.
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


def _numbers(outcome: Outcome, item_mass: Decimal | None) -> list[tuple[str, str, str]]:
    """Give each variable's name, number and unit; an empty number is not known."""
    tray = outcome.deployment
    unit = "items" if tray.counted else "g"
    start, left = food.amounts(tray)
    gud = None if tray.counted else outcome.gud
    litre = None if gud is None else grams_per_litre(gud, tray.substrate_l)
    items = food.in_items(gud, item_mass)
    grams = food.in_grams(outcome.gud, item_mass) if tray.counted else None
    return [
        ("food_start", number_text(start, 4), unit),
        ("food_left", number_text(left, 4), unit),
        ("food_left_corrected", number_text(outcome.corrected, 4), unit),
        ("eaten", number_text(outcome.eaten, 4), unit),
        ("gud", number_text(outcome.gud, 4), unit),
        ("gud_per_l", number_text(litre, 4), "g/L"),
        ("gud_items", number_text(items, 2), "items"),
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
