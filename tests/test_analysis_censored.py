"""Values between bounds, against survreg and scipy; the censored model beside the naive answer."""

from collections.abc import Sequence
from dataclasses import replace
from math import exp, inf, log, sqrt
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from builders import SPECIES, result, seen, sighting
from scipy.optimize import minimize_scalar
from scipy.stats import CensoredData, norm, ttest_ind

from core.analysis.censored import INDEPENDENT, CensoredModel, Ratio, censored_model
from core.analysis.choice import Choice
from core.analysis.intervals import Undefined
from core.analysis.likelihood import fit_bounded
from core.analysis.told import Tells, tell
from core.model import Censored, Outcome, Reason, Status, Where

CHOICE = Choice(ZoneInfo("UTC"), first="open", second="bush")

# --- values between bounds -----------------------------------------------------------------------

TOBIN = np.array([
    [0, 57.7, 236], [0.7, 50.9, 283], [0, 48.5, 207], [0, 41.7, 220], [0, 47.7, 238],
    [0, 59.8, 216], [0, 44.3, 284], [3.7, 45.1, 221], [0, 51.7, 275], [3, 50, 269],
    [10.4, 46.8, 207], [0, 58, 249], [0, 58.9, 246], [0, 40, 277], [1.5, 34.1, 231],
    [0, 39.9, 219], [0, 33.4, 240], [3.5, 48.1, 266], [6.1, 46.6, 214], [0, 53.1, 251],
])  # fmt: skip
"""Durable goods, age, liquidity (Tobin 1958), as shipped with R's survival."""


def test_tobins_model_is_that_of_survreg() -> None:
    """survreg(Surv(durable, durable > 0, type = "left") ~ age + quant, dist = "gaussian").

    R's survival gives 15.14486644, -0.12905928, -0.04554166; errors 16.07945, 0.21858, 0.05825;
    log(scale) 1.71785; log likelihood -28.94013.
    """
    durable = TOBIN[:, 0]
    x = np.column_stack([np.ones(20), TOBIN[:, 1:]])
    found = fit_bounded(np.where(durable > 0, durable, -inf), durable, x)
    assert found.converged
    assert found.beta == pytest.approx([15.14486644, -0.12905928, -0.04554166], abs=1e-6)
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx(
        [16.07945315, 0.21858360, 0.05825412], abs=1e-5
    )
    assert log(found.spread) == pytest.approx(1.71785092, abs=1e-7)
    assert found.log_likelihood == pytest.approx(-28.94013320, abs=1e-7)


def test_one_group_with_bounds_of_every_kind_is_that_of_scipy() -> None:
    """scipy.stats.norm.fit on CensoredData: values, below, above and between."""
    draw = np.random.default_rng(2)
    y = draw.normal(1, 2, 300)
    low, high = y.copy(), y.copy()
    kind = draw.integers(0, 4, 300)
    low[kind == 1], high[kind == 1] = -inf, y[kind == 1] + 0.7
    low[kind == 2], high[kind == 2] = y[kind == 2] - 0.4, inf
    low[kind == 3], high[kind == 3] = y[kind == 3] - 1, y[kind == 3] + 0.5
    found = fit_bounded(low, high, np.ones((300, 1)))
    between = np.column_stack([low, high])[kind == 3]
    data = CensoredData(
        uncensored=y[kind == 0], left=high[kind == 1], right=low[kind == 2], interval=between
    )
    mean, spread = norm.fit(data)
    assert (found.beta[0], found.spread) == pytest.approx((mean, spread), abs=2e-4)


def test_without_bounds_it_is_least_squares() -> None:
    """Values only: the means of both groups, and the root of the mean square."""
    y = np.array([1.0, 2, 4, 3, 7, 8])
    x = np.repeat(np.eye(2), 3, axis=0)
    found = fit_bounded(y, y, x)
    assert found.beta == pytest.approx([7 / 3, 6], abs=1e-9)
    squares = ((y - x @ [7 / 3, 6]) ** 2).mean()
    assert found.spread == pytest.approx(sqrt(squares), abs=1e-9)
    assert np.diag(found.covariance) == pytest.approx([squares / 3] * 2, rel=1e-6)


def test_bounds_far_in_the_tail_do_no_harm() -> None:
    """A bound 40 spreads away is a chance of next to nothing, not a crash."""
    y = np.array([0.0, 0.1, -0.1, 0.05])
    low = np.append(y, [3.0, -inf])
    high = np.append(y, [4.0, -3.0])
    found = fit_bounded(low, high, np.ones((6, 1)))
    assert found.converged
    assert np.isfinite(found.log_likelihood)


# --- the censored model of a study ---------------------------------------------------------------


def of_kind(name: str, kind: Tells, left: str, side: str = "open", **values: Any) -> Outcome:
    """Give a tray that tells something of the gerbil, with 10.0 g put in."""
    caution = {"status": Status.CAUTION, "censored": Censored.BELOW}
    earlier = (seen(sighting("g", clock="19:00")), seen(sighting("m", clock="21:00")))
    given: dict[Tells, dict[str, Any]] = {
        Tells.VALUE: {},
        Tells.BELOW: caution,
        Tells.AT_MOST: caution | {"censored": Censored.AT_MOST},
        Tells.ABOVE: {
            "status": Status.NO_GUD,
            "reason": Reason.VISITED_NOT_EATEN,
            "seen": (seen(sighting("g", Where.ON_TRAY)),),
        },
        Tells.BETWEEN: {"forager": "mouse", "seen": earlier},
    }
    return result(name, left, side, **(given[kind] | values))


def censored(outcomes: Sequence[Outcome], **values: Any) -> CensoredModel | Undefined:
    """Fit the censored model of the gerbil."""
    choice = replace(CHOICE, forager=SPECIES["g"], **values)
    return censored_model(tell(outcomes, choice, SPECIES), choice)


OPEN = [(Tells.VALUE, "4.0"), (Tells.VALUE, "6.0"), (Tells.VALUE, "5.0"), (Tells.ABOVE, "10.0"),
        (Tells.BETWEEN, "3.0")]  # fmt: skip
BUSH = [(Tells.VALUE, "2.0"), (Tells.VALUE, "3.5"), (Tells.BELOW, "0.1"), (Tells.AT_MOST, "1.5")]
TRAYS = [
    of_kind(f"{side}{at}", kind, left, side)
    for side, rows in (("open", OPEN), ("bush", BUSH))
    for at, (kind, left) in enumerate(rows)
]


def by_definition(rows: Sequence[tuple[Tells, str]], mean: float, spread: float) -> float:
    """Give the log likelihood of one microhabitat, written out from the table of bounds."""
    total = 0.0
    for kind, left in rows:
        z, start = ((log(amount) - mean) / spread for amount in (float(left), 10.0))
        total += {
            Tells.VALUE: norm.logpdf(z) - log(spread),
            Tells.BELOW: norm.logcdf(z),
            Tells.AT_MOST: norm.logcdf(z),
            Tells.ABOVE: norm.logsf(start),
            Tells.BETWEEN: log(max(norm.cdf(start) - norm.cdf(z), 1e-300)),
        }[kind]
    return total


def test_bounds_are_weighed_in_as_they_are_defined() -> None:
    """Emptied F(L), interrupted F(R), refused 1 - F(I), earlier feeder F(I) - F(R): the top.

    At the fitted spread, each microhabitat's fitted mean is where its own likelihood is highest,
    and no other spread does better.
    """
    found = censored(TRAYS)
    assert isinstance(found, CensoredModel)
    assert found.converged
    means = []
    for rows, group in ((OPEN, found.first), (BUSH, found.second)):
        best = minimize_scalar(
            lambda mean, rows=rows: -by_definition(rows, mean, found.spread), (-2, 3), tol=1e-10
        ).x
        assert log(group.geometric_mean) == pytest.approx(best, abs=1e-6)
        means.append(best)
    top = sum(map(by_definition, (OPEN, BUSH), means, [found.spread] * 2))
    for factor in (0.98, 1.02):
        assert sum(map(by_definition, (OPEN, BUSH), means, [found.spread * factor] * 2)) < top
    assert found.ratio.ratio == pytest.approx(exp(means[0] - means[1]), abs=1e-6)
    assert found.ratio.interval.low < found.ratio.ratio < found.ratio.interval.high


def test_what_each_tray_tells_is_counted() -> None:
    """Beside the means stand how many values and bounds they are made of."""
    found = censored(TRAYS)
    assert isinstance(found, CensoredModel)
    assert found.n == 9
    assert dict(found.first.tells) == {Tells.VALUE: 3, Tells.ABOVE: 1, Tells.BETWEEN: 1}
    assert dict(found.second.tells) == {Tells.VALUE: 2, Tells.BELOW: 1, Tells.AT_MOST: 1}
    assert found.warnings == (INDEPENDENT,)


def test_the_naive_answer_stands_beside() -> None:
    """Limits taken as values and refusals forgotten: what scipy's t test of the logarithms says."""
    found = censored(TRAYS)
    assert isinstance(found, CensoredModel)
    assert isinstance(found.naive, Ratio)
    numbers = ([4.0, 6.0, 5.0], [2.0, 3.5, 0.1, 1.5])
    logs = [[log(left) for left in lefts] for lefts in numbers]
    expected = ttest_ind(*logs).confidence_interval(0.95)
    assert (found.naive.interval.low, found.naive.interval.high) == pytest.approx(
        (exp(expected.low), exp(expected.high))
    )
    assert found.naive.n == 7
    assert found.first.naive_mean == pytest.approx(exp(np.mean(logs[0])))
    assert found.first.geometric_mean > exp(np.mean(logs[0]))


def test_the_naive_answer_is_off_where_many_trays_are_emptied() -> None:
    """A study with a known truth (1.5 times as much left in the open, 0.5 g the least weighed).

    The bounded likelihood holds the truth; the naive answer takes the limit for a value.
    """
    draw = np.random.default_rng(3)
    rows = []
    for side, mean in (("open", 0.75), ("bush", 0.5)):
        for number, value in enumerate(np.exp(draw.normal(log(mean), 0.8, 400))):
            kind = Tells.BELOW if value <= 0.5 else Tells.VALUE
            rows.append(of_kind(f"{side}{number}", kind, f"{max(value, 0.5):.4f}", side))
    found = censored(rows)
    assert isinstance(found, CensoredModel)
    assert isinstance(found.naive, Ratio)
    assert found.ratio.interval.low < 1.5 < found.ratio.interval.high
    assert found.naive.interval.high < 1.5


@pytest.mark.parametrize(
    ("bush", "why"),
    [
        pytest.param([], "no tray of bush tells anything of the density", id="none"),
        pytest.param(
            [(Tells.BELOW, "0.1")] * 2,
            "nothing bounds the density of bush from below (2 emptied: below what can be weighed)",
            id="all emptied",
        ),
        pytest.param(
            [(Tells.ABOVE, "10.0")],
            "nothing bounds the density of bush from above "
            "(1 visited and not eaten: above what was put in)",
            id="all refused",
        ),
    ],
)
def test_a_microhabitat_without_bounds_on_both_sides(
    bush: list[tuple[Tells, str]], why: str
) -> None:
    """No number is made up: what is missing is said."""
    rows = [of_kind(f"bush{at}", kind, left, "bush") for at, (kind, left) in enumerate(bush)]
    found = censored([*TRAYS[:5], *rows])
    assert isinstance(found, Undefined)
    assert found.why == why


def test_a_spread_needs_two_values_that_differ() -> None:
    """All trays of a microhabitat alike: the spread would run to nothing."""
    rows = [of_kind(f"{side}{at}", Tells.VALUE, left, side)
            for side, left in (("open", "4.0"), ("bush", "2.0")) for at in range(4)]  # fmt: skip
    assert censored(rows) == Undefined("no two measured densities of a microhabitat differ", 8)


def test_bounds_alone_have_a_mean_beside_values() -> None:
    """One microhabitat with an emptied and a refused tray only: bounded on both sides."""
    rows = [of_kind("b1", Tells.BELOW, "0.1", "bush"), of_kind("b2", Tells.ABOVE, "10.0", "bush")]
    found = censored([*TRAYS[:5], *rows])
    assert isinstance(found, CensoredModel)
    assert 0.1 < found.second.geometric_mean < 10
    assert isinstance(found.second.naive_mean, float)


def test_no_naive_answer_where_one_side_has_no_number() -> None:
    """Refused or fed from earlier, never last: the outcome table has no number there."""
    rows = [of_kind("b1", Tells.BETWEEN, "2.0", "bush"), of_kind("b2", Tells.ABOVE, "9", "bush")]
    found = censored([*TRAYS[:5], *rows])
    assert isinstance(found, CensoredModel)
    assert isinstance(found.naive, Undefined)
    assert isinstance(found.second.naive_mean, Undefined)


def test_a_fit_of_bounds_that_did_not_converge_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its numbers are shown with a warning not to use them."""
    monkeypatch.setattr("core.analysis.likelihood.FLAT", 0.0)
    found = censored(TRAYS)
    assert isinstance(found, CensoredModel)
    assert found.warnings == (INDEPENDENT, "the fit did not converge, do not use its numbers")
