"""Mixed models, against lme4 and statsmodels; what is left out, warned of, undefined."""

import warnings
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from itertools import product
from math import log, sqrt
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from builders import SPECIES, result
from numpy.typing import NDArray
from scipy.stats import ttest_ind, ttest_rel
from statsmodels.regression.mixed_linear_model import MixedLM, VCSpec

from core.analysis.choice import Choice, Measure
from core.analysis.crossed import Fit, fit_crossed
from core.analysis.intervals import Interval, Undefined
from core.analysis.mixed import MixedModel, mixed_model
from core.analysis.scales import Scale
from core.analysis.told import tell
from core.model import Censored, Outcome, Status

D = Decimal
Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
CHOICE = Choice(ZoneInfo("UTC"), first="open", second="bush")

# --- crossed random effects ----------------------------------------------------------------------

PLATES = (
    "27 23 26 23 23 21|27 23 26 23 23 21|25 21 25 24 24 20|26 23 25 23 23 20|25 22 26 22 23 20|"
    "24 22 25 23 22 19|24 20 23 21 22 19|26 22 26 24 24 21|24 21 24 22 22 20|24 21 24 23 22 19|"
    "26 23 26 24 24 21|25 22 26 24 24 20|26 24 26 24 25 22|26 23 26 23 23 20|26 23 25 24 24 22|"
    "25 22 25 23 23 20|25 21 24 23 23 20|25 22 24 23 23 19|24 21 23 21 21 19|26 23 26 24 24 21|"
    "25 21 24 22 22 18|25 22 25 22 22 20|24 21 24 22 24 19|24 21 24 22 21 18"
)
"""Penicillin: six samples (columns) on 24 plates; Davies & Goldsmith 1972, as shipped with lme4."""


def fitted(y: Floats, x: Floats, *factors: Codes) -> Fit:
    """Fit a model that can be fitted."""
    found = fit_crossed(y, x, factors)
    assert found is not None
    assert found.converged
    return found


def test_the_penicillin_model_is_that_of_lme4() -> None:
    """lme4 prints for diameter ~ 1 + (1 | plate) + (1 | sample): criterion 330.8606.

    Standard deviations 0.8467, 1.9316 and 0.5499, intercept 22.9722 (documentation of lme4);
    its standard error 0.808573, variances 0.716908, 3.73092, 0.302415 (tests of another program).
    """
    rows = [[float(one) for one in plate.split()] for plate in PLATES.split("|")]
    y = np.array(rows).ravel()
    plate, sample = np.divmod(np.arange(144), 6)
    found = fitted(y, np.ones((144, 1)), plate, sample)
    assert found.criterion == pytest.approx(330.8606, abs=5e-5)
    assert np.sqrt(found.variances) == pytest.approx([0.8467, 1.9316], abs=5e-5)
    assert sqrt(found.residual) == pytest.approx(0.5499, abs=5e-5)
    assert found.beta[0] == pytest.approx(22.9722, abs=5e-5)
    assert sqrt(found.covariance[0, 0]) == pytest.approx(0.808573, abs=1e-5)
    assert (*found.variances, found.residual) == pytest.approx(
        (0.716908, 3.73092, 0.302415), abs=2e-5
    )


def crossed_data(
    stations: int, nights: int, *, seed: int, lost: float = 0.2, between: float = 1.0
) -> tuple[Floats, Floats, Codes, Codes]:
    """Make two trays a station and night, a share of them lost."""
    draw = np.random.default_rng(seed)
    cells = np.array(list(product(range(stations), range(nights), (0, 1))))
    cells = cells[draw.random(len(cells)) >= lost]
    station, night, is_open = cells.T
    y = 3 + 0.8 * is_open + draw.normal(0, 1.2, len(cells))
    y = y + between * (draw.normal(0, 1, stations)[station] + draw.normal(0, 0.7, nights)[night])
    return y, np.column_stack([np.ones(len(cells)), is_open]), station, night


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_an_unbalanced_model_is_that_of_statsmodels(seed: int) -> None:
    """Effects, errors, variances, criterion and fitted values agree; ours is never worse."""
    y, x, station, night = crossed_data(8, 12, seed=seed)
    found = fitted(y, x, station, night)
    levels = [np.eye(codes.max() + 1)[codes] for codes in (station, night)]
    names = [[[f"{at}" for at in range(one.shape[1])]] for one in levels]
    parts = VCSpec(["station", "night"], names, [[one] for one in levels])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = MixedLM(y, x, groups=np.ones(len(y)), exog_vc=parts).fit(method=["lbfgs"])
    assert found.beta == pytest.approx(theirs.fe_params, abs=1e-4)
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx(theirs.bse_fe, abs=1e-3)
    assert found.variances == pytest.approx(theirs.vcomp, rel=5e-3, abs=5e-4)
    assert found.residual == pytest.approx(theirs.scale, rel=1e-3)
    assert found.criterion == pytest.approx(-2 * theirs.llf, abs=1e-4)
    assert found.criterion <= -2 * theirs.llf + 1e-6
    assert found.fitted == pytest.approx(theirs.fittedvalues, abs=5e-3)


def dense_criterion(y: Floats, x: Floats, covariance: Floats) -> float:
    """Give -2 log restricted likelihood by its definition, over the whole matrix of all trays."""
    inverse = np.linalg.inv(covariance)
    information = x.T @ inverse @ x
    rest = y - x @ np.linalg.solve(information, x.T @ inverse @ y)
    log_dets = np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(information)[1]
    spare = len(y) - x.shape[1]
    return float(log_dets + rest @ inverse @ rest + spare * log(2 * np.pi))


def test_the_criterion_is_that_of_the_definition_and_lowest_there() -> None:
    """By the whole covariance matrix; no variance nearby gives a lower one."""
    y, x, station, night = crossed_data(5, 7, seed=4)
    found = fitted(y, x, station, night)
    parts = [np.equal.outer(codes, codes).astype(float) for codes in (station, night)]
    parts.append(np.eye(len(y)))
    best = np.array([*found.variances, found.residual])

    def at_variances(variances: Floats) -> float:
        whole = sum(one * part for one, part in zip(variances, parts, strict=True))
        return dense_criterion(y, x, np.asarray(whole))

    assert at_variances(best) == pytest.approx(found.criterion, abs=1e-8)
    for change in product((0.97, 1, 1.03), repeat=3):
        assert at_variances(best * change) >= found.criterion - 1e-6


def test_a_variance_of_nothing_is_nothing() -> None:
    """Stations alike by construction: their variance is 0, and the fit stands."""
    y, x, station, night = crossed_data(4, 6, seed=1, between=0.0)
    y = y - (np.bincount(station, y) / np.bincount(station))[station]
    found = fitted(y, x, station, night)
    assert found.variances[0] == 0.0


def test_without_any_random_variance_it_is_least_squares() -> None:
    """Both variances 0: effects and errors are those of the plain line."""
    draw = np.random.default_rng(0)
    for _ in range(20):
        y, x, station, night = crossed_data(6, 6, seed=int(draw.integers(1000)), between=0.0)
        found = fitted(y, x, station, night)
        if found.variances == (0.0, 0.0):
            break
    assert found.variances == (0.0, 0.0)
    beta, squares, *_ = np.linalg.lstsq(x, y, rcond=None)
    assert found.beta == pytest.approx(beta)
    variance = float(squares[0]) / (len(y) - 2)
    assert found.covariance == pytest.approx(variance * np.linalg.inv(x.T @ x))


def test_the_order_and_the_scale_of_things_do_not_matter() -> None:
    """Night before station, and milligrams for grams, give the same answer."""
    y, x, station, night = crossed_data(6, 9, seed=6)
    one, other = fitted(y, x, station, night), fitted(1000 * y, x, night, station)
    assert other.beta == pytest.approx(1000 * one.beta, rel=1e-6)
    assert other.variances[::-1] == pytest.approx(1e6 * np.array(one.variances), rel=1e-4)


def test_one_random_effect() -> None:
    """Balanced, one factor: variances and shrunk means of the analysis of variance (textbook)."""
    draw = np.random.default_rng(8)
    group = np.repeat(np.arange(12), 5)
    y = draw.normal(0, 2, 12)[group] + draw.normal(0, 1, 60)
    found = fitted(y, np.ones((60, 1)), group)
    means = y.reshape(12, 5).mean(axis=1)
    within = ((y.reshape(12, 5) - means[:, None]) ** 2).sum() / 48
    between = 5 * means.var(ddof=1)
    assert found.residual == pytest.approx(within, rel=1e-4)
    assert found.variances[0] == pytest.approx((between - within) / 5, rel=1e-4)
    shrunk = 1 - within / between
    expected = y.mean() + shrunk * (means - y.mean())
    assert found.fitted == pytest.approx(np.repeat(expected, 5), rel=1e-4)


@pytest.mark.parametrize("y", [[3.0, 3, 3, 3], [4.1, 2.2, 4.1, 2.2]])
def test_nothing_that_varies_has_no_fit(y: list[float]) -> None:
    """All alike, or alike within each microhabitat."""
    x = np.array([[1.0, 1], [1, 0], [1, 1], [1, 0]])
    assert fit_crossed(np.array(y), x, [np.array([0, 0, 1, 1])]) is None


# --- the mixed model of a study ------------------------------------------------------------------


def study(stations: int, nights: int, *, seed: int = 1, **values: Any) -> list[Outcome]:
    """Give a tray in the open and one under a bush for each site and night, 0.8 g apart."""
    draw = np.random.default_rng(seed)
    of_site, of_night = draw.normal(0, 0.8, stations), draw.normal(0, 0.5, nights)
    return [
        result(
            f"{side}{site}-{night}",
            f"{max(0.2, 4 + 0.8 * (side == 'open') + of_site[site] + of_night[night] + noise):.2f}",
            side,
            site=f"S{site}",
            night=night,
            **values,
        )
        for site, night, side in product(range(stations), range(nights), ("open", "bush"))
        for noise in [draw.normal(0, 0.5)]
    ]


def model(outcomes: Sequence[Outcome], **values: Any) -> MixedModel | Undefined:
    """Fit the model to outcomes."""
    choice = replace(CHOICE, **values)
    return mixed_model(tell(outcomes, choice, SPECIES), choice)


def defined(outcomes: Sequence[Outcome], **values: Any) -> MixedModel:
    """Fit a model that is defined."""
    found = model(outcomes, **values)
    assert isinstance(found, MixedModel)
    return found


def test_the_effect_is_the_first_minus_the_second() -> None:
    """Open is 0.8 g above bush; turned round it is 0.8 g below."""
    outcomes = study(10, 8)
    one, other = defined(outcomes), defined(outcomes, first="bush", second="open")
    assert one.n == 160
    assert isinstance(one.interval, Interval)
    assert one.interval.low < 0.8 < one.interval.high
    assert one.effect == pytest.approx(-other.effect)
    assert one.baseline + one.effect == pytest.approx(other.baseline)
    assert isinstance(one.p, float)
    assert one.p < 0.05


def test_variance_shares_add_up() -> None:
    """Station, night and residual, each with its levels."""
    found = defined(study(10, 8))
    assert [(one.name, one.levels) for one in found.components] == [
        ("station", 10),
        ("night", 8),
        ("residual", 160),
    ]
    assert sum(one.share for one in found.components) == pytest.approx(1)
    assert found.warnings == ()


def test_each_tray_has_its_residual() -> None:
    """Fitted and residual give the tray's value back, on the scale of the model."""
    outcomes = study(6, 6)
    lefts = {one.deployment.deployment: one.gud for one in outcomes}
    for scale in (Scale.RAW, Scale.LOG):
        for one in defined(outcomes, scale=scale).residuals:
            left = float(lefts[one.deployment] or 0)
            expected = left if scale is Scale.RAW else log(left)
            assert one.fitted + one.residual == pytest.approx(expected)


def test_the_log_scale_compares_by_factors() -> None:
    """Twice as much everywhere in the open: the effect is ln 2 whatever the station."""
    lefts = [1, 1.5, 2.2, 0.8, 3.1, 1.2]
    outcomes = [
        result(f"{side}{site}{night}", f"{left * factor * (1 + night / 10):.4f}", side,
               site=f"S{site}", night=night)
        for site, left in enumerate(lefts)
        for night in range(5)
        for side, factor in (("open", 2), ("bush", 1))
    ]  # fmt: skip
    noisy = [
        replace(one, gud=(one.gud or D(0)) + D(at % 3) / 100) for at, one in enumerate(outcomes)
    ]
    assert defined(noisy, scale=Scale.LOG).effect == pytest.approx(log(2), abs=0.01)


def test_the_logit_is_of_the_share_eaten() -> None:
    """More left in the open is less eaten: on the logit of the share eaten it is below."""
    found = defined(study(6, 6), scale=Scale.LOGIT, measure=Measure.PROPORTION)
    assert found.effect < 0


def test_a_scale_without_a_place_for_a_value_is_said() -> None:
    """Grams have no logit, and a tray with all its food left has no share eaten to take one of."""
    assert model(study(6, 6), scale=Scale.LOGIT) == Undefined(
        "The scale logit of the share eaten needs shares, the measure is food left [g]. "
        "Choose the measure share of the food left.",
        72,
    )
    whole = [*study(6, 6), result("X", "10.0", site="S0")]
    found = model(whole, scale=Scale.LOGIT, measure=Measure.PROPORTION)
    assert isinstance(found, Undefined)
    assert found.why.startswith("0 has no logit")


def test_bounds_stay_outside_and_are_counted() -> None:
    """An emptied tray is no value: left out, and said how many."""
    emptied = result("X", "0.1", site="S0", status=Status.CAUTION, censored=Censored.BELOW)
    found = defined([*study(6, 6), emptied])
    assert (found.n, found.left_out) == (72, 1)


@pytest.mark.parametrize(
    ("stations", "nights", "few"),
    [
        pytest.param(4, 8, ["station"], id="four stations"),
        pytest.param(8, 4, ["night"], id="four nights"),
        pytest.param(5, 5, [], id="five of each"),
    ],
)
def test_few_levels_are_warned_of(stations: int, nights: int, few: list[str]) -> None:
    """With fewer than five levels (common practice) their variance is poorly told."""
    found = defined(study(stations, nights))
    warned = [one for one in found.warnings if one.startswith("only ")]
    assert warned == [f"only 4 {name}s: their variance is poorly told" for name in few]


def test_in_a_balanced_study_the_effect_is_that_of_the_paired_t_test() -> None:
    """Each station with both trays on one night: the same estimate, interval and p as scipy's."""
    outcomes = study(7, 1)
    lefts = {one.deployment.deployment: float(one.gud or 0) for one in outcomes}
    both = [[lefts[f"{side}{site}-0"] for site in range(7)] for side in ("open", "bush")]
    theirs = ttest_rel(*both)
    found = defined(outcomes)
    assert found.spare == theirs.df == 6
    assert found.components[0].variance > 0
    assert found.p == pytest.approx(theirs.pvalue, rel=1e-6)
    low, high = theirs.confidence_interval()
    assert isinstance(found.interval, Interval)
    assert (found.interval.low, found.interval.high) == pytest.approx((low, high), rel=1e-6)


def test_stations_of_one_microhabitat_each_are_compared_as_stations() -> None:
    """Nights do not help: the effect and its p are those of a t test of the stations' means."""
    outcomes = [
        one
        for one in study(8, 6)
        if (one.deployment.microhabitat == "open") == (int(one.deployment.site[1:]) % 2 == 0)
    ]
    found = defined(outcomes)
    assert (found.n, found.spare) == (48, 6)
    means = [
        np.mean([float(one.gud or 0) for one in outcomes if one.deployment.site == f"S{site}"])
        for site in range(8)
    ]
    theirs = ttest_ind(means[::2], means[1::2])
    assert found.components[0].variance > 0
    assert found.p == pytest.approx(theirs.pvalue, rel=1e-4)


@pytest.mark.parametrize(
    ("stations", "nights", "average", "few"),
    [
        pytest.param(2, 2, True, "at 2 stations", id="the demo's"),
        pytest.param(1, 10, True, "at 1 station", id="one station"),
        pytest.param(5, 9, True, "at 5 stations", id="five pairs are too few for ranks"),
        pytest.param(6, 1, True, "", id="six pairs are enough"),
        pytest.param(6, 9, True, "", id="six stations"),
        pytest.param(2, 2, False, "at 4 nights, those of all stations together", id="4 nights"),
        pytest.param(2, 3, False, "", id="six nights of two stations"),
    ],
)
def test_no_p_where_the_pairs_are_too_few_for_ranks(
    stations: int, nights: int, average: bool, few: str
) -> None:
    """Whatever counts as one difference there counts here: six two-sided ones can reach 0.05.

    2 / 2^5 is 0.0625, 2 / 2^6 is 0.03125. The estimate stands, without p and interval.
    """
    found = defined(study(stations, nights), average_nights=average)
    assert found.effect != 0
    if few:
        words = f"too few pairs: both microhabitats have a density {few}"
        assert found.p == found.interval == Undefined(words, 2 * stations * nights)
    else:
        assert isinstance(found.p, float)
        assert isinstance(found.interval, Interval)


@pytest.mark.parametrize(("stations", "told"), [(6, False), (7, True)])
def test_no_p_with_few_degrees_of_freedom(stations: int, told: bool) -> None:
    """Stations of one microhabitat each: 6 leave four, 7 leave five (a judgement: five)."""
    found = defined(
        [
            one
            for one in study(stations, 6)
            if (one.deployment.microhabitat == "open") == (int(one.deployment.site[1:]) % 2 == 0)
        ]
    )
    assert found.spare == stations - 2
    assert isinstance(found.p, float) is told
    if not told:
        why = "too few trays: 4 degrees of freedom, 5 are the least"
        assert found.p == Undefined(why, found.n)


@pytest.mark.parametrize(("sites", "nights"), [(4, 1), (4, 4), (8, 3), (20, 12)])
def test_nothing_left_over_is_no_certainty(sites: int, nights: int) -> None:
    """All pairs differ by -0.1 g: there is no chance to tell it from, so no p and no crash."""
    outcomes = [
        result(f"{side}{site}-{night}", f"{3 + 0.3 * site + 0.17 * night * night - down:.2f}", side,
               site=f"S{site}", night=night)
        for site, night in product(range(sites), range(nights))
        for side, down in (("open", 0.1), ("bush", 0.0))
    ]  # fmt: skip
    found = model(outcomes)
    assert isinstance(found, Undefined)
    assert found.why.startswith("microhabitat, station and night explain every density")


def test_a_little_left_over_is_enough() -> None:
    """One of them a hundredth of a gram off, as a scale may weigh: there is a model."""
    outcomes = [
        result(f"{side}{site}", f"{3 + 0.3 * site - down + 0.01 * (down > 0 and site == 3):.2f}",
               side, site=f"S{site}")
        for site in range(7)
        for side, down in (("open", 0.1), ("bush", 0.0))
    ]  # fmt: skip
    found = defined(outcomes)
    lefts = [float(one.gud or 0) for one in outcomes]
    assert found.p == pytest.approx(ttest_rel(lefts[::2], lefts[1::2]).pvalue, rel=1e-4)


def test_densities_of_several_foragers_are_said() -> None:
    """Where nobody was named, the owners are counted; where one was, there is one."""
    outcomes = [
        replace(one, forager="mouse" if at % 3 else "gerbil") for at, one in enumerate(study(6, 6))
    ]
    words = "densities of 2 foragers are taken together, name one: mouse (48), gerbil (24)"
    assert words in defined(outcomes).warnings
    assert words not in defined(outcomes, forager=SPECIES["m"]).warnings


def test_a_variance_of_nothing_is_said() -> None:
    """Nights that do not differ beyond chance."""
    lefts = ("3.1", "4.2", "3.3", "4.4", "3.2", "4.1")
    outcomes = [
        result(f"{side}{site}{night}", lefts[(site + night + (side == "open")) % 6], side,
               site=f"S{site}", night=night)
        for site, night, side in product(range(6), range(6), ("open", "bush"))
    ]  # fmt: skip
    found = defined(outcomes)
    assert "the variance between nights came out as nothing" in found.warnings
    assert found.components[1].variance == 0


def test_a_fit_that_did_not_converge_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its numbers are shown with a warning not to use them."""
    found = fit_crossed(*crossed_data(6, 6, seed=1)[:2], crossed_data(6, 6, seed=1)[2:])
    assert found is not None
    monkeypatch.setattr("core.analysis.mixed.fit_crossed", lambda y, *_: replace(
        found, converged=False, fitted=y))  # fmt: skip
    shown = defined(study(6, 6))
    assert not shown.converged
    assert "the fit did not converge, do not use its numbers" in shown.warnings


def test_one_station_leaves_the_nights() -> None:
    """A random effect with one level is left out and said."""
    found = defined(study(1, 10))
    assert [one.name for one in found.components] == ["night", "residual"]
    assert "there is one station only, so no random station" in found.warnings


def test_a_station_for_every_night_is_not_two_effects() -> None:
    """When every station was out on one night of its own, the two cannot be told apart."""
    outcomes = [one for at in range(8) for one in study(8, 8) if one.deployment.site == f"S{at}"
                and one.deployment.deployment.endswith(f"-{at}")]  # fmt: skip
    found = defined(outcomes)
    assert [one.name for one in found.components] == ["station", "residual"]
    assert "every station has a night of its own, so no random night" in found.warnings


def test_a_tray_for_every_station_leaves_nothing_to_tell() -> None:
    """One tray a station, all on one night: no random effect, and the reason."""
    outcomes = [
        result(f"D{at}", f"{3 + at / 7:.2f}", ("open", "bush")[at % 2], site=f"S{at}")
        for at in range(8)
    ]
    assert model(outcomes) == Undefined(
        "every tray has a station of its own, so no random station; there is one night only, "
        "so no random night; no random effect can be told, see the pairs",
        8,
    )


def test_too_few_trays_for_the_levels() -> None:
    """Three trays on two stations: nothing is left to tell chance by."""
    outcomes = [
        result("A", "3.0", site="S0"),
        result("B", "2.0", "bush", site="S0"),
        result("C", "4.0", site="S1"),
    ]
    assert model(outcomes) == Undefined(
        "there is one night only, so no random night; "
        "3 trays are too few to tell the microhabitats apart beside 2 stations",
        3,
    )
    assert isinstance(model([*outcomes, result("D", "2.9", "bush", site="S1")]), MixedModel)


def test_no_tray_has_no_station_of_its_own() -> None:
    """Without any density nothing is said of stations and nights, which there are none of."""
    found = model([])
    assert isinstance(found, Undefined)
    assert found.why.startswith("0 trays of open and 0 of bush have a density")


def test_one_side_without_a_density() -> None:
    """Both sides are needed, and the count of each is said."""
    outcomes = [one for one in study(6, 6) if one.deployment.microhabitat == "open"]
    found = model(outcomes)
    assert isinstance(found, Undefined)
    assert found.why == (
        "36 trays of open and 0 of bush have a density, a station and a night: both are needed"
    )


def test_trays_without_a_site_are_left_out_and_said() -> None:
    """A tray with a density that stands nowhere."""
    found = defined([*study(6, 6), result("X", site="")])
    assert found.n == 72
    assert "1 tray with a density has no site or pair" in found.warnings
