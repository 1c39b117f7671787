"""Decide how densities that are only bounded are weighed in, beside the naive answer.

The logarithm of the density is normal, with a mean for each microhabitat and one spread. A value
counts with its density, a bound with the chance of lying within it. Trays count as independent:
nights and stations are the mixed model's.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, inf, log, sqrt

import numpy as np
from numpy.typing import NDArray

from core.analysis.choice import Choice
from core.analysis.intervals import LEVEL, Interval, Undefined, wald
from core.analysis.likelihood import fit_bounded
from core.analysis.told import NOTHING, Tells, Told, of_several

INDEPENDENT = "each tray counts on its own, so nights at one station make the interval too narrow"
NAIVE = (Tells.VALUE, Tells.BELOW, Tells.AT_MOST)
"""Trays that have a number in the outcome table, bounds written like values."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Group:
    """One microhabitat, in the measure."""

    microhabitat: str
    n: int
    tells: tuple[tuple[Tells, int], ...]
    """How many trays tell what."""
    geometric_mean: float
    naive_mean: float | Undefined
    """The geometric mean of the numbers in the outcome table."""


@dataclass(frozen=True, slots=True)
class Ratio:
    """How many times the second microhabitat's geometric mean the first's is."""

    n: int
    ratio: float
    interval: Interval


@dataclass(frozen=True, slots=True)
class CensoredModel:
    """Both microhabitats with the bounds weighed in."""

    n: int
    first: Group
    second: Group
    ratio: Ratio
    naive: Ratio | Undefined
    """As if every limit were a value, and trays without a number were not there."""
    spread: float
    """Standard deviation of the logarithm."""
    converged: bool
    warnings: tuple[str, ...]
    choice: Choice


def censored_model(told: Sequence[Told], choice: Choice) -> CensoredModel | Undefined:
    """Fit both microhabitats, values and bounds together.

    Undefined where a microhabitat has nothing that bounds its density from below (all emptied)
    or from above (none eaten), or where no two measured values differ within a microhabitat.
    """
    if choice.sides is None:
        return Undefined("there are not two microhabitats to compare, name two", len(told))
    rows = [one for one in told if one.tells not in NOTHING]
    names = (choice.first, choice.second)
    of_side = [[one for one in rows if one.microhabitat == side] for side in choice.sides]
    for name, group in zip(names, of_side, strict=True):
        fault = _cannot(name, group)
        if fault:
            return Undefined(fault, len(rows))
    if not any(len({one.value for one in group} - {None}) > 1 for group in of_side):
        return Undefined("no two measured densities of a microhabitat differ", len(rows))
    rows = [*of_side[0], *of_side[1]]
    x = np.zeros((len(rows), 2))
    x[: len(of_side[0]), 0] = x[len(of_side[0]) :, 1] = 1.0
    fit = fit_bounded(*_log_bounds(rows), x)
    gap = float(fit.beta[0] - fit.beta[1])
    error = sqrt(fit.covariance[0, 0] + fit.covariance[1, 1] - 2 * fit.covariance[0, 1])
    warnings = [INDEPENDENT]
    if choice.forager is None and (several := of_several(rows)):
        warnings.append(several)
    if not fit.converged:
        warnings.append("the fit did not converge, do not use its numbers")
    first, second = (
        _group(name, group, exp(float(mean)))
        for name, group, mean in zip(names, of_side, fit.beta[:2], strict=True)
    )
    return CensoredModel(
        n=len(rows),
        first=first,
        second=second,
        ratio=Ratio(len(rows), exp(gap), _unlogged(wald(gap, error, "likelihood, normal"))),
        naive=_naive(*of_side),
        spread=fit.spread,
        converged=fit.converged,
        warnings=tuple(warnings),
        choice=choice,
    )


def _cannot(name: str, group: Sequence[Told]) -> str:
    """Say what keeps a microhabitat's mean from being told; empty when nothing does."""
    counts = Counter(one.tells for one in group)
    listed = "; ".join(f"{count} {tells}" for tells, count in counts.items())
    if not group:
        return f"no tray of {name} tells anything of the density"
    if not any(one.low for one in group):
        return f"nothing bounds the density of {name} from below ({listed})"
    if all(one.high is None for one in group):
        return f"nothing bounds the density of {name} from above ({listed})"
    return ""


def _log_bounds(rows: Sequence[Told]) -> tuple[Floats, Floats]:
    """Give the logarithms of the bounds; nothing, or zero, bounds from below nowhere."""
    low = [log(one.low) if one.low else -inf for one in rows]
    high = [inf if one.high is None else log(one.high) for one in rows]
    return np.array(low), np.array(high)


def _group(name: str, group: Sequence[Told], mean: float) -> Group:
    counts = Counter(one.tells for one in group)
    naive = _naive_logs(group)
    return Group(
        microhabitat=name,
        n=len(group),
        tells=tuple((tells, counts[tells]) for tells in Tells if counts[tells]),
        geometric_mean=mean,
        naive_mean=exp(float(naive.mean())) if len(naive) else Undefined("no tray has a number"),
    )


def _naive_logs(group: Sequence[Told]) -> Floats:
    return np.array([log(one.high) for one in group if one.tells in NAIVE and one.high])


def _naive(first: Sequence[Told], second: Sequence[Told]) -> Ratio | Undefined:
    """Compare the numbers of the outcome table by a t interval of their logarithms."""
    from scipy.stats import t  # noqa: PLC0415

    logs = [_naive_logs(group) for group in (first, second)]
    n, spare = sum(map(len, logs)), sum(map(len, logs)) - 2
    if not all(map(len, logs)) or spare < 1:
        return Undefined("too few trays have a number", n)
    variance = sum(float(((one - one.mean()) ** 2).sum()) for one in logs) / spare
    error = sqrt(variance * sum(1 / len(one) for one in logs))
    gap = float(logs[0].mean() - logs[1].mean())
    reach = float(t.ppf((1 + LEVEL) / 2, spare)) * error
    interval = Interval(exp(gap - reach), exp(gap + reach), "t, limits taken as values")
    return Ratio(n, exp(gap), interval)


def _unlogged(interval: Interval) -> Interval:
    return Interval(exp(interval.low), exp(interval.high), interval.how)
