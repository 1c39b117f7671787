"""The statistics and the tidy table held against R, where it is installed."""

import csv
import re
import shutil
import subprocess
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from itertools import product
from math import inf
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from builders import SPECIES, at, bounded_trays, result, seen, sighting

from app.cli import main
from core.analysis.censored import CensoredModel, censored_model
from core.analysis.choice import Alternative, Choice
from core.analysis.crossed import fit_crossed
from core.analysis.intervals import Interval, Share, share
from core.analysis.likelihood import fit_bounded
from core.analysis.ranks import SignedRank, signed_rank
from core.analysis.rates import RateRatio, visit_rates
from core.analysis.told import tell
from core.analysisbook import Question
from core.exports.dictionary import IN_R
from core.exports.longtable import LONG_COLUMNS, long_rows
from core.exports.tables import OUTCOME_COLUMNS, csv_text, outcome_row
from core.model import Span
from core.workspace import Workspace

Numbers = dict[str, list[float]]
Table = Mapping[str, Sequence[object]]
Asks = Callable[[str, Table | Path], Numbers]

TOLD = """
d <- read.csv(commandArgs(TRUE)[1])
tell <- function(name, ...) cat(name, sprintf("%.17g", c(...)), "\\n")
"""
MISSING = "for (p in commandArgs(TRUE)) if (!requireNamespace(p, quietly = TRUE)) cat(p, '')"

pytestmark = pytest.mark.skipif(shutil.which("Rscript") is None, reason="R is not installed")


@pytest.fixture
def ask_r(tmp_path: Path) -> Asks:
    """Run a program of R's with `d`, a table or a file of one, and give what it told by name."""

    def ask(program: str, table: Table | Path) -> Numbers:
        file = table if isinstance(table, Path) else written(table, tmp_path / "d.csv")
        needed = re.findall(r"library\((\w+)\)", program)
        missing = " ".join(run_r(MISSING, *needed).split()) if needed else ""
        if missing:
            pytest.skip(f"R has no {missing}")
        lines = [line.split() for line in run_r(TOLD + program, str(file)).splitlines()]
        return {name: [float(one) for one in numbers] for name, *numbers in lines}

    return ask


def run_r(program: str, *arguments: str) -> str:
    """Give what a program of R's printed."""
    done = subprocess.run(
        ["Rscript", "-e", program, *arguments],
        capture_output=True,
        check=False,
        encoding="utf-8",
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def written(table: Table, file: Path) -> Path:
    """Write a table."""
    with file.open("w", encoding="utf-8", newline="") as out:
        rows = csv.writer(out)
        rows.writerow(table)
        rows.writerows(zip(*table.values(), strict=True))
    return file


# --- pairs ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("n", [6, 14, 49])
@pytest.mark.parametrize("alternative", Alternative)
def test_the_exact_signed_rank_test_is_that_of_r(
    ask_r: Asks, n: int, alternative: Alternative
) -> None:
    """wilcox.test(d, exact = TRUE, conf.int = TRUE): V, p, and the two-sided estimate's limits."""
    drawn = np.random.default_rng(n).normal(0.4, 1.1, n)
    values = [Decimal(str(round(one, 3))) for one in drawn]
    assert len({abs(one) for one in values}) == n  # R is exact without ties only
    assert min(map(abs, values)) > 0
    theirs = ask_r(
        f"""
        one <- wilcox.test(d$value, exact = TRUE, alternative = "{alternative.replace("-", ".")}")
        two <- wilcox.test(d$value, exact = TRUE, conf.int = TRUE)
        tell("V", one$statistic); tell("p", one$p.value)
        tell("estimate", two$estimate); tell("limits", two$conf.int)
        """,
        {"value": values},
    )
    found = signed_rank(values, alternative)
    assert isinstance(found, SignedRank)
    assert [found.w_plus] == theirs["V"]
    assert [found.p.p] == pytest.approx(theirs["p"])  # type: ignore[union-attr]
    assert [float(found.estimate)] == pytest.approx(theirs["estimate"])
    assert isinstance(found.interval, Interval)
    assert [found.interval.low, found.interval.high] == pytest.approx(theirs["limits"])


def test_many_pairs_with_ties_are_those_of_r(ask_r: Asks) -> None:
    """80 differences in tenths, zeros among them: wilcox.test(exact = FALSE, correct = FALSE)."""
    drawn = np.random.default_rng(5).normal(0.2, 0.8, 80)
    values = [Decimal(str(round(one, 1))) for one in drawn]
    theirs = ask_r(
        """
        one <- wilcox.test(d$value, exact = FALSE, correct = FALSE)
        tell("V", one$statistic); tell("p", one$p.value)
        """,
        {"value": values},
    )
    found = signed_rank(values)
    assert isinstance(found, SignedRank)
    assert found.zeros > 0 < found.tied
    assert [found.w_plus] == theirs["V"]
    assert [found.p.p] == pytest.approx(theirs["p"])  # type: ignore[union-attr]


# --- shares and rates ----------------------------------------------------------------------------


@pytest.mark.parametrize(("part", "n"), [(0, 7), (3, 8), (8, 8), (41, 120)])
def test_the_interval_of_a_share_is_that_of_r(ask_r: Asks, part: int, n: int) -> None:
    """prop.test without continuity correction gives Wilson's interval."""
    theirs = ask_r(
        'tell("limits", suppressWarnings(prop.test(d$part, d$n, correct = FALSE))$conf.int)',
        {"part": [part], "n": [n]},
    )
    found = share(part, n)
    assert isinstance(found, Share)
    limits = [found.interval.low, found.interval.high]
    assert limits == pytest.approx(theirs["limits"], abs=1e-12)


def test_visit_rates_are_those_of_r(ask_r: Asks) -> None:
    """glm(visits ~ side, quasipoisson, offset = log(hours)): ratio, its error, the dispersion."""
    draw = np.random.default_rng(3)
    sides = ["open", "bush"] * 12
    visits = [int(one) for one in draw.negative_binomial(1.5, 0.3, 24)]
    watched_h = [float(one) for one in draw.integers(4, 13, 24)]
    theirs = ask_r(
        """
        fit <- glm(visits ~ side, family = quasipoisson, offset = log(hours), data = d)
        told <- coef(summary(fit))["sideopen", ]
        tell("ratio", exp(told[1]), exp(told[1] - qnorm(0.975) * told[2]),
             exp(told[1] + qnorm(0.975) * told[2]))
        tell("dispersion", summary(fit)$dispersion)
        """,
        {"side": sides, "visits": visits, "hours": watched_h},
    )
    hour = at("19:00") - at("18:00")
    trays = [
        result(
            f"D{place}",
            "4.0",
            side,
            seen=tuple(seen(sighting()) for _ in range(count)),
            visits_all=count,
            watched=(Span(at("18:00"), at("18:00") + long * hour),),
        )
        for place, (side, count, long) in enumerate(zip(sides, visits, watched_h, strict=True))
    ]
    choice = Choice(ZoneInfo("UTC"), first="open", second="bush")
    found = visit_rates(tell(trays, choice, SPECIES), choice)
    assert isinstance(found.ratio, RateRatio)
    assert found.ratio.interval.how == "quasi-Poisson"
    assert [found.dispersion] == pytest.approx(theirs["dispersion"])
    ratio = [found.ratio.ratio, found.ratio.interval.low, found.ratio.interval.high]
    assert ratio == pytest.approx(theirs["ratio"], rel=1e-6)


# --- models --------------------------------------------------------------------------------------


@pytest.mark.parametrize(("stations", "nights", "seed"), [(4, 6, 1), (8, 10, 2), (15, 9, 3)])
def test_the_crossed_model_is_that_of_lme4(
    ask_r: Asks, stations: int, nights: int, seed: int
) -> None:
    """lmer(gud ~ open + (1 | station) + (1 | night)), a fifth of the trays lost."""
    draw = np.random.default_rng(seed)
    cells = np.array(list(product(range(stations), range(nights), (0, 1))))
    cells = cells[draw.random(len(cells)) >= 0.2]
    station, night, is_open = cells.T
    y = 3 + 0.8 * is_open + draw.normal(0, 1.2, len(cells))
    y = y + draw.normal(0, 1, stations)[station] + draw.normal(0, 0.7, nights)[night]
    theirs = ask_r(
        """
        library(lme4)
        fit <- lmer(gud ~ open + (1 | station) + (1 | night), data = d, control = lmerControl(
          optimizer = "bobyqa", optCtrl = list(rhoend = 1e-9)))
        parts <- as.data.frame(VarCorr(fit))
        of <- function(group) parts$vcov[parts$grp == group]
        tell("beta", fixef(fit)); tell("errors", sqrt(diag(as.matrix(vcov(fit)))))
        tell("variances", of("station"), of("night"), of("Residual"))
        tell("criterion", REMLcrit(fit)); tell("fitted", fitted(fit))
        """,
        {
            "gud": y.tolist(),
            "open": is_open.tolist(),
            "station": station.tolist(),
            "night": night.tolist(),
        },
    )
    found = fit_crossed(y, np.column_stack([np.ones(len(y)), is_open]), [station, night])
    assert found is not None
    assert found.converged
    assert [found.criterion] == pytest.approx(theirs["criterion"], abs=1e-7)
    assert found.beta == pytest.approx(theirs["beta"], abs=1e-5)
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx(theirs["errors"], abs=1e-5)
    assert [*found.variances, found.residual] == pytest.approx(theirs["variances"], abs=1e-4)
    assert found.fitted == pytest.approx(theirs["fitted"], abs=1e-4)


def test_bounds_of_every_kind_are_those_of_survreg(ask_r: Asks) -> None:
    """survreg(Surv(low, high, type = "interval2") ~ 0 + side, dist = "gaussian"), 120 trays."""
    draw = np.random.default_rng(8)
    side = draw.integers(0, 2, 120)
    y = draw.normal(np.where(side, 1.2, 0.5), 0.7)
    low, high, kind = y.copy(), y.copy(), draw.integers(0, 5, 120)
    low[kind == 1], high[kind == 1] = -inf, y[kind == 1] + 0.4
    low[kind == 2], high[kind == 2] = y[kind == 2] - 0.4, inf
    low[kind == 3], high[kind == 3] = y[kind == 3] - 0.5, y[kind == 3] + 0.2
    bounds = {
        name: ["NA" if np.isinf(one) else repr(float(one)) for one in limits]
        for name, limits in (("low", low), ("high", high))
    }
    theirs = ask_r(
        """
        library(survival)
        d$side <- factor(d$side)
        fit <- survreg(Surv(low, high, type = "interval2") ~ 0 + side, data = d,
                       dist = "gaussian", control = survreg.control(rel.tolerance = 1e-12))
        tell("beta", coef(fit)); tell("errors", sqrt(diag(vcov(fit)))[1:2])
        tell("spread", fit$scale); tell("likelihood", fit$loglik[2])
        """,
        {"side": side.tolist(), **bounds},
    )
    found = fit_bounded(low, high, np.column_stack([side == 0, side == 1]).astype(float))
    assert found.converged
    assert found.beta == pytest.approx(theirs["beta"], abs=1e-6)
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx(theirs["errors"], abs=1e-5)
    assert [found.spread] == pytest.approx(theirs["spread"], abs=1e-6)
    assert [found.log_likelihood] == pytest.approx(theirs["likelihood"], abs=1e-6)


def test_the_model_with_bounds_is_fitted_by_r_from_the_long_table_alone(
    ask_r: Asks, tmp_path: Path
) -> None:
    """survreg on log(gud_low), log(gud_high) of the gerbil: geometric means and their ratio."""
    given = bounded_trays()
    file = tmp_path / "long.csv"
    rows = (row for one in given for row in long_rows(one, ZoneInfo("UTC"), None, SPECIES))
    file.write_text("".join(csv_text(LONG_COLUMNS, rows)), encoding="utf-8")
    theirs = ask_r(
        """
        library(survival)
        mine <- d[d$species == "gerbil", c("deployment", "microhabitat", "variable", "value")]
        wide <- reshape(mine, direction = "wide", timevar = "variable",
                        idvar = c("deployment", "microhabitat"))
        fit <- survreg(Surv(log(value.gud_low), log(value.gud_high), type = "interval2")
                       ~ 0 + microhabitat, data = wide, dist = "gaussian",
                       control = survreg.control(rel.tolerance = 1e-12))
        at <- exp(coef(fit)); tell("n", nrow(wide)); tell("spread", fit$scale)
        tell("means", at[["microhabitatopen"]], at[["microhabitatbush"]])
        """,
        file,
    )
    choice = Choice(ZoneInfo("UTC"), SPECIES["g"], first="open", second="bush")
    found = censored_model(tell(given, choice, SPECIES), choice)
    assert isinstance(found, CensoredModel)
    assert theirs["n"] == [found.n]
    means = [found.first.geometric_mean, found.second.geometric_mean]
    assert means == pytest.approx(theirs["means"], rel=1e-6)
    assert [found.spread] == pytest.approx(theirs["spread"], rel=1e-6)


# --- the table -----------------------------------------------------------------------------------


def test_the_long_table_of_a_study_is_read_without_a_fix(
    ask_r: Asks, demo: Workspace, tmp_path: Path
) -> None:
    """read.csv with nothing asked for: the same counts, and mean densities by microhabitat."""
    file = tmp_path / "long.csv"
    main(["outcomes", str(demo.folder), "--csv", str(tmp_path / "o.csv"), "--long", str(file)])
    theirs = ask_r(
        """
        stopifnot(is.numeric(d$value))
        n <- table(d$variable); for (one in names(n)) tell(one, n[[one]])
        kept <- d[d$variable == "gud", ]; means <- tapply(kept$value, kept$microhabitat, mean)
        for (one in names(means)) tell(paste0("mean.", one), means[[one]])
        """,
        file,
    )
    with file.open(encoding="utf-8", newline="") as opened:
        counts = Counter(row["variable"] for row in csv.DictReader(opened))
    kept: dict[str, list[float]] = {}
    for one in demo.analysis.outcomes(Question()):
        if one.gud is not None:
            kept.setdefault(f"mean.{one.deployment.microhabitat}", []).append(float(one.gud))
    assert len(kept) > 1
    means = {name: sum(values) / len(values) for name, values in kept.items()}
    found = {name: number for name, (number,) in theirs.items()}
    assert found == pytest.approx({**counts, **means}, abs=1e-4)


@pytest.mark.parametrize(
    "zone", ["UTC", "Africa/Johannesburg", "Europe/Berlin", "America/St_Johns"]
)
def test_times_of_the_table_are_read_by_the_line_of_the_dictionary(
    ask_r: Asks, tmp_path: Path, zone: str
) -> None:
    """Both offsets of a study over the start of summer time: seconds since 1970, and a blank."""
    nights = [result("A", night=14), result("B", night=16), result("C", tray_is={"set_out": None})]
    file = tmp_path / "outcomes.csv"
    rows = (outcome_row(one, ZoneInfo(zone)) for one in nights)
    file.write_text("".join(csv_text(OUTCOME_COLUMNS, rows)), encoding="utf-8")
    theirs = ask_r(f'x <- d$set_out; tell("seconds", as.numeric({IN_R})[1:2]); '
                   f'tell("blank", is.na({IN_R})[3])', file)  # fmt: skip
    expected = [one.deployment.set_out.timestamp() for one in nights[:2] if one.deployment.set_out]
    assert theirs == {"seconds": expected, "blank": [1.0]}
    by_pandas = pd.to_datetime(pd.read_csv(file)["set_out"], utc=True)
    assert [one.timestamp() for one in by_pandas[:2]] == expected
