"""The disc equation and its refusals, scales and theirs, variance shares."""

from collections.abc import Callable
from math import asin, exp, log, pi, sqrt

import pytest
from scipy.integrate import solve_ivp

from core.analysis.harvest import density_at, harvest_rate, time_in_tray
from core.analysis.scales import Scale, on_scale, variance_shares
from core.errors import AnalysisError

# --- the disc equation ---------------------------------------------------------------------------

SEARCH, HANDLING = 0.02, 0.5


def test_time_down_to_a_density() -> None:
    """a 0.02, h 0.5, from 200 to 40: ln(5) / 0.02 + 0.5 x 160 = 160.47189562."""
    assert time_in_tray(SEARCH, HANDLING, 200, 40) == pytest.approx(160.47189562170502, abs=1e-9)


def test_time_is_that_of_following_the_rate_down() -> None:
    """Solved as a differential equation, food is at 40 after that time."""
    run = solve_ivp(
        lambda _, food: [-harvest_rate(SEARCH, HANDLING, float(food[0]))],
        (0, 160.4718956217), [200.0], rtol=1e-10, atol=1e-10,
    )  # fmt: skip
    assert run.y[0, -1] == pytest.approx(40, abs=1e-6)


def test_time_is_that_of_the_half_saturation_form() -> None:
    """x - x0 + V t + K ln(x / x0) = 0 with V = 1/h, K = 1/(a h): a public model's documentation."""
    speed, half = 1 / HANDLING, 1 / (SEARCH * HANDLING)
    time = (200 - 40 + half * log(200 / 40)) / speed
    assert time_in_tray(SEARCH, HANDLING, 200, 40) == pytest.approx(time, abs=1e-9)


def test_the_quitting_harvest_rate_and_back() -> None:
    """At 40 the rate is 0.8 / 1.4 = 0.5714285714, and that rate is quit at 40."""
    rate = harvest_rate(SEARCH, HANDLING, 40)
    assert rate == pytest.approx(0.5714285714, abs=1e-10)
    assert density_at(SEARCH, HANDLING, rate) == pytest.approx(40, abs=1e-9)


def test_time_adds_up_over_visits() -> None:
    """From 200 to 100 and on to 40 takes as long as from 200 to 40."""
    parts = time_in_tray(SEARCH, HANDLING, 200, 100) + time_in_tray(SEARCH, HANDLING, 100, 40)
    assert parts == pytest.approx(time_in_tray(SEARCH, HANDLING, 200, 40), abs=1e-12)


def test_without_handling_time_is_search_alone() -> None:
    """h 0: ln(N0 / Nf) / a."""
    assert time_in_tray(SEARCH, 0, 200, 40) == pytest.approx(log(5) / 0.02, abs=1e-12)


def test_nothing_eaten_takes_no_time() -> None:
    """From 40 to 40."""
    assert time_in_tray(SEARCH, HANDLING, 40, 40) == 0


def test_food_that_does_not_run_down() -> None:
    """a 0.5, h 2, 10 items, 60 min: 27.2727 eaten; never more than T / h = 30 (a course page)."""
    assert 60 * harvest_rate(0.5, 2, 10) == pytest.approx(27.2727272727, abs=1e-9)
    assert 60 * harvest_rate(0.5, 2, 1e12) == pytest.approx(30, abs=1e-9)


def test_no_food_gives_no_harvest() -> None:
    """Rate 0 at 0, and back."""
    assert harvest_rate(SEARCH, HANDLING, 0) == 0
    assert density_at(SEARCH, HANDLING, 0) == 0


@pytest.mark.parametrize(
    ("ask", "says"),
    [
        pytest.param(lambda: time_in_tray(0.02, 0.5, 200, 0), "0 left gives no time", id="emptied"),
        pytest.param(lambda: time_in_tray(0.02, 0.5, 200, -1), "-1 left gives", id="below nothing"),
        pytest.param(lambda: time_in_tray(0.02, 0.5, 40, 41), "41 left of 40", id="gained"),
        pytest.param(lambda: time_in_tray(0.02, 0.5, float("inf"), 4), "4 left of", id="no end"),
        pytest.param(lambda: time_in_tray(0, 0.5, 200, 40), "search rate of 0", id="no search"),
        pytest.param(lambda: harvest_rate(-1, 0.5, 40), "search rate of -1", id="backward"),
        pytest.param(lambda: harvest_rate(float("nan"), 0, 4), "search rate of nan", id="unknown"),
        pytest.param(lambda: harvest_rate(0.02, -0.5, 40), "handling time of -0.5", id="handling"),
        pytest.param(lambda: harvest_rate(0.02, 0.5, -4), "-4 of food", id="less than nothing"),
        pytest.param(lambda: density_at(0.02, 0.5, 2), "allows less than 2", id="limit"),
        pytest.param(lambda: density_at(0.02, 0.5, -1), "harvest rate of -1", id="negative rate"),
    ],
)  # fmt: skip
def test_what_has_no_answer_is_refused(ask: Callable[[], float], says: str) -> None:
    """Words, not infinity and not a traceback: the value and the way out."""
    with pytest.raises(AnalysisError, match=says):
        ask()


# --- scales --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "scale", "expected"),
    [
        pytest.param(-2.5, Scale.RAW, -2.5, id="raw"),
        pytest.param(exp(2), Scale.LOG, 2, id="log"),
        pytest.param(0.8, Scale.LOGIT, log(4), id="logit"),
        pytest.param(0.5, Scale.ARCSINE, 0.7853981634, id="arcsine of a half"),
        pytest.param(0, Scale.ARCSINE, 0, id="arcsine of nothing"),
        pytest.param(1, Scale.ARCSINE, pi / 2, id="arcsine of all"),
    ],
)
def test_values_on_scales(value: float, scale: Scale, expected: float) -> None:
    """ln, ln(p / (1 - p)), asin(sqrt(p))."""
    assert on_scale(value, scale) == pytest.approx(expected, abs=1e-10)


@pytest.mark.parametrize(
    ("value", "scale"),
    [
        pytest.param(0, Scale.LOG, id="no logarithm of nothing"),
        pytest.param(-1, Scale.LOG, id="nor of less"),
        pytest.param(0, Scale.LOGIT, id="no logit of nothing"),
        pytest.param(1, Scale.LOGIT, id="nor of all"),
        pytest.param(1.5, Scale.ARCSINE, id="grams are no share"),
        pytest.param(-0.1, Scale.ARCSINE, id="nor is a loss"),
        pytest.param(float("nan"), Scale.ARCSINE, id="nor is an unknown"),
        pytest.param(float("nan"), Scale.LOGIT, id="no logit of an unknown"),
    ],
)
def test_values_without_a_place_are_refused(value: float, scale: Scale) -> None:
    """asin(sqrt(1.5)) is no number; nothing is added to a zero to make it fit."""
    with pytest.raises(AnalysisError, match=f"^{value:g} has no"):
        on_scale(value, scale)


def test_the_arcsine_is_that_of_the_root() -> None:
    """Of a quarter: asin(0.5)."""
    assert on_scale(0.25, Scale.ARCSINE) == pytest.approx(asin(sqrt(0.25)))


# --- variance shares -----------------------------------------------------------------------------


def test_published_variance_shares() -> None:
    """Station 1565.8, date 620.8, residual 2088.5: 36.626 % and 14.521 % (a public R script)."""
    station, night, _ = variance_shares([1565.8, 620.8, 2088.5])
    assert (100 * station, 100 * night) == pytest.approx((36.626, 14.521), abs=1e-3)


def test_a_variance_of_nothing_has_a_share_of_nothing() -> None:
    """Only all of them may not be zero."""
    assert variance_shares([0, 3, 1]) == (0, 0.75, 0.25)


@pytest.mark.parametrize("variances", [[0, 0], [1, -0.5]])
def test_variances_without_shares_are_refused(variances: list[float]) -> None:
    """All zero, or one below zero."""
    with pytest.raises(AnalysisError, match="have no shares"):
        variance_shares(variances)
