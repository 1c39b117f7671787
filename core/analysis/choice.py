"""Decide what an analysis is asked: whose density, in which measure, between which microhabitats.

A choice goes with every result, so that nobody has to guess what a number was made of.
"""

import difflib
import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from enum import StrEnum
from functools import lru_cache
from zoneinfo import ZoneInfo

from core import food
from core.analysis.scales import SHARES, Scale
from core.model import Censored, Outcome, Species, TrayDeployment
from core.units import grams_per_litre

MORNING = timedelta(hours=3)
"""A tray set out before this hour belongs to the evening before (a judgement)."""
STEP = Decimal("0.000001")
"""Differences are rounded to this before they are ranked, so that equal ones tie."""
ALIKE = Decimal("1.1")
"""Start amounts or volumes whose largest is at most so many times the smallest are alike (a
judgement)."""


class Measure(StrEnum):
    """In what a density is told."""

    GRAMS = "food left [g]"
    GRAMS_PER_LITRE = "food left [g/L of substrate]"
    ITEMS = "food left [items]"
    PROPORTION = "share of the food left"


class StationBy(StrEnum):
    """What makes two trays of different nights stand at one station."""

    SITE = "site"
    PAIR = "site and pair"


class Alternative(StrEnum):
    """What a p speaks against no difference for."""

    TWO_SIDED = "two-sided"
    GREATER = "greater"
    LESS = "less"


@dataclass(frozen=True, slots=True)
class Choice:
    """What an analysis is asked."""

    zone: ZoneInfo
    """In which the night of a tray is read."""
    forager: Species | None = None
    """Whose density; None: whoever fed last."""
    measure: Measure = Measure.GRAMS
    first: str = ""
    second: str = ""
    """Microhabitats; a difference is the first minus the second. Capitals and blanks do not
    matter."""
    station_by: StationBy = StationBy.SITE
    average_nights: bool = True
    """Whether the nights of a station become one difference before ranking; else each night
    counts as if it were a station of its own."""
    scale: Scale = Scale.RAW
    """Of the mixed model."""
    alternative: Alternative = Alternative.TWO_SIDED
    """What the signed-rank test speaks for; anything but two-sided is to be chosen beforehand."""
    seasons: tuple[str, ...] = ()
    """Those that were asked for; the trays are of no other. Empty: of all."""
    item_mass: Decimal | None = None
    """Mean mass of one item [g], to tell grams as items and items as grams; None: neither."""

    @property
    def sides(self) -> tuple[str, str] | None:
        """Give both microhabitats as they are compared; None when there are not two."""
        first, second = folded(self.first), folded(self.second)
        return (first, second) if first and second and first != second else None

    @property
    def when(self) -> str:
        """Name the seasons that were asked for; empty: all."""
        if not self.seasons:
            return ""
        return f"season{'s' * (len(self.seasons) > 1)} {' and '.join(self.seasons)}"


@lru_cache(maxsize=4096)  # a study has few names, and each is asked for many times
def folded(text: str) -> str:
    """Give a name as it is compared: blanks joined, capitals small."""
    return " ".join(text.split()).casefold()


def in_order(name: str) -> tuple[tuple[int, int, str], ...]:
    """Give what names are sorted by: capitals do not matter, and S2 comes before S10."""
    parts = re.findall(r"\d+|\D+", name.casefold())
    return tuple((0, int(part), "") if part.isdecimal() else (1, 0, part) for part in parts)


def proposed(outcomes: Sequence[Outcome], zone: ZoneInfo, forager: Species | None = None) -> Choice:
    """Choose for a start: the two microhabitats with most trays, in the order of the log.

    Stations go by site and pair where a site had several pairs out in one night and a pair came
    back on another night; else by site. Where most food was counted the measure is items.
    """
    names = [one.deployment.microhabitat for one in outcomes if folded(one.deployment.microhabitat)]
    most = [name for name, _ in Counter(map(folded, names)).most_common(2)]
    written = {fold: _usual(names, fold) for fold in dict.fromkeys(map(folded, names))}
    sides = [written[fold] for fold in written if fold in most]
    first, second = (*sides, "", "")[:2]
    counted = sum(one.deployment.counted for one in outcomes)
    return Choice(
        zone=zone,
        forager=forager,
        measure=Measure.ITEMS if counted * 2 > len(outcomes) else Measure.GRAMS,
        first=first,
        second=second,
        station_by=_station_by(outcomes, zone),
    )


def owners(outcomes: Iterable[Outcome], zone: ZoneInfo) -> list[str]:
    """Give the foragers that own a density, by name: who has most to compare first.

    That is, most nights of a site (and pair) with measured densities of it in several
    microhabitats; of those with as many, who owns most densities, bounds among them.
    """
    owned = [one for one in outcomes if one.gud is not None]
    there: dict[tuple[str, str, str, date | None], set[str]] = defaultdict(set)
    for one in owned:
        if one.censored is not Censored.NO:
            continue
        own, night = one.deployment, night_of(one.deployment, zone)
        key = (one.forager, folded(own.site), folded(own.pair), night)
        there[key].add(folded(own.microhabitat))
    trays = Counter(one.forager for one in owned)
    paired = Counter(forager for (forager, *_), sides in there.items() if len(sides) > 1)
    return sorted(trays, key=lambda name: (-paired[name], -trays[name]))


def _usual(names: Iterable[str], fold: str) -> str:
    return Counter(name for name in names if folded(name) == fold).most_common(1)[0][0]


def _station_by(outcomes: Sequence[Outcome], zone: ZoneInfo) -> StationBy:
    nights: dict[tuple[str, str], set[date]] = {}
    pairs: dict[tuple[str, date], set[str]] = {}
    for one in outcomes:
        night, pair = night_of(one.deployment, zone), folded(one.deployment.pair)
        site = folded(one.deployment.site)
        if night and pair:
            nights.setdefault((site, pair), set()).add(night)
            pairs.setdefault((site, night), set()).add(pair)
    came_back = any(len(on) > 1 for on in nights.values())
    several = any(len(out) > 1 for out in pairs.values())
    return StationBy.PAIR if came_back and several else StationBy.SITE


def station_of(deployment: TrayDeployment, by: StationBy) -> str:
    """Name the station of a tray; empty where neither its site nor its pair is given."""
    site, pair = folded(deployment.site), folded(deployment.pair)
    if by is StationBy.SITE and site:
        return site
    return " / ".join(filter(None, (site, pair)))


def night_of(deployment: TrayDeployment, zone: ZoneInfo) -> date | None:
    """Give the local date on which a tray was set out; before three it is the evening before's."""
    if deployment.set_out is None:
        return None
    local = deployment.set_out.astimezone(zone).replace(tzinfo=None)
    return (local - MORNING).date()


def measured(
    amount: Decimal | None,
    deployment: TrayDeployment,
    measure: Measure,
    item_mass: Decimal | None = None,
) -> Decimal | None:
    """Give an amount of this tray's food in a measure; None where the tray does not have it.

    Parameters
    ----------
    amount
        [g], or [items] where the food was counted.
    item_mass
        Mean mass of one item [g]; None: counted food has no grams, and weighed food no items.
    """
    if amount is None:
        return None
    if measure is Measure.PROPORTION:
        start, _ = food.amounts(deployment)
        return amount / start if start else None
    if deployment.counted is not (measure is Measure.ITEMS):
        convert = food.in_grams if deployment.counted else food.in_items
        amount = convert(amount, item_mass)
    if amount is None:
        return None
    if measure is Measure.GRAMS_PER_LITRE:
        return grams_per_litre(amount, deployment.substrate_l)
    return amount


def remarks(outcomes: Sequence[Outcome], choice: Choice) -> tuple[str, ...]:
    """Say what in the trays does not fit the choice, each with the way out."""
    return (
        *_spelling(outcomes, choice),
        *_unlike(outcomes, choice),
        *_converted(outcomes, choice),
        *_misfits(choice),
    )


def _spelling(outcomes: Sequence[Outcome], choice: Choice) -> list[str]:
    found = []
    names = Counter(one.deployment.microhabitat for one in outcomes)
    for fold in sorted({folded(name) for name in names} - {""}):
        ways = sorted(name for name in names if folded(name) == fold)
        trays = sum(names[name] for name in ways)
        if len(ways) > 1:
            written = ", ".join(f"{name!r} ({names[name]})" for name in ways)
            found.append(
                f"One microhabitat is written in {len(ways)} ways, taken as one: {written}."
            )
        near = difflib.get_close_matches(fold, choice.sides or (), n=1, cutoff=0.7)
        if near and fold not in (choice.sides or ()):
            found.append(
                f"Microhabitat {ways[0]!r} ({trays}) is left out. Did you mean {near[0]!r}? "
                "Then mend the tray log."
            )
        elif choice.sides and fold not in choice.sides:
            found.append(
                f"Microhabitat {ways[0]!r} ({trays}) is neither of the two that are compared; its "
                "trays are in no density here. Ask for it and another one."
            )
    blank = sum(names[name] for name in names if not folded(name))
    if blank and choice.sides:
        trays_have = "1 tray has" if blank == 1 else f"{blank} trays have"
        left = "is" if blank == 1 else "are"
        found.append(f"{trays_have} no microhabitat and {left} left out. Fill in the tray log.")
    sites = Counter(one.deployment.site for one in outcomes)
    for fold in sorted({folded(name) for name in sites} - {""}):
        ways = sorted(name for name in sites if folded(name) == fold)
        if len(ways) > 1:
            written = ", ".join(map(repr, ways))
            found.append(f"One site is written in {len(ways)} ways, taken as one: {written}.")
    return found


def _unlike(outcomes: Sequence[Outcome], choice: Choice) -> list[str]:
    """Say when the trays did not start alike, as far as the measure does not even that out."""
    found = []
    trays = [one.deployment for one in outcomes]
    plain = Measure.ITEMS if choice.measure is Measure.ITEMS else Measure.GRAMS
    starts = [
        start
        for one in trays
        if (start := measured(food.amounts(one)[0], one, plain, choice.item_mass))
    ]
    litres = [one.substrate_l for one in trays if one.substrate_l]
    if choice.measure is not Measure.PROPORTION and _differ(starts):
        found.append(
            f"Food put in differs between trays ({_short(min(starts))} to {_short(max(starts))}). "
            "Compare the share of the food left, or trays with the same start."
        )
    if choice.measure is not Measure.GRAMS_PER_LITRE and _differ(litres):
        found.append(
            f"Substrate differs between trays ({min(litres):f} to {max(litres):f} L). "
            "Compare the food left per litre, or trays with the same volume."
        )
    return found


def _short(amount: Decimal) -> str:
    """Write an amount as it was given; one that was worked out, to STEP."""
    rounded = amount.quantize(STEP)
    return f"{amount:f}" if amount == rounded else f"{rounded.normalize():f}"


def _converted(outcomes: Sequence[Outcome], choice: Choice) -> list[str]:
    """Say how many trays are told in another unit than their food was measured in."""
    in_items = choice.measure is Measure.ITEMS
    other = sum(one.deployment.counted is not in_items for one in outcomes)
    if choice.item_mass is None or choice.measure is Measure.PROPORTION or not other:
        return []
    trays = "1 tray is" if other == 1 else f"{other} trays are"
    how = "items, though food was weighed" if in_items else "grams, though food was counted"
    return [f"{trays} told in {how}: one item is taken for {choice.item_mass:f} g."]


def _differ(amounts: Sequence[Decimal]) -> bool:
    return bool(amounts) and max(amounts) > ALIKE * min(amounts)


def _misfits(choice: Choice) -> list[str]:
    if choice.scale in SHARES and choice.measure is not Measure.PROPORTION:
        return [f"The scale {choice.scale} compares shares; the measure {choice.measure} is none."]
    return []
