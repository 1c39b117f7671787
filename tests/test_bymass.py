"""What trays say by their mass alone: beside the confirmed densities, never in them."""

from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from statistics import mean

import pytest
from builders import SETTINGS, result
from scipy.stats import wilcoxon

from app.cli import main
from core import food
from core.analysis.bymass import by_mass
from core.analysis.intervals import Undefined
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


def test_the_report_tells_both_apart(unwatched: Workspace, tmp_path: Path) -> None:
    """Its own heading, with how many of the trays have a confirmed forager."""
    main(["report", str(unwatched.folder), str(tmp_path / "report.html")])
    text = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "By mass alone, whoever ate" in text
    assert "Food was gone from 16 trays; of 0 the forager is confirmed" in text
