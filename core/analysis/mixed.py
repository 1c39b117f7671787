"""Decide how much of the difference between microhabitats is left beside stations and nights.

y = b0 + b1 [first microhabitat] + station + night + e, station and night being random; fitted by
restricted maximum likelihood, whose algebra is crossed's. Bounded densities have no place here.
"""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from core.analysis.choice import Choice, Measure
from core.analysis.crossed import Fit, fit_crossed, leaves_nothing
from core.analysis.intervals import ALPHA, LEVEL, Interval, Undefined
from core.analysis.ranks import smallest_p
from core.analysis.scales import SHARES, Scale, on_scale, variance_shares
from core.analysis.told import BOUNDS, Told, of_several
from core.errors import AnalysisError

FEWEST_LEVELS = 5
"""With fewer levels the variance of a random effect is poorly told (common practice)."""
FEWEST_SPARE = 5
"""With fewer degrees of freedom no p and no interval is given: so many are left by six pairs, the
fewest of which the signed-rank test could tell anything from chance (a judgement)."""
NOTHING_LEFT = 1e-12
"""A variance below this share of the whole came out as nothing."""

Factors = dict[str, list[Hashable]]
"""The level of each tray, by the name of the random effect."""


@dataclass(frozen=True, slots=True)
class Component:
    """One source of variance."""

    name: str
    """`station`, `night` or `residual`."""
    levels: int
    """Stations or nights; for the residual, trays."""
    variance: float
    share: float
    """Of the sum of all."""


@dataclass(frozen=True, slots=True)
class Residual:
    """One tray in the model, on its scale."""

    deployment: str
    station: str
    night: str
    fitted: float
    """With the effects of its station and night."""
    residual: float


@dataclass(frozen=True, slots=True)
class MixedModel:
    """What the model says, on its scale."""

    n: int
    scale: Scale
    baseline: float
    """b0: the second microhabitat."""
    effect: float
    """b1: the first minus the second."""
    error: float
    """Standard error of the effect."""
    spare: int
    """Degrees of freedom of the effect."""
    interval: Interval | Undefined
    p: float | Undefined
    """Against no effect, by the t distribution of effect / error. Neither is told where there is
    too little to tell chance by, see `_too_few_for_p`."""
    components: tuple[Component, ...]
    residuals: tuple[Residual, ...]
    converged: bool
    warnings: tuple[str, ...]
    left_out: int
    """Trays whose density is only bounded."""
    choice: Choice


ALIKE = "all trays of a microhabitat have one density, nothing varies"
EXPLAINED = (
    "microhabitat, station and night explain every density, nothing is left to tell chance by"
)


def mixed_model(told: Sequence[Told], choice: Choice) -> MixedModel | Undefined:
    """Fit the model to the trays with a value, a station and a night.

    Undefined where there is nothing to compare, or nothing left to tell chance from effect by;
    where there is little, the effect stands without interval and p (see `_too_few_for_p`). A
    random effect with one level, or with a level for every tray, is left out and said.

    The degrees of freedom are those left beside both microhabitats and all levels; where a station
    (or night) has trays of one microhabitat only, throughout, they are its levels less two
    (containment, common practice).
    """
    if choice.sides is None:
        return Undefined("there are not two microhabitats to compare, name two", len(told))
    valued = [one for one in told if one.value is not None]
    rows = [one for one in valued if one.station and one.night]
    factors, warnings = _factors(rows)
    if len(rows) < len(valued):
        many = len(valued) - len(rows)
        trays = "1 tray with a density has" if many == 1 else f"{many} trays with a density have"
        warnings.append(f"{trays} no site or pair")
    fault = _too_few(rows, factors, choice)
    if fault:
        why = [*warnings, fault] if rows else [fault]
        return Undefined("; ".join(why), len(rows))
    try:
        y = np.array([on_scale(_value(one, choice), choice.scale) for one in rows])
    except AnalysisError as words:
        return Undefined(str(words), len(rows))
    x = np.array([[1.0, one.microhabitat == choice.sides[0]] for one in rows])
    codes = [_codes(factor) for factor in factors.values()]
    fit = None if leaves_nothing(y, x, codes) else fit_crossed(y, x, codes)
    if fit is None or fit.residual <= NOTHING_LEFT * (sum(fit.variances) + fit.residual):
        return Undefined(ALIKE if leaves_nothing(y, x, []) else EXPLAINED, len(rows))
    left_out = sum(one.tells in BOUNDS for one in told)
    doubts = filter(None, (*warnings, *_doubts(fit, factors), _of_several(rows, choice)))
    return _model(rows, factors, y, fit, [*doubts], left_out, choice)


def _of_several(rows: Sequence[Told], choice: Choice) -> str:
    return "" if choice.forager else of_several(rows)


def _too_few_for_p(rows: Sequence[Told], factors: Factors, choice: Choice) -> str:
    """Say what there is too little of for a p; empty when there is enough.

    Where stations have both microhabitats there have to be as many of them (or of their nights,
    where each night counts) as the signed-rank test of the pairs would need: two stations say no
    more of others in a model than as two pairs. And the degrees of freedom have to be at least
    `FEWEST_SPARE` (both a judgement).
    """
    first, second = (
        {(one.station, None if choice.average_nights else one.night) for one in rows
         if one.microhabitat == side}
        for side in choice.sides or ()
    )  # fmt: skip
    both, spare = len(first & second), _spare(rows, factors)
    if both and smallest_p(both) >= ALPHA:
        many = "station" if choice.average_nights else "night"
        where = f"{both} {many}{'s' * (both > 1)}"
        together = "" if choice.average_nights else ", those of all stations together"
        return f"too few pairs: both microhabitats have a density at {where}{together}"
    if spare < FEWEST_SPARE:
        degrees = "degree" if spare == 1 else "degrees"
        return f"too few trays: {spare} {degrees} of freedom, {FEWEST_SPARE} are the least"
    return ""


def _too_few(rows: Sequence[Told], factors: Factors, choice: Choice) -> str:
    """Say what there is too little of for a model; empty when there is enough."""
    counts = [sum(one.microhabitat == side for one in rows) for side in choice.sides or ()]
    if not all(counts):
        first, second = counts
        return (
            f"{first} trays of {choice.first} and {second} of {choice.second} have a density, "
            "a station and a night: both are needed"
        )
    if not factors:
        return "no random effect can be told, see the pairs"
    if _spare(rows, factors) < 1:
        levels = " and ".join(f"{len(set(one))} {name}s" for name, one in factors.items())
        return f"{len(rows)} trays are too few to tell the microhabitats apart beside {levels}"
    return ""


def _spare(rows: Sequence[Told], factors: Factors) -> int:
    """Give the degrees of freedom of the effect; below one: there are too few trays."""
    sides = [one.microhabitat for one in rows]
    levels = {name: len(set(factor)) for name, factor in factors.items()}
    contained = [
        levels[name] - 2
        for name, factor in factors.items()
        if len(set(zip(factor, sides, strict=True))) == levels[name]
    ]
    beside = len(rows) - 2 - sum(count - 1 for count in levels.values())
    return min([*contained, beside])


def _value(one: Told, choice: Choice) -> float:
    """Give a tray's value for the scale: an amount left, or the share eaten."""
    value = float(one.value or 0)
    if choice.scale not in SHARES:
        return value
    if choice.measure is not Measure.PROPORTION:
        raise AnalysisError(
            f"The scale {choice.scale} needs shares, the measure is {choice.measure}. "
            f"Choose the measure {Measure.PROPORTION}."
        )
    return 1 - value


def _factors(rows: Sequence[Told]) -> tuple[Factors, list[str]]:
    """Give the random effects that can be told, and say of the others why they cannot."""
    station: list[Hashable] = [one.station for one in rows]
    night: list[Hashable] = [one.night for one in rows]
    found: Factors = {}
    warnings = []
    for name, factor in (("station", station), ("night", night)) if rows else ():
        levels = len(set(factor))
        if levels == 1:
            warnings.append(f"there is one {name} only, so no random {name}")
        elif levels == len(rows):
            warnings.append(f"every tray has a {name} of its own, so no random {name}")
        elif found and len(set(zip(station, night, strict=True))) == levels == len(set(station)):
            warnings.append("every station has a night of its own, so no random night")
        else:
            found[name] = factor
    return found, warnings


def _codes(factor: Sequence[Hashable]) -> NDArray[np.int64]:
    codes = {level: code for code, level in enumerate(dict.fromkeys(factor))}
    return np.array([codes[level] for level in factor], dtype=np.int64)


def _doubts(fit: Fit, factors: Factors) -> list[str]:
    doubts = [] if fit.converged else ["the fit did not converge, do not use its numbers"]
    whole = sum(fit.variances) + fit.residual
    for (name, factor), variance in zip(factors.items(), fit.variances, strict=True):
        levels = len(set(factor))
        if levels < FEWEST_LEVELS:
            doubts.append(f"only {levels} {name}s: their variance is poorly told")
        if variance < NOTHING_LEFT * whole:
            doubts.append(f"the variance between {name}s came out as nothing")
    return doubts


def _model(
    rows: Sequence[Told],
    factors: Factors,
    y: NDArray[np.float64],
    fit: Fit,
    warnings: Sequence[str],
    left_out: int,
    choice: Choice,
) -> MixedModel:
    from scipy.stats import t  # noqa: PLC0415

    names = [*factors, "residual"]
    levels = [*(len(set(factor)) for factor in factors.values()), len(rows)]
    variances = [*fit.variances, fit.residual]
    shares = variance_shares(variances)
    effect, error = float(fit.beta[1]), sqrt(fit.covariance[1, 1])
    spare = _spare(rows, factors)
    reach = error * float(t.ppf((1 + LEVEL) / 2, spare))
    interval: Interval | Undefined = Interval(effect - reach, effect + reach, "REML, t")
    p: float | Undefined = float(2 * t.sf(abs(effect) / error, spare))
    few = _too_few_for_p(rows, factors, choice)
    if few:
        interval = p = Undefined(few, len(rows))
    return MixedModel(
        n=len(rows),
        scale=choice.scale,
        baseline=float(fit.beta[0]),
        effect=effect,
        error=error,
        spare=spare,
        interval=interval,
        p=p,
        components=tuple(map(Component, names, levels, variances, shares)),
        residuals=tuple(
            Residual(one.name, one.station, str(one.night), fitted, value - fitted)
            for one, value, fitted in zip(rows, y.tolist(), fit.fitted.tolist(), strict=True)
        ),
        converged=fit.converged,
        warnings=tuple(warnings),
        left_out=left_out,
        choice=choice,
    )
