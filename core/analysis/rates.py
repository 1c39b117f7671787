"""Decide how often animals came to the trays, by the hours in which a camera was watching.

Visits are counted by the watched hours, never by the hours a tray was out.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log, sqrt

from core.analysis.choice import Choice
from core.analysis.intervals import LEVEL, Interval, Undefined, wald
from core.analysis.told import Told, counts, on_tray
from core.model import Outcome, Species, Status
from core.units import hours

NOT_WATCHED = "no hour was watched"
UNANSWERED = "a visit is unanswered"
CONTRADICTED = "its records contradict each other"


@dataclass(frozen=True, slots=True)
class VisitRate:
    """How often animals came to the trays of one microhabitat."""

    microhabitat: str
    """Empty: all."""
    trays: int
    visits: int
    watched_h: float
    rate: float | Undefined
    """[visits/h]"""
    interval: Interval | Undefined


@dataclass(frozen=True, slots=True)
class RateRatio:
    """How many times the second microhabitat's rate the first's is."""

    n: int
    """Trays."""
    ratio: float
    interval: Interval


@dataclass(frozen=True, slots=True)
class VisitRates:
    """Visit rates of all trays and of each microhabitat."""

    rates: tuple[VisitRate, ...]
    ratio: RateRatio | Undefined
    dispersion: float | None
    """Spread of the counts over that of pure chance (1); intervals are widened by its root when
    it is above 1. None where too few trays are to tell."""
    left_out: tuple[tuple[str, int], ...]
    """Trays whose visits or hours are not known, by reason."""
    choice: Choice


@dataclass(frozen=True, slots=True)
class _Watched:
    microhabitat: str
    visits: int
    watched_h: float


def visit_rates(told: Sequence[Told], choice: Choice) -> VisitRates:
    """Tell the visits of the forager (or of any animal) on the tray per watched hour.

    Counts are taken as Poisson with the watched hours as exposure, widened by what they spread
    more than that (quasi-Poisson). Trays count as independent of each other.
    """
    left_out: Counter[str] = Counter()
    rows = []
    for one in told:
        row = _watched(one, choice)
        if isinstance(row, str):
            left_out[row] += 1
        else:
            rows.append(row)
    sides = choice.sides or ()
    groups = {side: [row for row in rows if row.microhabitat == side] for side in sides}
    dispersion = _dispersion(list(groups.values()) if sides else [rows])
    return VisitRates(
        rates=(
            _rate("", rows, dispersion),
            *(_rate(side, group, dispersion) for side, group in groups.items()),
        ),
        ratio=_ratio(list(groups.values()), dispersion),
        dispersion=dispersion,
        left_out=tuple(left_out.most_common()),
        choice=choice,
    )


def _watched(one: Told, choice: Choice) -> _Watched | str:
    """Give a tray's visits and watched hours, or say why they are not known."""
    outcome = one.outcome
    watched = sum(hours(span.end - span.start) for span in outcome.watched)
    if outcome.status is Status.ERROR:
        return CONTRADICTED
    if outcome.unanswered:
        return UNANSWERED
    if watched <= 0:
        return NOT_WATCHED
    return _Watched(one.microhabitat, visits_of(outcome, choice.forager), watched)


def visits_of(outcome: Outcome, wanted: Species | None) -> int:
    """Count the visits of a species on the tray, whoever owns the density; of any animal."""
    if wanted is None:
        return outcome.visits_all
    return sum(counts(visit) and on_tray(visit, wanted) for visit in outcome.seen)


def _dispersion(groups: Sequence[Sequence[_Watched]]) -> float | None:
    """Give Pearson's chi-square of the counts over its degrees of freedom.

    The Poisson model with one rate for each group and the hours as exposure has its best where
    each rate is visits / hours of its group; groups without a visit do not tell.
    """
    squares, spare = 0.0, 0
    for group in groups:
        visits = sum(row.visits for row in group)
        if not visits:
            continue
        rate = visits / sum(row.watched_h for row in group)
        expected = [rate * row.watched_h for row in group]
        squares += sum((row.visits - e) ** 2 / e for row, e in zip(group, expected, strict=True))
        spare += len(group) - 1
    return squares / spare if spare else None


def _rate(name: str, rows: Sequence[_Watched], dispersion: float | None) -> VisitRate:
    visits, watched = sum(row.visits for row in rows), sum(row.watched_h for row in rows)
    rate: float | Undefined = Undefined("no tray was watched")
    interval: Interval | Undefined = Undefined("no tray was watched")
    if rows:
        rate = visits / watched
        interval = _interval(visits, watched, dispersion)
    return VisitRate(name, len(rows), visits, watched, rate, interval)


def _interval(visits: int, watched: float, dispersion: float | None) -> Interval:
    """Give the interval of a rate: on the logarithm; with no visit, the exact upper limit."""
    from scipy.stats import chi2  # noqa: PLC0415

    if not visits:
        most = float(chi2.ppf((1 + LEVEL) / 2, 2)) / 2 / watched
        return Interval(0.0, most, "Poisson, exact")
    around = wald(log(visits / watched), _error(dispersion, 1 / visits), "")
    return Interval(exp(around.low), exp(around.high), _how(dispersion))


def _ratio(groups: Sequence[Sequence[_Watched]], dispersion: float | None) -> RateRatio | Undefined:
    if not groups:
        return Undefined("there are not two microhabitats to compare, name two")
    n = sum(map(len, groups))
    sums = [(sum(r.visits for r in group), sum(r.watched_h for r in group)) for group in groups]
    if not all(watched for _, watched in sums):
        which = "only one microhabitat" if any(watched for _, watched in sums) else "no tray"
        return Undefined(f"{which} was watched", n)
    (first, first_h), (second, second_h) = sums
    if not first or not second:
        return Undefined(f"{first} and {second} visits give no ratio, both must be above zero", n)
    ratio = first / first_h / (second / second_h)
    around = wald(log(ratio), _error(dispersion, 1 / first + 1 / second), "")
    return RateRatio(n, ratio, Interval(exp(around.low), exp(around.high), _how(dispersion)))


def _error(dispersion: float | None, variance: float) -> float:
    return sqrt(variance * max(1.0, dispersion or 1.0))


def _how(dispersion: float | None) -> str:
    return "quasi-Poisson" if dispersion and dispersion > 1 else "Poisson"
