"""Decide how far any number of readers agree: Fleiss' kappa and Krippendorff's alpha."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.agreement.readings import UNFINISHED, ReadVisit, answer_of, readers_of, species_said
from core.agreement.two import SAME
from core.analysis.intervals import ALPHA, Interval, Undefined

DRAWS, SEED = 2000, 1
"""Of the bootstrap: so many draws of visits, always the same ones."""
BOOTSTRAP = f"bootstrap over visits, {DRAWS:,} draws, seed {SEED}"
TWO = 2
"""Readers that an agreement needs at least."""
UNREAD = "nobody read it"
ONE_READER = "one reader only"
ANOTHER_NUMBER = "read by another number of readers"

Floats = NDArray[np.float64]
Statistic = Callable[[Floats, Floats], Floats]
"""Of counts, shape (visits, answers), and weights of the visits, shape (draws, visits): one
number a draw, NaN where it is not defined."""


@dataclass(frozen=True, slots=True)
class Chance:
    """An agreement beyond chance: Fleiss' kappa or Krippendorff's alpha."""

    n: int
    """Visits."""
    readings: int
    value: float
    interval: Interval | Undefined


@dataclass(frozen=True, slots=True)
class GroupAgreement:
    """How far all readers agree, over the visits that at least two read."""

    species: str
    """The key of the only species that is asked for; empty: whole answers."""
    readers: tuple[str, ...]
    n: int
    """Visits."""
    agreement: float | Undefined
    """Chance that two readers of a visit say the same, the mean over visits."""
    together: float | Undefined
    """Chance that one who read with a reader who named the species named it too; undefined for
    whole answers, and where nobody named it."""
    alpha: Chance | Undefined
    """Krippendorff's, for any number of readers a visit."""
    kappa: Chance | Undefined
    """Fleiss', over the visits with one number of readers."""
    readers_each: int
    """That number: the one with most visits, the larger of two."""
    left_out: tuple[tuple[str, int], ...]
    """Visits that count for nothing here, by reason."""
    left_out_of_kappa: tuple[tuple[str, int], ...]
    """Visits that do not count for Fleiss' kappa besides, by reason."""


def group_agreement(visits: Sequence[ReadVisit], species: str = "") -> GroupAgreement:
    """Compare all readers at once."""
    read = [visit for visit in visits if len(visit.readings) >= TWO]
    left_out = Counter(_why_not_read(visit) for visit in visits if len(visit.readings) < TWO)
    sizes = Counter(len(visit.readings) for visit in read)
    each = max(sizes, key=lambda size: (sizes[size], size), default=0)
    others = len(read) - sizes[each]
    counts = answer_counts(read, species)
    of_each = counts[counts.sum(axis=1) == each]
    return GroupAgreement(
        species=species,
        readers=tuple(readers_of(read)),
        n=len(read),
        agreement=_pairwise(counts),
        together=_together(read, species),
        alpha=krippendorff_alpha(counts),
        kappa=fleiss_kappa(of_each),
        readers_each=each,
        left_out=tuple(left_out.most_common()),
        left_out_of_kappa=((ANOTHER_NUMBER, others),) if others else (),
    )


def species_agreements(visits: Sequence[ReadVisit]) -> list[GroupAgreement]:
    """Compare all readers over each species by itself: named, or not named."""
    return [group_agreement(visits, key) for key in species_said(visits)]


def _why_not_read(visit: ReadVisit) -> str:
    if visit.readings:
        return ONE_READER
    return UNFINISHED if visit.unfinished else UNREAD


def answer_counts(visits: Sequence[ReadVisit], species: str = "") -> Floats:
    """Count, for each visit, how many readers gave each answer."""
    answers = [[answer_of(one.said, species) for one in visit.readings] for visit in visits]
    place = {answer: at for at, answer in enumerate(sorted({a for row in answers for a in row}))}
    counts = np.zeros((len(answers), len(place)))
    for at, row in enumerate(answers):
        for answer in row:
            counts[at, place[answer]] += 1
    return counts


def _pairwise(counts: Floats) -> float | Undefined:
    if not len(counts):
        return Undefined("no visit was read by two")
    readers = counts.sum(axis=1)
    return float((((counts**2).sum(axis=1) - readers) / (readers * (readers - 1))).mean())


def _together(visits: Sequence[ReadVisit], species: str) -> float | Undefined:
    if not species:
        return Undefined("whole answers are compared, not one species")
    sizes = [
        (sum(species in one.said for one in visit.readings), len(visit.readings))
        for visit in visits
    ]
    beside = sum(named * (readers - 1) for named, readers in sizes)
    if not beside:
        return Undefined("nobody named it in a visit that two read", len(visits))
    return sum(named * (named - 1) for named, _ in sizes) / beside


def fleiss_kappa(counts: Floats) -> Chance | Undefined:
    """Give Fleiss' kappa, with a bootstrap interval; every visit has the same number of readers.

    References
    ----------
    .. [1] Fleiss 1971, Psychol Bull 76:378-382, doi:10.1037/h0031619
    """
    return _beyond_chance(counts, _fleiss)


def krippendorff_alpha(counts: Floats) -> Chance | Undefined:
    """Give Krippendorff's alpha for names, with a bootstrap interval.

    Visits may have any number of readers; those with fewer than two count for nothing.

    References
    ----------
    .. [1] Krippendorff 2004, Content Analysis, 2nd ed., chapter 11
    """
    return _beyond_chance(counts[counts.sum(axis=1) >= TWO], _krippendorff)


def _beyond_chance(counts: Floats, statistic: Statistic) -> Chance | Undefined:
    n = len(counts)
    if not n:
        return Undefined("no visit was read by two")
    value = float(statistic(counts, np.ones((1, n)))[0])
    if np.isnan(value):
        return Undefined(SAME, n)
    return Chance(n, int(counts.sum()), value, _bootstrapped(counts, statistic))


def _bootstrapped(counts: Floats, statistic: Statistic) -> Interval | Undefined:
    """Draw the visits again and again; draws in which the statistic is undefined are left out."""
    patterns, many = np.unique(counts, axis=0, return_counts=True)
    draws = np.random.default_rng(SEED).multinomial(len(counts), many / len(counts), DRAWS)
    values = statistic(patterns, draws.astype(np.float64))
    values = values[~np.isnan(values)]
    if not len(values) or np.ptp(values) == 0:
        return Undefined("all draws are alike", len(counts))
    low, high = np.quantile(values, [ALPHA / 2, 1 - ALPHA / 2])
    return Interval(float(low), float(high), BOOTSTRAP)


def _fleiss(counts: Floats, weights: Floats) -> Floats:
    readers = counts.sum(axis=1)[0]
    n = weights.sum(axis=1)
    agreeing = ((counts**2).sum(axis=1) - readers) / (readers * (readers - 1))
    by_chance = ((weights @ counts / (n * readers)[:, None]) ** 2).sum(axis=1)
    return _above(weights @ agreeing / n, by_chance)


def _krippendorff(counts: Floats, weights: Floats) -> Floats:
    readers = counts.sum(axis=1)
    agreeing = ((counts**2).sum(axis=1) - readers) / (readers - 1)
    totals = weights @ counts
    n = totals.sum(axis=1)
    by_chance = ((totals**2).sum(axis=1) - n) / (n * (n - 1))
    return _above(weights @ agreeing / n, by_chance)


def _above(agreeing: Floats, by_chance: Floats) -> Floats:
    """Give (agreeing - by chance) / (1 - by chance); NaN where chance agrees on everything."""
    whole = np.isclose(by_chance, 1.0, rtol=0, atol=1e-12)
    found: Floats = np.where(
        whole, np.nan, (agreeing - by_chance) / np.where(whole, 1, 1 - by_chance)
    )
    return found
