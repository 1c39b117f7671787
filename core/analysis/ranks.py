"""Decide what the signs and sizes of paired differences say: the signed-rank test, its estimate.

Too few pairs are said to be too few: no p stands where none could be small.

References
----------
.. [1] Wilcoxon 1945, Biometrics Bull 1:80-83, doi:10.2307/3001968
.. [2] Hodges & Lehmann 1963, Ann Math Stat 34:598-611, doi:10.1214/aoms/1177704172
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from enum import StrEnum
from math import floor, sqrt

import numpy as np
from numpy.typing import NDArray

from core.analysis.choice import STEP, Alternative
from core.analysis.intervals import ALPHA, LEVEL, Interval, Undefined, Z
from core.analysis.pairs import Pairs, rounded

MOST_EXACT = 50
"""Up to so many differences the exact distribution is used (common practice)."""

Steps = NDArray[np.int64]
"""Differences in whole steps of `STEP`, so that equal ones tie."""


class PMethod(StrEnum):
    """How a p was found."""

    EXACT = "exact"
    EXACT_TIED = "exact, given the ties"
    NORMAL = "normal approximation, corrected for ties, not for continuity"


@dataclass(frozen=True, slots=True)
class PValue:
    """A p with how it was found."""

    p: float
    method: PMethod


@dataclass(frozen=True, slots=True)
class SignedRank:
    """What n paired differences say together."""

    n: int
    """Differences, zeros among them."""
    zeros: int
    """Left out of the ranking, kept in the estimate."""
    tied: int
    """Differences not zero that share their size with another."""
    w_plus: float
    w_minus: float
    alternative: Alternative
    smallest_p: float
    """What p could reach at least, if all the ranked differences had one sign."""
    p: PValue | Undefined
    estimate: Decimal
    """Hodges-Lehmann: the median of the means of every two differences, in the measure."""
    interval: Interval | Undefined
    """Of the estimate; its `level` is what it really reaches."""
    mixed: str = ""
    """Says how many pairs compare different foragers: then p speaks of no microhabitat. Empty:
    none does."""

    @property
    def ranked(self) -> int:
        """Count the differences that are not zero."""
        return self.n - self.zeros

    @property
    def statistic(self) -> float:
        """Give the smaller rank sum (two-sided) or the positive one (one-sided), as scipy does."""
        two = self.alternative is Alternative.TWO_SIDED
        return min(self.w_plus, self.w_minus) if two else self.w_plus


def rank_test(pairs: Pairs | Undefined) -> SignedRank | Undefined:
    """Test the differences of pairs for what their choice asks.

    Undefined where pairs are, or where there is none.
    """
    if isinstance(pairs, Undefined):
        return pairs
    if not pairs.n:
        lost = len(pairs.lost)
        many = f"{lost} {'was' if lost == 1 else 'were'} lost"
        return Undefined(f"no pair has a density on both sides, {many}")
    found = signed_rank([one.value for one in pairs.differences], pairs.choice.alternative)
    return found if isinstance(found, Undefined) else replace(found, mixed=pairs.mixed)


def signed_rank(
    differences: Sequence[Decimal], alternative: Alternative = Alternative.TWO_SIDED
) -> SignedRank | Undefined:
    """Rank differences by size and weigh the positive against the negative ones.

    Differences are rounded to `STEP` as decimals first. Zeros are left out of the ranking; ties
    share their mean rank. p is exact up to 50 differences, given their ties, else by the normal
    approximation. It is undefined where even the smallest p that so many
    differences can reach is not below 1 - LEVEL. The estimate and its interval are of all
    differences, zeros too.
    """
    if not differences:
        return Undefined("there is no difference to rank")
    steps = np.array([int(rounded(one) / STEP) for one in differences], dtype=np.int64)
    ranked = steps[steps != 0]
    w_plus, w_minus = rank_sums(ranked)
    _, counts = np.unique(np.abs(ranked), return_counts=True)
    estimate, interval = hodges_lehmann(steps)
    return SignedRank(
        n=len(steps),
        zeros=len(steps) - len(ranked),
        tied=int(counts[counts > 1].sum()),
        w_plus=w_plus,
        w_minus=w_minus,
        alternative=alternative,
        smallest_p=smallest_p(len(ranked), alternative),
        p=_p(ranked, alternative, len(steps)),
        estimate=estimate,
        interval=interval,
    )


def smallest_p(n: int, alternative: Alternative = Alternative.TWO_SIDED) -> float:
    """Give the smallest exact p that n differences can reach: all of one sign."""
    sides = 2 if alternative is Alternative.TWO_SIDED else 1
    return min(1.0, sides * 0.5**n)


def rank_sums(ranked: Steps) -> tuple[float, float]:
    """Give the sums of the ranks of positive and of negative differences, none zero."""
    from scipy.stats import rankdata  # noqa: PLC0415

    if not len(ranked):
        return 0.0, 0.0
    ranks = rankdata(np.abs(ranked))
    return float(ranks[ranked > 0].sum()), float(ranks[ranked < 0].sum())


def _p(ranked: Steps, alternative: Alternative, n: int) -> PValue | Undefined:
    if not len(ranked):
        return Undefined(f"all {n} differences are zero, there is nothing to rank", n)
    least = smallest_p(len(ranked), alternative)
    if least >= ALPHA:
        return Undefined(
            f"too few pairs: {len(ranked)} that differ can reach no p below {least:g}, "
            "even if all differ the same way",
            n,
        )
    ties = len(np.unique(np.abs(ranked))) < len(ranked)
    exact = PMethod.EXACT_TIED if ties else PMethod.EXACT
    return p_value(ranked, alternative, exact if len(ranked) <= MOST_EXACT else PMethod.NORMAL)


def p_value(ranked: Steps, alternative: Alternative, method: PMethod) -> PValue:
    """Give p of differences that are not zero: by scipy, but for exact p with ties."""
    from scipy.stats import wilcoxon  # noqa: PLC0415

    if method is PMethod.EXACT_TIED:
        return PValue(_exact_with_ties(ranked, alternative), method)
    how = "exact" if method is PMethod.EXACT else "asymptotic"
    given = ranked.astype(np.float64)
    found = wilcoxon(given, alternative=str(alternative), method=how, correction=False)
    return PValue(float(found.pvalue), method)


def _exact_with_ties(ranked: Steps, alternative: Alternative) -> float:
    """Give p over every way to give the differences signs; scipy does so up to 13 only."""
    from scipy.stats import rankdata  # noqa: PLC0415

    # Mean ranks are halves: twice a rank is whole.
    doubled = (2 * rankdata(np.abs(ranked))).astype(np.int64)
    chances = rank_sum_distribution(doubled)
    observed = int(doubled[ranked > 0].sum())
    less, greater = float(chances[: observed + 1].sum()), float(chances[observed:].sum())
    if alternative is Alternative.TWO_SIDED:
        return min(1.0, 2 * min(less, greater))
    return greater if alternative is Alternative.GREATER else less


def hodges_lehmann(steps: Steps) -> tuple[Decimal, Interval | Undefined]:
    """Give the median of the means of every two differences (each with itself too), and interval.

    The interval runs from the k-th smallest to the k-th largest mean. Up to 50 differences k is
    from the exact distribution of the signed-rank sum, so the level is reached or exceeded, also
    with ties and zeros; beyond, from its normal approximation.
    """
    ordered = np.sort(steps)
    many = len(steps) * (len(steps) + 1) // 2
    middle = [(many + 1) // 2, many // 2 + 1]
    estimate = sum(kth_sum(ordered, at) for at in middle) * STEP / 4
    k, level, how = _depth(len(steps))
    if len(steps) == 1:
        return estimate, Undefined("too few pairs: one difference has no interval", 1)
    if not k:
        return estimate, Undefined(
            f"too few pairs: the widest interval of {len(steps)} reaches "
            f"{1 - smallest_p(len(steps)):.1%}, not {LEVEL:.0%}",
            len(steps),
        )
    low, high = (float(kth_sum(ordered, at) * STEP / 2) for at in (k, many + 1 - k))
    return estimate, Interval(low, high, how, level)


def kth_sum(ordered: Steps, k: int) -> int:
    """Give the k-th smallest (from 1) sum of two of the values, each with itself too.

    Halves the span of the sums, so that the n (n + 1) / 2 sums are never laid out.
    """
    low, high = 2 * int(ordered[0]), 2 * int(ordered[-1])
    places = np.arange(len(ordered))
    while low < high:
        middle = (low + high) // 2
        stops = np.searchsorted(ordered, middle - ordered, side="right")
        if int(np.maximum(stops - places, 0).sum()) >= k:
            high = middle
        else:
            low = middle + 1
    return low


def _depth(n: int) -> tuple[int, float, str]:
    """Give k, the level reached and how it was found; k is 0 where no k reaches `LEVEL`."""
    if n > MOST_EXACT:
        centre, spread = n * (n + 1) / 4, sqrt(n * (n + 1) * (2 * n + 1) / 24)
        return max(floor(centre - Z * spread), 1), LEVEL, "Walsh averages, normal approximation"
    below = np.cumsum(rank_sum_distribution(range(1, n + 1)))
    k = int(np.searchsorted(below, ALPHA / 2, side="right"))
    level = 1 - 2 * float(below[k - 1]) if k else 0.0
    return k, level, "Walsh averages, exact"


def rank_sum_distribution(ranks: Iterable[int]) -> NDArray[np.float64]:
    """Give the chance of each sum 0, 1, … of ranks that each count or not with even odds."""
    chances = np.ones(1)
    for rank in ranks:
        longer = np.zeros(len(chances) + rank)
        longer[: len(chances)] += chances / 2
        longer[rank:] += chances / 2
        chances = longer
    return chances
