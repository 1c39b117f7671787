"""Which trays make a pair, why others do not, and what the signs and sizes of differences say."""

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from itertools import product
from statistics import median
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from builders import SPECIES, at, result
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm, wilcoxon

from core.analysis.choice import STEP, Alternative, Choice, StationBy
from core.analysis.intervals import Interval, Undefined
from core.analysis.pairs import SEVERAL, Pairs, pair_up, rounded
from core.analysis.ranks import (
    PMethod,
    PValue,
    SignedRank,
    kth_sum,
    p_value,
    rank_sum_distribution,
    rank_test,
    signed_rank,
    smallest_p,
)
from core.analysis.told import tell
from core.model import Censored, Outcome, Reason, Status

D = Decimal
CHOICE = Choice(ZoneInfo("UTC"), first="open", second="bush")
BOTH_OUT = "of this site and pair was out"


def paired(*outcomes: Outcome, **values: Any) -> Pairs:
    """Pair outcomes, open minus bush, unless the choice is asked to differ."""
    choice = replace(CHOICE, **values)
    found = pair_up(tell(outcomes, choice, SPECIES), choice)
    assert isinstance(found, Pairs)
    return found


def of(values: Sequence[str], alternative: Alternative = Alternative.TWO_SIDED) -> SignedRank:
    """Test differences written as decimals."""
    found = signed_rank([D(value) for value in values], alternative)
    assert isinstance(found, SignedRank)
    return found


# --- pairs ---------------------------------------------------------------------------------------


def test_a_pair_is_the_first_minus_the_second() -> None:
    """Open left 5.0, bush 3.2: the open left 1.8 more."""
    found = paired(result("B", "3.2", "bush"), result("O", "5.0"))
    (pair,) = found.made
    assert (pair.first.name, pair.second.name, pair.difference) == ("O", "B", D("1.8"))
    assert found.lost == ()


@pytest.mark.parametrize(
    ("other", "why"),
    [
        pytest.param({"site": "S2"}, "on another night, or not at all", id="another site"),
        pytest.param({"night": 1}, "on another night, or not at all", id="another night"),
        pytest.param(
            {"tray_is": {"pair": "P2"}}, "on another night, or not at all", id="another pair"
        ),
        pytest.param(
            {"tray_is": {"set_out": at("12:00"), "picked_up": at("17:00")}},
            "at another time",
            id="the same date, by day",
        ),
    ],
)
def test_trays_that_do_not_belong_together(other: dict[str, Any], why: str) -> None:
    """Both are lost, each with what its partner lacks."""
    found = paired(result("O"), result("B", "3.2", "bush", **other))
    assert found.made == ()
    assert [(one.deployments, one.why) for one in found.lost] == [
        (("O",), (f"the bush tray {BOTH_OUT} {why}",)),
        (("B",), (f"the open tray {BOTH_OUT} {why}",)),
    ]


def test_a_day_and_a_night_at_one_site_are_two_pairs() -> None:
    """Trays of one date pair with those that were out at the same time."""
    day = {"set_out": at("13:00"), "picked_up": at("17:50")}
    found = paired(
        result("Od", "5.0", tray_is=day),
        result("Bd", "4.0", "bush", tray_is=day),
        result("On", "3.0"),
        result("Bn", "2.5", "bush"),
    )
    assert [(one.first.name, one.second.name) for one in found.made] == [("Od", "Bd"), ("On", "Bn")]
    assert found.lost == ()


def test_several_trays_of_a_microhabitat_are_not_paired_by_guess() -> None:
    """Two in the open and one under the bush: which belongs to which, the log has to say."""
    trays = [result("O1"), result("O2"), result("B", "3.2", "bush")]
    (lost,) = paired(*trays).lost
    assert (lost.deployments, lost.why) == (("O1", "O2", "B"), (SEVERAL,))


def test_the_pair_column_tells_several_pairs_of_a_site_apart() -> None:
    """Two pairs at one site on one night."""
    trays = [
        result(f"{side}{pair}", left, side, tray_is={"pair": pair})
        for pair, lefts in (("A", "53"), ("B", "41"))
        for side, left in zip(("open", "bush"), lefts, strict=True)
    ]
    found = paired(*trays)
    assert [one.difference for one in found.made] == [2, 3]


def test_half_an_overlap_is_no_pair_and_more_is() -> None:
    """Trays out together for just half of the shorter time are not compared."""
    half = {"set_out": at("00:00"), "picked_up": at("12:00", 1)}
    more = {"set_out": at("23:59"), "picked_up": at("11:59")}
    trays = {"half": half, "more": more}
    made = {
        name: len(paired(result("O"), result("B", "3.2", "bush", tray_is=window)).made)
        for name, window in trays.items()
    }
    assert made == {"half": 0, "more": 1}


@pytest.mark.parametrize(
    ("bush", "why"),
    [
        pytest.param({"status": Status.DROP}, str(Reason.EATER_NOT_SEEN), id="dropped"),
        pytest.param(
            {"forager": "mouse"}, "the density belongs to another forager, mouse", id="another's"
        ),
        pytest.param(
            {"status": Status.CAUTION, "censored": Censored.BELOW},
            "emptied: below what can be weighed",
            id="emptied",
        ),
        pytest.param({"status": Status.NO_GUD}, str(Reason.UNUSED_SEEN), id="not used"),
    ],
)
def test_a_pair_without_a_density_on_one_side_is_lost(bush: dict[str, Any], why: str) -> None:
    """The side at fault says why, and nothing stands in for its density."""
    found = paired(result("O"), result("B", "3.2", "bush", **bush), forager=SPECIES["g"])
    (lost,) = found.lost
    assert (lost.deployments, lost.why) == (("O", "B"), (why,))
    assert found.lost_by_reason() == {why: 1}


def test_both_sides_at_fault_are_both_named() -> None:
    """Two reasons, or one where both have the same."""
    knocked: dict[str, Any] = {"status": Status.DROP, "reason": Reason.KNOCKED}
    found = paired(
        result("O1", **knocked), result("B1", "3.2", "bush", status=Status.NO_GUD),
        result("O2", site="S2", **knocked), result("B2", "3.2", "bush", site="S2", **knocked),
    )  # fmt: skip
    assert [one.why for one in found.lost] == [
        (str(Reason.KNOCKED), str(Reason.UNUSED_SEEN)),
        (str(Reason.KNOCKED),),
    ]


def test_trays_that_cannot_be_placed_are_lost_and_said() -> None:
    """No site and no pair, or no set-out time: nothing is guessed."""
    found = paired(
        result("O1", site=""),
        result("O2", status=Status.PENDING, tray_is={"set_out": None}),
    )
    assert [one.why for one in found.lost] == [
        ("neither its site nor its pair is given",),
        ("the set-out time is missing",),
    ]


def test_a_partner_without_a_pick_up_time_is_still_the_partner() -> None:
    """The pair is lost because of the missing time, not because there was no tray."""
    pending: dict[str, Any] = {"status": Status.PENDING, "reason": Reason.TIME_MISSING}
    found = paired(result("O"), result("B", "3", "bush", tray_is={"picked_up": None}, **pending))
    assert found.lost[0].why == (str(Reason.TIME_MISSING),)


def test_nights_of_a_station_are_averaged_first() -> None:
    """Three nights at one site and one at another are two differences, not four."""
    lefts = {"S1": ("5.0", "4.0", "4.5"), "S2": ("3.0",)}
    trays = [
        one
        for site, nights in lefts.items()
        for night, left in enumerate(nights)
        for one in (
            result(f"O{site}{night}", left, site=site, night=night),
            result(f"B{site}{night}", "2.0", "bush", site=site, night=night),
        )
    ]
    averaged, each = paired(*trays), paired(*trays, average_nights=False)
    assert [(one.station, one.pairs, one.value) for one in averaged.differences] == [
        ("s1", 3, D("2.5")),
        ("s2", 1, D("1.0")),
    ]
    assert (averaged.n, each.n) == (2, 4)
    assert averaged.warning == ""
    assert each.warning.startswith("4 differences are of 2 stations: nights of a station are not")


def test_pairs_of_two_foragers_are_counted_and_said() -> None:
    """Mouse against gerbil in one pair of two: the test says so, and asks for one of them."""
    trays = [
        result("O1", "5"), result("B1", "3", "bush", forager="mouse"),
        result("O2", "4", site="S2"), result("B2", "3", "bush", site="S2"),
    ]  # fmt: skip
    found = paired(*trays)
    test = rank_test(found)
    assert isinstance(test, SignedRank)
    assert found.of_two_owners == 1
    assert test.mixed == found.mixed == found.warning
    assert found.mixed.startswith("1 of 2 pairs compares the densities of different foragers")
    assert "Name a forager" in found.mixed
    alike = paired(*trays[2:])
    assert (alike.of_two_owners, alike.mixed) == (0, "")
    assert paired(*trays, forager=SPECIES["g"]).mixed == ""


def test_one_difference_has_no_interval() -> None:
    """It is said as that, and not as a level that none could have."""
    found = rank_test(paired(result("O1", "5"), result("B1", "3", "bush")))
    assert isinstance(found, SignedRank)
    assert found.interval == Undefined("too few pairs: one difference has no interval", 1)


def test_stations_may_go_by_site_and_pair() -> None:
    """Two places of a site are two stations where the study says so."""
    trays = [
        result(f"{side}{pair}", left, side, tray_is={"pair": pair})
        for pair, lefts in (("A", "53"), ("B", "41"))
        for side, left in zip(("open", "bush"), lefts, strict=True)
    ]
    assert [one.value for one in paired(*trays).differences] == [D("2.5")]
    by_pair = paired(*trays, station_by=StationBy.PAIR)
    assert [(one.station, one.value) for one in by_pair.differences] == [
        ("s1 / a", D(2)),
        ("s1 / b", D(3)),
    ]


def test_differences_are_rounded_as_decimals() -> None:
    """Densities corrected by a third differ in digits that mean nothing; rounded, they tie."""
    third = D(10) / D("1.1")
    assert rounded(third - D("1.1")) == rounded(D("7.9909090909"))
    assert rounded(D("0.0000005")) == 0
    assert rounded(D("0.0000015")) == D("0.000002")


def test_equal_differences_tie_though_their_binaries_differ() -> None:
    """1.1 - 1.0, 0.4 - 0.3 and 0.1 - 0.0 are one size; as binary fractions they are three."""
    assert len({1.1 - 1.0, 0.4 - 0.3, 0.1 - 0.0}) == 3
    trays = [
        one
        for site, (left, other) in enumerate([("1.1", "1.0"), ("0.4", "0.3"), ("0.1", "0.0")])
        for one in (
            result(f"O{site}", left, site=f"S{site}"),
            result(f"B{site}", other, "bush", site=f"S{site}"),
        )
    ]
    found = rank_test(paired(*trays))
    assert isinstance(found, SignedRank)
    assert found.tied == 3


def test_without_two_microhabitats_nothing_is_paired() -> None:
    """Undefined goes on into the test."""
    choice = replace(CHOICE, second="")
    found = pair_up(tell([result()], choice, SPECIES), choice)
    assert isinstance(found, Undefined)
    assert rank_test(found) is found


# --- the signed-rank test ------------------------------------------------------------------------

MAIZE = list(map(str, (6, 8, 14, 16, 23, 24, 28, 29, 41, -48, 49, 56, 60, -67, 75)))
"""Differences in the help of scipy.stats.wilcoxon (Darwin's plants)."""
DEPRESSION = [
    str(D(first) - D(second))
    for first, second in zip(
        ("1.83", ".50", "1.62", "2.48", "1.68", "1.88", "1.55", "3.06", "1.30"),
        (".878", ".647", ".598", "2.05", "1.06", "1.29", "1.06", "3.14", "1.29"),
        strict=True,
    )
]
"""Hollander & Wolfe 1973, p. 29, as in R's help of wilcox.test."""


def test_the_published_two_sided_test() -> None:
    """scipy's help: statistic 24, p 0.041259765625."""
    found = of(MAIZE)
    assert (found.statistic, found.n, found.zeros, found.tied) == (24, 15, 0, 0)
    assert found.p == PValue(pytest.approx(0.041259765625, abs=1e-12), PMethod.EXACT)  # type: ignore[arg-type]


def test_the_published_one_sided_test() -> None:
    """scipy's help: statistic 96, p 0.0206298828125."""
    found = of(MAIZE, Alternative.GREATER)
    assert (found.statistic, found.w_plus, found.w_minus) == (96, 96, 24)
    assert isinstance(found.p, PValue)
    assert found.p.p == pytest.approx(0.0206298828125, abs=1e-12)


def test_the_published_normal_approximation() -> None:
    """scipy's help: p 0.04088813291185591."""
    steps = np.array([int(value) for value in MAIZE], dtype=np.int64)
    found = p_value(steps, Alternative.TWO_SIDED, PMethod.NORMAL)
    assert found.p == pytest.approx(0.04088813291185591, abs=1e-12)


def test_the_depression_study() -> None:
    """R's help: V = 40, one-sided p 10/512; estimate 0.46, interval 0.010 to 0.786."""
    two, one = of(DEPRESSION), of(DEPRESSION, Alternative.GREATER)
    assert one.statistic == 40
    assert isinstance(one.p, PValue)
    assert isinstance(two.p, PValue)
    assert one.p.p == pytest.approx(10 / 512, abs=1e-9)
    assert two.p.p == pytest.approx(0.0390625, abs=1e-9)
    assert two.estimate == D("0.46")
    assert isinstance(two.interval, Interval)
    assert (two.interval.low, two.interval.high) == pytest.approx((0.01, 0.786), abs=1e-9)


def test_the_other_alternative() -> None:
    """Turned round, `less` says what `greater` said."""
    turned = of([str(-D(value)) for value in MAIZE], Alternative.LESS)
    assert isinstance(turned.p, PValue)
    assert turned.p.p == pytest.approx(0.0206298828125, abs=1e-12)
    assert turned.statistic == 24


@pytest.mark.parametrize(("n", "p"), [(5, 0.0625), (6, 0.03125)])
def test_the_smallest_p(n: int, p: float) -> None:
    """2 / 2^n when all differ the same way: with fewer than six pairs never below 0.05."""
    assert smallest_p(n) == p
    assert smallest_p(n, Alternative.GREATER) == p / 2
    assert smallest_p(0) == 1


def test_five_pairs_are_too_few_and_six_are_enough() -> None:
    """Five that all differ the same way have no p, since none below 0.05 can be reached."""
    five, six = of(["1", "2", "3", "4", "5"]), of(["1", "2", "3", "4", "5", "6"])
    assert isinstance(five.p, Undefined)
    assert five.p.why.startswith("too few pairs: 5 that differ can reach no p below 0.0625")
    assert five.smallest_p == 0.0625
    assert isinstance(six.p, PValue)
    assert six.p.p == pytest.approx(0.03125)


def test_five_pairs_are_enough_for_one_side() -> None:
    """One-sided, five can reach 0.03125, four cannot reach 0.05."""
    assert isinstance(of(["1", "2", "3", "4", "5"], Alternative.GREATER).p, PValue)
    assert isinstance(of(["1", "2", "3", "4"], Alternative.GREATER).p, Undefined)


def test_zeros_are_left_out_of_the_ranking_and_counted() -> None:
    """Six that differ and two that do not: p is of the six; too few are told by the six."""
    found = of(["1", "2", "3", "4", "5", "6", "0", "0"])
    assert (found.n, found.zeros, found.ranked) == (8, 2, 6)
    assert isinstance(found.p, PValue)
    assert found.p == PValue(pytest.approx(0.03125), PMethod.EXACT)  # type: ignore[arg-type]
    assert isinstance(of(["1", "2", "3", "4", "5", "0", "0"]).p, Undefined)


def test_zeros_stay_in_the_estimate() -> None:
    """Nine zeros and one large difference: most trays did not differ."""
    assert of(["0"] * 9 + ["5"]).estimate == 0


def enumerated(values: Sequence[int]) -> float:
    """Give the two-sided p of differences by giving them signs in every way."""
    sizes = np.abs(values)
    ranks = np.array([(sizes < size).sum() + ((sizes == size).sum() + 1) / 2 for size in sizes])
    observed = ranks[np.array(values) > 0].sum()
    ways = product([True, False], repeat=len(values))
    sums = np.array([ranks[np.array(signs)].sum() for signs in ways])
    return float(min(1.0, 2 * min((sums >= observed).mean(), (sums <= observed).mean())))


@settings(deadline=None)
@given(st.lists(st.integers(-5, 5).filter(bool), min_size=6, max_size=9))
def test_p_with_ties_is_that_of_every_way_to_give_signs(values: list[int]) -> None:
    """With ties p is exact too, over the mean ranks."""
    found = of([str(value) for value in values])
    assert isinstance(found.p, PValue)
    assert found.p.p == pytest.approx(enumerated(values), abs=1e-12)
    tied = len(set(map(abs, values))) < len(values)
    assert found.p.method is (PMethod.EXACT_TIED if tied else PMethod.EXACT)


@pytest.mark.parametrize(
    ("n", "tie", "method"),
    [
        pytest.param(50, True, PMethod.EXACT_TIED, id="50 with a tie"),
        pytest.param(51, True, PMethod.NORMAL, id="51 with a tie"),
        pytest.param(50, False, PMethod.EXACT, id="50"),
        pytest.param(51, False, PMethod.NORMAL, id="51"),
    ],
)
def test_how_p_is_found(n: int, tie: bool, method: PMethod) -> None:
    """Exact where that can be worked out, and said; scipy gives the same."""
    values = [at * (-1) ** (at % 3 == 0) for at in range(1, n + 1)]
    if tie:
        values[1] = values[0]
    found = of([str(value) for value in values])
    assert isinstance(found.p, PValue)
    assert found.p.method is method
    how = "asymptotic" if method is PMethod.NORMAL else "exact"
    expected = wilcoxon(np.array(values, dtype=float), method=how).pvalue
    close = 1e-3 if method is PMethod.EXACT_TIED else 1e-12
    assert found.p.p == pytest.approx(expected, abs=close)


def test_exact_p_with_ties_is_that_of_another_library() -> None:
    """scipy goes through all signs up to 13 tied differences: the same p on every side."""
    values = [1, 1, -1, 2, 2, 3, -3, 4, 5, 5, 6]
    for side in Alternative:
        found = of([str(value) for value in values], side)
        expected = wilcoxon(np.array(values, dtype=float), alternative=str(side)).pvalue
        assert isinstance(found.p, PValue)
        assert found.p == PValue(pytest.approx(expected, abs=1e-12), PMethod.EXACT_TIED)  # type: ignore[arg-type]


def test_no_pair_left_is_said_with_how_many_were_lost() -> None:
    """Undefined, with the count."""
    found = rank_test(paired(result("O"), result("B", microhabitat="bush", status=Status.DROP)))
    assert found == Undefined("no pair has a density on both sides, 1 was lost")


def test_nothing_to_rank() -> None:
    """No difference at all."""
    assert isinstance(signed_rank([]), Undefined)


# --- the estimate --------------------------------------------------------------------------------

SOME = st.lists(st.integers(-9, 9), min_size=1, max_size=14)


@settings(deadline=None)
@given(SOME)
def test_the_estimate_is_the_median_of_the_means_of_every_two(values: list[int]) -> None:
    """Hodges & Lehmann's definition, worked out at length."""
    means = [D(a + b) / 2 for i, a in enumerate(values) for b in values[i:]]
    assert of([str(value) for value in values]).estimate == median(means)


@settings(deadline=None)
@given(SOME, st.data())
def test_the_kth_sum_is_found_without_laying_out_the_sums(values: list[int], data: Any) -> None:
    """The k-th smallest of all sums of two, each with itself too."""
    sums = sorted(a + b for i, a in enumerate(values) for b in values[i:])
    k = data.draw(st.integers(1, len(sums)))
    assert kth_sum(np.sort(np.array(values, dtype=np.int64)), k) == sums[k - 1]


@pytest.mark.parametrize("n", [1, 2, 5, 9])
def test_the_distribution_of_the_rank_sum(n: int) -> None:
    """Each sum's chance is its share of the 2^n ways to give the ranks signs."""
    sums = [sum(ranks) for ranks in product(*((0, rank) for rank in range(1, n + 1)))]
    counts = np.bincount(sums) / 2**n
    assert rank_sum_distribution(range(1, n + 1)) == pytest.approx(counts, abs=1e-15)


@pytest.mark.parametrize(
    ("n", "k"),
    [
        # Hollander & Wolfe's table of the signed-rank sum, as R's qsignrank(0.025, n); from memory.
        (6, 1), (7, 3), (8, 4), (9, 6), (10, 9), (15, 26), (20, 53),
    ],
)  # fmt: skip
def test_the_interval_runs_from_the_kth_mean_to_the_kth_from_above(n: int, k: int) -> None:
    """The k of the tables for 95 %."""
    values = [D(2) ** at for at in range(n)]
    found = of([str(value) for value in values])
    means = sorted((a + b) / 2 for i, a in enumerate(values) for b in values[i:])
    assert isinstance(found.interval, Interval)
    assert found.interval.low == float(means[k - 1])
    assert found.interval.high == float(means[-k])
    assert found.interval.level >= 0.95


def test_five_differences_have_no_interval() -> None:
    """The widest reaches 93.8 %: said."""
    found = of(["1", "2", "3", "4", "5"])
    assert found.interval == Undefined(
        "too few pairs: the widest interval of 5 reaches 93.8%, not 95%", 5
    )


def test_the_interval_of_many_is_by_the_normal_approximation() -> None:
    """From 51 differences on; k is n (n + 1) / 4 - z sd of the rank sum, rounded down."""
    n = 60
    squares = [at * at for at in range(1, n + 1)]
    found = of([str(value) for value in squares])
    means = sorted((a + b) / 2 for i, a in enumerate(squares) for b in squares[i:])
    k = int(n * (n + 1) / 4 - norm.ppf(0.975) * (n * (n + 1) * (2 * n + 1) / 24) ** 0.5)
    assert isinstance(found.interval, Interval)
    assert (found.interval.low, found.interval.high) == (means[k - 1], means[-k])
    assert "normal" in found.interval.how


def test_intervals_hold_the_truth_as_often_as_they_say() -> None:
    """Of 400 sets of 12 differences around 1, at least 92 % of the intervals hold 1."""
    draw = np.random.default_rng(5)
    held = 0
    for _ in range(400):
        found = of([str(D(repr(float(one))).quantize(STEP)) for one in draw.normal(1, 2, 12)])
        assert isinstance(found.interval, Interval)
        held += found.interval.low <= 1 <= found.interval.high
    assert held / 400 > 0.92
