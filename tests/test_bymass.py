"""What trays say by their mass alone: beside the confirmed densities, never in them."""

import warnings
from dataclasses import replace
from decimal import Decimal
from itertools import product
from pathlib import Path
from statistics import mean

import numpy as np
import pandas as pd
import pytest
from builders import SETTINGS, result
from scipy.stats import wilcoxon
from statsmodels.formula.api import mixedlm

from app.answers import mass_alone
from app.cli import main
from core import food
from core.analysis.bymass import by_mass
from core.analysis.choice import Alternative, Choice
from core.analysis.intervals import Undefined
from core.analysis.mixed import MixedModel
from core.analysis.pairs import Pairs
from core.analysis.ranks import PValue, SignedRank
from core.analysis.told import Tells, tell
from core.analysisbook import Question
from core.logs import LogKind
from core.model import Censored, Condition, Reason, Status
from core.workspace import Workspace

OPEN = ["4.1", "3.8", "5.0", "4.4", "3.9", "4.6", "5.2", "4.0"]
BUSH = ["2.9", "3.1", "3.3", "2.7", "3.0", "3.6", "3.2", "2.8"]
"""Food left [g] of eight invented pairs, 10 g put in."""


def log_of(rows: list[str]) -> bytes:
    """Write a tray log without any camera."""
    head = (
        "deployment,tray,set_out,picked_up,food_start_g,food_left_g,site,microhabitat,condition\n"
    )
    return (head + "\n".join(rows)).encode()


@pytest.fixture
def unwatched(empty: Workspace) -> Workspace:
    """A study that has a tray log and nothing else, as published tables have."""
    rows = [
        f"{side}{at},{side}{at},2026-03-14 18:00,2026-03-15 06:00,10.0,{left},S{at},{name},ok"
        for side, name, lefts in (("O", "open", OPEN), ("B", "bush", BUSH))
        for at, left in enumerate(lefts, 1)
    ]
    empty.load(LogKind.TRAYS, log_of(rows), "trays")
    return empty


def test_a_table_without_cameras_is_told_by_its_mass(unwatched: Workspace) -> None:
    """Means by Python's statistics module, the signed-rank test by SciPy."""
    found = unwatched.analysis.by_mass(Question(sides=("open", "bush")))
    by_name = {one.microhabitat: one for one in found.used}
    for name, lefts in (("open", OPEN), ("bush", BUSH)):
        summary = by_name[name].gud
        assert not isinstance(summary, Undefined)
        assert summary.mean == pytest.approx(mean(map(float, lefts)))
        assert summary.n == len(lefts)
    assert not isinstance(found.test, Undefined)
    assert not isinstance(found.test.p, Undefined)
    differences = [float(Decimal(a) - Decimal(b)) for a, b in zip(OPEN, BUSH, strict=True)]
    assert found.test.p.p == pytest.approx(wilcoxon([round(d, 6) for d in differences]).pvalue)


def test_nothing_of_it_is_in_the_confirmed_densities(unwatched: Workspace) -> None:
    """No camera, no forager: the analysis proper has no density at all."""
    confirmed = unwatched.analysis.analyse(Question(sides=("open", "bush")))
    assert confirmed.ledger.analysed == 0
    assert {one.status for one in unwatched.outcomes()} == {Status.DROP}
    assert all(one.gud is None for one in unwatched.outcomes())


def test_food_that_tells_nothing_stays_out() -> None:
    """Knocked over, a mass missing, more left than put in: no value by mass either."""
    dull = result("D1", "4.0", "open", site="S1")
    spoilt = replace(
        dull, status=Status.DROP, reason=Reason.KNOCKED,
        deployment=replace(dull.deployment, condition=Condition.KNOCKED),
    )  # fmt: skip
    gained = replace(dull.deployment, deployment="D2", food_left_g=Decimal("12.0"))
    more = replace(dull, status=Status.DROP, reason=Reason.GAINED, deployment=gained)
    controls = food.controls_of([], SETTINGS.timezone)
    readings = {
        one.deployment.deployment: food.read_food(one.deployment, controls, SETTINGS)
        for one in (spoilt, more)
    }
    assert [one.gud for one in by_mass([spoilt, more], readings)] == [None, None]


def test_emptied_is_a_bound_and_untouched_no_density() -> None:
    """As with confirmed densities: never averaged in."""
    dull = result("D1", "4.0", "open", site="S1")
    trays = [
        replace(dull, deployment=replace(dull.deployment, deployment=name, food_left_g=left))
        for name, left in (("E", Decimal("0.0")), ("U", dull.deployment.food_start_g))
    ]
    controls = food.controls_of([], SETTINGS.timezone)
    readings = {
        one.deployment.deployment: food.read_food(one.deployment, controls, SETTINGS)
        for one in trays
    }
    emptied, untouched = by_mass(trays, readings)
    assert (emptied.censored, emptied.gud) == (Censored.BELOW, SETTINGS.scale_step)
    assert (untouched.status, untouched.gud) == (Status.NO_GUD, None)


def test_nothing_by_mass_is_said_of_watching() -> None:
    """Untagged, kept as unused or in part unwatched: an untouched tray tells the mass and no more.

    A tray that was watched throughout and waits for a tagger is no tray that was not watched.
    """
    dull = result("D1", None, tray_is={"food_left_g": Decimal("10.0")})
    trays = [
        replace(dull, deployment=replace(dull.deployment, deployment=f"D{at}"), status=status,
                reason=reason)
        for at, (status, reason) in enumerate((
            (Status.PENDING, Reason.UNTAGGED), (Status.NO_GUD, Reason.UNUSED_SEEN),
            (Status.NO_GUD, Reason.UNUSED_BY_MASS), (Status.NO_GUD, Reason.VISITED_NOT_EATEN),
        ))
    ]  # fmt: skip
    controls = food.controls_of([], SETTINGS.timezone)
    readings = {
        one.deployment.deployment: food.read_food(one.deployment, controls, SETTINGS)
        for one in trays
    }
    choice = Choice(SETTINGS.timezone, first="open", second="bush")
    why = [one.why for one in tell(by_mass(trays, readings), choice, {})]
    assert why == ["nobody fed, by the mass left"] * 3 + ["visited, not eaten"]


def test_the_report_tells_both_apart(unwatched: Workspace, tmp_path: Path) -> None:
    """Its own heading, with how many of the trays have a confirmed forager."""
    main(["report", str(unwatched.folder), str(tmp_path / "report.html")])
    text = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "By mass alone, whoever ate" in text
    assert "Food was gone from 16 trays; of 0 the forager is confirmed" in text


def published(folder: Workspace, *, counted: bool) -> pd.DataFrame:
    """Load an invented table of 20 stations, 2 microhabitats and 3 nights, as others publish them.

    Seeds are fixed; the numbers are nobody's.
    """
    rng = np.random.default_rng(11)
    stations, nights = rng.normal(0, 0.5, 20), (0.3, -0.2, 0.0)
    rows = []
    for station, night, (name, base) in product(range(20), range(3), (("open", 4.2), ("bush", 3))):
        left = base + stations[station] + nights[night] + rng.normal(0, 0.6)
        rows.append({
            "deployment": f"{name}{station}-{night}", "tray": f"{name}{station}",
            "set_out": f"2024-05-{10 + night} 18:00", "picked_up": f"2024-05-{11 + night} 06:30",
            "food_start_g": "" if counted else "10.0",
            "food_left_g": "" if counted else f"{left:.1f}",
            "items_start": "100" if counted else "",
            "items_left": f"{left * 10:.0f}" if counted else "",
            "site": f"S{station}", "microhabitat": name,
        })  # fmt: skip
    table = pd.DataFrame(rows)
    folder.load(LogKind.TRAYS, table.to_csv(index=False).encode(), "trays")
    table["left"] = pd.to_numeric(table["items_left" if counted else "food_left_g"])
    table["night"] = table["set_out"].str[:10]
    return table


@pytest.mark.parametrize("counted", [False, True])
def test_a_table_of_others_has_the_numbers_of_other_libraries(
    empty: Workspace, counted: bool
) -> None:
    """Weighed and counted: means by pandas, tests by SciPy, the model by statsmodels."""
    table = published(empty, counted=counted)
    sides = Question(sides=("open", "bush"))
    found = empty.analysis.by_mass(sides)
    for one in found.used[1:]:
        lefts = table.loc[table["microhabitat"] == one.microhabitat, "left"]
        assert not isinstance(one.gud, Undefined)
        assert (one.gud.n, one.used) == (60, 60)
        assert one.gud.mean == pytest.approx(lefts.mean())
        assert one.gud.sd == pytest.approx(lefts.std())
    wide = table.pivot_table(index=["site", "night"], columns="microhabitat", values="left")
    differences = (wide["open"] - wide["bush"]).round(6)
    by_station = differences.groupby("site").mean().round(6)
    assert not isinstance(found.test, Undefined)
    assert found.test.statistic == wilcoxon(by_station).statistic
    each = empty.analysis.by_mass(
        replace(sides, average_nights=False, alternative=Alternative.GREATER)
    )
    assert isinstance(each.test, SignedRank)
    expected = wilcoxon(differences, alternative="greater", method="asymptotic")
    assert each.test.statistic == expected.statistic
    assert isinstance(each.test.p, PValue)
    assert each.test.p.p == pytest.approx(expected.pvalue)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fit = mixedlm(
            "left ~ C(microhabitat)", table, groups=np.ones(len(table)),
            vc_formula={"night": "0 + C(night)", "station": "0 + C(site)"},
        ).fit(reml=True)  # fmt: skip
    assert isinstance(found.mixed, MixedModel)
    assert found.mixed.effect == pytest.approx(fit.fe_params.iloc[1], rel=1e-5)
    variances = {one.name: one.variance for one in found.mixed.components}
    assert variances["station"] == pytest.approx(fit.vcomp[1], rel=1e-2)
    assert variances["night"] == pytest.approx(fit.vcomp[0], rel=1e-2)
    assert variances["residual"] == pytest.approx(fit.scale, rel=1e-3)


def test_shares_and_scales_of_a_table_of_others(empty: Workspace, tmp_path: Path) -> None:
    """The report is asked for shares, their logit, each night and one side, and says so."""
    table = published(empty, counted=False)
    page = tmp_path / "report.html"
    asked = "--microhabitats open bush --measure proportion --scale logit --each-night"
    main(["report", str(empty.folder), str(page), *asked.split(), "--alternative", "greater"])
    text = page.read_text(encoding="utf-8")
    opens = table.loc[table["microhabitat"] == "open", "left"] / 10
    assert f"mean {opens.mean():.3f} of what was put in, SD {opens.std():.4f}" in text
    assert "Densities are told as share of the food left." in text
    assert "Wilcoxon signed-rank test (greater)" in text
    assert "each night counted by itself" in text
    assert "scale: logit of the share eaten" in text
    assert "By mass alone, whoever ate, microhabitats are compared further down." in text
    assert "watched by no camera" in text


def test_a_missing_time_takes_nothing_from_the_food(empty: Workspace) -> None:
    """A tray without a pick-up time is weighed all the same; a knocked one still tells nothing."""
    empty.load(
        LogKind.TRAYS,
        log_of([
            "A,A,2026-03-14 18:00,,10.0,4.0,S1,open,ok",
            "B,B,2026-03-14 18:00,,10.0,4.0,S1,bush,knocked",
        ]),
        "trays",
    )  # fmt: skip
    found = empty.analysis.by_mass(Question(sides=("open", "bush")))
    assert {one.status for one in empty.outcomes()} == {Status.PENDING}
    assert [one.used for one in found.used] == [1, 1, 0]


def test_a_confirmed_forager_counts_where_the_density_is_only_bounded(demo: Workspace) -> None:
    """The demo's emptied tray has a forager too: six of the nine from which food is gone."""
    question = Question()
    told = mass_alone(demo.analysis.analyse(question), demo.analysis.by_mass(question))
    assert told.startswith("Food was gone from 9 trays; of 6 the forager is confirmed.")
    pairs = demo.analysis.by_mass(question).pairs
    assert isinstance(pairs, Pairs)
    assert pairs.lost_by_reason() == {  # as the story of the demo has them
        str(Reason.UNUSED_BY_MASS): 1, str(Reason.VISITED_NOT_EATEN): 1,
        str(Tells.BELOW): 1, str(Reason.GAINED): 1,
    }  # fmt: skip


def test_a_study_without_any_camera_is_told_so_once(unwatched: Workspace) -> None:
    """Not tray by tray, and it is nothing to put right: a table may have had none."""
    (about,) = [one for one in unwatched.check() if one.thing == "camera log"]
    assert "16 trays" in about.message
    assert not any(one.serious for one in unwatched.check())
