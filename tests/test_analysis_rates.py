"""Visit rates by watched hours, against statsmodels; what is left out, undefined."""

from collections.abc import Sequence
from dataclasses import replace
from math import exp, log, sqrt
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from builders import SPECIES, at, result, seen, sighting
from statsmodels.genmod.families import Poisson
from statsmodels.genmod.generalized_linear_model import GLM

from core.analysis.choice import Choice
from core.analysis.intervals import Interval, Undefined
from core.analysis.rates import (
    CONTRADICTED,
    NOT_WATCHED,
    UNANSWERED,
    RateRatio,
    VisitRates,
    visit_rates,
)
from core.analysis.told import tell
from core.model import UNKNOWN, Outcome, Span, Status, Where

CHOICE = Choice(ZoneInfo("UTC"), first="open", second="bush")


def watched(name: str, visits: int, hours: float, side: str = "open", **values: Any) -> Outcome:
    """Give a tray with so many gerbil visits in so many watched hours."""
    end = at("18:00") + hours * (at("19:00") - at("18:00"))
    given: dict[str, Any] = {
        "seen": tuple(seen(sighting()) for _ in range(visits)),
        "visits_all": visits,
        "watched": (Span(at("18:00"), end),) if hours else (),
    }
    return result(name, "4.0", side, **(given | values))


def rates(outcomes: Sequence[Outcome], **values: Any) -> VisitRates:
    """Give the visit rates of outcomes."""
    choice = replace(CHOICE, **values)
    return visit_rates(tell(outcomes, choice, SPECIES), choice)


SPREAD = [("open", 6, 10.0), ("open", 1, 8.0), ("open", 9, 12.0), ("open", 0, 5.0),
          ("bush", 2, 12.0), ("bush", 0, 11.0), ("bush", 3, 4.0)]  # fmt: skip
NIGHTS = [watched(f"D{at}", visits, hours, side) for at, (side, visits, hours) in enumerate(SPREAD)]


def test_rates_are_by_the_watched_hours() -> None:
    """16 visits in 35 watched hours in the open, 5 in 27 under the bush; not by hours out."""
    found = rates(NIGHTS)
    assert [(one.microhabitat, one.trays, one.visits, one.watched_h) for one in found.rates] == [
        ("", 7, 21, 62.0),
        ("open", 4, 16, 35.0),
        ("bush", 3, 5, 27.0),
    ]
    assert [one.rate for one in found.rates] == pytest.approx([21 / 62, 16 / 35, 5 / 27])


def test_the_ratio_is_that_of_a_quasi_poisson_model() -> None:
    """statsmodels' GLM with the hours as exposure and Pearson's scale: the same to the digit."""
    found = rates(NIGHTS)
    visits = np.array([one[1] for one in SPREAD], dtype=float)
    x = np.array([[1.0, one[0] == "open"] for one in SPREAD])
    fit = GLM(visits, x, family=Poisson(), exposure=np.array([one[2] for one in SPREAD]))
    theirs = fit.fit(scale="X2")
    assert found.dispersion == pytest.approx(theirs.scale)
    assert theirs.scale > 1
    assert isinstance(found.ratio, RateRatio)
    assert log(found.ratio.ratio) == pytest.approx(theirs.params[1])
    low, high = theirs.conf_int()[1]
    assert (found.ratio.interval.low, found.ratio.interval.high) == pytest.approx(
        (exp(low), exp(high))
    )
    assert (found.ratio.n, found.ratio.interval.how) == (7, "quasi-Poisson")


def test_counts_that_spread_less_than_chance_are_not_narrowed() -> None:
    """All trays alike: the interval stays that of Poisson counts, 8 in 40 h."""
    found = rates(
        [watched(f"D{at}", 2, 10.0, side) for at, side in enumerate(("open", "bush") * 4)]
    )
    assert found.dispersion == pytest.approx(0)
    interval = found.rates[1].interval
    assert isinstance(interval, Interval)
    assert interval.how == "Poisson"
    assert interval.low == pytest.approx(0.2 / exp(1.959964 / sqrt(8)), rel=1e-6)


def test_no_visit_has_an_upper_limit() -> None:
    """None in 10 hours: at most 0.369 an hour (exact Poisson, -ln(0.025) / 10)."""
    found = rates([watched("D1", 0, 10.0)])
    interval = found.rates[1].interval
    assert found.rates[1].rate == 0
    assert isinstance(interval, Interval)
    assert (interval.low, interval.high) == pytest.approx((0, 0.36889), abs=5e-6)
    assert interval.how == "Poisson, exact"


@pytest.mark.parametrize(
    ("visits", "why"),
    [
        pytest.param((0, 3), "0 and 3 visits give no ratio, both must be above zero", id="one"),
        pytest.param((0, 0), "0 and 0 visits give no ratio, both must be above zero", id="both"),
    ],
)
def test_without_visits_there_is_no_ratio(visits: tuple[int, int], why: str) -> None:
    """Neither infinity nor zero."""
    found = rates([watched("O", visits[0], 10.0), watched("B", visits[1], 10.0, "bush")])
    assert found.ratio == Undefined(why, 2)
    assert found.dispersion is None


def test_trays_whose_visits_are_not_known_are_left_out_and_counted() -> None:
    """Unwatched, unanswered, or with records that contradict each other."""
    found = rates(
        [
            watched("D1", 2, 10.0),
            watched("D2", 2, 0.0),
            watched("D3", 2, 10.0, unanswered=1),
            watched("D4", 2, 10.0, status=Status.ERROR),
            watched("D5", 1, 10.0, status=Status.DROP),
        ]
    )
    assert dict(found.left_out) == {NOT_WATCHED: 1, UNANSWERED: 1, CONTRADICTED: 1}
    assert (found.rates[0].trays, found.rates[0].visits) == (2, 3)


def test_visits_of_one_species_count_on_trays_of_others_too() -> None:
    """The mouse came once to a tray that the gerbil owns; near, on another tray or not held is
    no visit."""
    visits = (
        seen(sighting("m"), sighting("g")),
        seen(sighting("g")),
        seen(sighting("m", Where.NEAR)),
        seen(sighting("m"), held=False),
        seen(sighting("m"), which_tray=True),
        seen(sighting(UNKNOWN)),
    )
    tray = watched("D1", 0, 10.0, seen=visits, visits_all=3)
    counted = {key: rates([tray], forager=SPECIES[key]).rates[0].visits for key in ("m", "g")}
    assert counted == {"m": 1, "g": 2}
    assert rates([tray]).rates[0].visits == 3


def test_nothing_watched_has_no_rate() -> None:
    """Words for the rate and its interval, and for the ratio."""
    found = rates([watched("D1", 2, 0.0), watched("D2", 1, 3.0, "bush")])
    assert isinstance(found.rates[1].rate, Undefined)
    assert isinstance(found.rates[1].interval, Undefined)
    assert found.ratio == Undefined("only one microhabitat was watched", 1)
    assert rates([watched("D1", 2, 0.0)]).ratio == Undefined("no tray was watched", 0)
